"""Which short drive would tell the rest: safe and legal pieces, pump states included, chosen by what they add.

Each piece is played on the plant; how far it would shrink what is still open is worked out from its Jacobian before
anybody drives it. Nothing here asks for boost with the pump off: coolant standing in the core can boil.
"""

from __future__ import annotations

import tempfile
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.garage.estimate import Problem, pose
from arena.garage.fit import Fit
from arena.garage.identify import SHRINK
from arena.garage.noise import Noise
from arena.garage.parameters import Parameter, parameters_for
from arena.garage.read_log import TICK_S, GarageLog, Samples
from arena.plant.numbers import CarNumbers
from arena.scenario.car import Car, load_car
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.timetable.outing import Played, outing_seed, play
from arena.units import Units

Floats = NDArray[np.float64]

METRIC = Units()
MOST_PIECES = 4
WORTH = 0.05  # a piece must shrink the open numbers by this share of a spread, in sum
READING = Noise(0.25, 0.25, 20.0, np.ones(1))  # what a log of an ordinary probe leaves, from memory
CAUTIONS = (
    "A passenger reads or the logger runs by itself; nobody looks at a screen while driving.",
    "Keep to the limits and the law; pulls only where full throttle is allowed and safe, never past the speed limit.",
    "Never boost with the pump off: coolant standing still in the core can boil. Watch coolant level and temperatures.",
    "Log rpm, MAP, throttle, speed, charge temperature, outside air and pump duty, as fast as the logger goes: what is",
    "foreseen here is for ten readings a second. At one a second, numbers told by boost stay more open.",
)


@dataclass(frozen=True)
class Step:
    """A part of a piece: what to do, as a phase of a drive file, and the pump's duty.

    `words` has {0}, {1} for the speeds `kmh` and {unit} for their unit.
    """

    words: str
    toml: str
    duty: float
    kmh: tuple[float, ...] = ()

    def said(self, units: Units) -> str:
        """What to do, with speeds in such units."""
        speeds = (f"{units.labelled(v, 'km/h')[0]:.0f}" for v in self.kmh)
        return self.words.format(*speeds, unit=units.speed_unit)

    @property
    def say(self) -> str:
        """What to do, in km/h."""
        return self.said(METRIC)


@dataclass(frozen=True)
class Piece:
    """A piece of driving of a few minutes."""

    say: str
    steps: tuple[Step, ...]


def _hold(kmh: int, seconds: int, duty: float, pump: str) -> Step:
    phase = f'do="cruise"\nspeed_kmh={kmh}\nseconds={seconds}'
    return Step(f"hold {{0}} {{unit}} for {seconds} s, pump {pump}", phase, duty, (kmh,))


def _pulls(count: int) -> tuple[Step, ...]:
    """Pulls at uneven distances: at even ones a slow logger sees the same moments of each pull, and misses alike."""
    hold, phase = (
        "hold {0} {unit} for 25 to 35 s, no two alike, pump full",
        'do="cruise"\nspeed_kmh=50\nseconds=[25, 35]',
    )
    rest = Step(hold, phase, 1.0, (50,))
    phase = 'do="pull"\nto_kmh=100\nlongest_s=20'
    pull = Step("full throttle from {0} up to {1} {unit}, pump full", phase, 1.0, (50, 100))
    return (rest, pull) * count


PIECES: tuple[Piece, ...] = (
    Piece("cruise, pump off then full", (_hold(100, 120, 0.0, "off"), _hold(100, 120, 1.0, "full"))),
    Piece(
        "standing, pump off then full",
        (
            Step("stand idling for 180 s, pump off", 'do="idle"\nseconds=180', 0.0),
            Step("stand idling for 120 s, pump full", 'do="idle"\nseconds=120', 1.0),
        ),
    ),
    Piece("six pulls, pump full", _pulls(6)),
    Piece("six pulls and a hold, pump full", (*_pulls(6), _hold(90, 120, 1.0, "full"))),
    Piece("cruise, pump half then full", (_hold(80, 120, 0.5, "half"), _hold(80, 120, 1.0, "full"))),
    Piece("pump on and off in turn", (_hold(60, 30, 0.0, "off"), _hold(60, 30, 1.0, "full")) * 3),
)


@dataclass(frozen=True)
class Advice:
    """Pieces in the order of driving; `open_before`, `open_after`: share of each headline number still open."""

    pieces: tuple[Piece, ...]
    minutes: float
    names: tuple[tuple[str, str], ...]  # key and words
    open_before: tuple[float, ...]
    open_after: tuple[float, ...]
    told_before: tuple[bool, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def document(self, written: Path | None = None) -> dict[str, Any]:
        """`arena fit --plan --json`; `written`: the car file of the fit before it, if there is one."""
        return {
            "schema": 1,
            "minutes": self.minutes,
            "car": None if written is None else str(written),
            "plan": [
                {"piece": p.say, "steps": [{"do": s.say, "duty_pct": 100.0 * s.duty} for s in p.steps]}
                for p in self.pieces
            ],
            "parameters": [
                {"name": key, "open_before": a, "open_after": b, "would_tell": bool(b < SHRINK)}
                for (key, _), a, b in zip(self.names, self.open_before, self.open_after, strict=True)
            ],
            "cautions": list(CAUTIONS),
        }  # fmt: skip


def plan_drive(
    car: str | Path | Car,
    fitted: Fit | None = None,
    tell: Callable[[str], None] | None = None,
    pieces: Sequence[Piece] = PIECES,
) -> Advice:
    """The few pieces that would tell most of what is still open, after a fit or from nothing. Raises BadInput."""
    base = car if isinstance(car, Car) else load_car(car)
    numbers = fitted.estimate.car if fitted is not None else base.numbers()
    items = parameters_for(base.numbers())
    lasting = [k for k, item in enumerate(items) if item.side != "start"]
    known = np.zeros((len(lasting), len(lasting)))
    told = {t.name: t.identified for t in fitted.told} if fitted is not None else {}
    if fitted is not None:
        known = lasting_information(fitted.estimate.jacobian, items)
    gains = []
    for piece in pieces:
        if tell is not None:
            tell(f"trying: {piece.say}")
        gains.append(lasting_information(_jacobian(numbers, piece), items))
    heads = [n for n, k in enumerate(lasting) if items[k].headline]
    wanted = [n for n in heads if not told.get(items[lasting[n]].key, False)]
    chosen = _greedy(known, gains, wanted)
    after = known + sum((gains[k] for k in chosen), np.zeros_like(known))
    minutes = sum(_seconds(pieces[k]) for k in chosen) / 60.0
    order = sorted(chosen)
    return Advice(
        tuple(pieces[k] for k in order), minutes, tuple((items[lasting[n]].key, items[lasting[n]].say) for n in heads),
        tuple(float(v) for v in _open(known)[heads]), tuple(float(v) for v in _open(after)[heads]),
        tuple(told.get(items[lasting[n]].key, False) for n in heads),
    )  # fmt: skip


def lasting_information(jacobian: Floats, items: Sequence[Parameter]) -> Floats:
    """What a whitened Jacobian says of the car's numbers, the starting state being unknown: the Schur complement."""
    whole = jacobian.T @ jacobian
    start = np.array([item.side == "start" for item in items])
    a, b, c = whole[~start][:, ~start], whole[~start][:, start], whole[start][:, start] + np.eye(int(start.sum()))
    return np.asarray(a - b @ np.linalg.solve(c, b.T))


def _open(information: Floats) -> Floats:
    """Spread left of each number, in spreads before any log."""
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(information + np.eye(len(information))))))


def _greedy(known: Floats, gains: Sequence[Floats], wanted: Sequence[int]) -> list[int]:
    """One piece after another, each the one that shrinks the open numbers most for its share; a few at most."""
    chosen: list[int] = []
    now = known
    while wanted and len(chosen) < min(MOST_PIECES, len(gains)):
        left = [k for k in range(len(gains)) if k not in chosen]
        before = float(_open(now)[list(wanted)].sum())
        worth = [before - float(_open(now + gains[k])[list(wanted)].sum()) for k in left]
        best = int(np.argmax(worth))
        if worth[best] < WORTH:
            break
        chosen.append(left[best])
        now = now + gains[left[best]]
    return chosen


def _jacobian(car: CarNumbers, piece: Piece) -> Floats:
    problem = _problem(car, piece)
    return problem.jacobian(np.zeros(len(problem.items)))


def _problem(car: CarNumbers, piece: Piece) -> Problem:
    """A piece driven in mild weather, as if it had been logged every second."""
    played, duty = played_piece(car, piece)
    first, last = played.score_from, played.drive_until
    cut = slice(first, last)
    ticks = last - first
    every = np.arange(0, ticks, 10)
    samples = Samples(
        TICK_S * every.astype(np.float64), np.full(len(every), float(played.ambient_k[first]) + 12.0), 0.5
    )
    log = GarageLog(
        piece.say, ticks, played.speed_m_s[cut], played.rpm[cut], played.map_pa[cut], played.ambient_k[cut],
        played.throttle[cut], played.air_flow_kg_s[cut], played.engine_k[cut], duty, "planned", 101325.0,
        {"iat": samples}, np.ones(ticks, dtype=bool), TICK_S, {}, None, (),
    )  # fmt: skip
    problem = pose(log, car)
    for channel in problem.channels:
        ones = np.ones(len(channel.tick))
        problem.noise[channel.name] = Noise(READING.white_k, READING.slow_k, READING.slow_s, ones)
    return problem


def played_piece(car: CarNumbers, piece: Piece) -> tuple[Played, Floats]:
    """The piece through the timetable, and the duty of each of its ticks."""
    text = '[drive]\nname="piece"\nstart="warm"\n' + "".join(f"[[phase]]\n{step.toml}\n" for step in piece.steps)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "piece.toml"
        path.write_text(text, encoding="utf-8")
        played = play(load_drive(path), load_climate("mild"), car, outing_seed(1, piece.say, 0))
    phase = played.phase[played.score_from : played.drive_until]
    steps = np.cumsum(np.concatenate([[0], (np.diff(phase) != 0).astype(int)]))
    duties = np.array([step.duty for step in piece.steps])
    return played, duties[np.minimum(steps, len(duties) - 1)]


def _seconds(piece: Piece) -> float:
    """About how long a piece takes."""
    asked = [tomllib.loads(step.toml).get("seconds", 12.0) for step in piece.steps]
    return float(sum(np.mean(seconds) for seconds in asked))
