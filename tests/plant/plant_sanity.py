"""What the shipped car does in the model, for every quantity that has a plausible range, at 25 degC outside.

The ranges are engineering judgement from memory, common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import plant_builders as make
from numpy.typing import NDArray

from arena.contest import run
from arena.contest.run import Contestant, lay_out
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting, compile_outing
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.drive import load_drive
from arena.strategies import shipped
from arena.timetable.outing import Played, play

Floats = NDArray[np.float64]
AMBIENT_K = 298.15
ON, OFF = 0, 1


class Checked(NamedTuple):
    """One quantity: what it is, its plausible range and what the model gives."""

    name: str
    unit: str
    low: float
    high: float
    value: float

    @property
    def inside(self) -> bool:
        """Whether the value lies in its range."""
        return self.low <= self.value <= self.high


class Outing(NamedTuple):
    """A played drive with its traces: always-on, always-off, and held off until boost calls."""

    played: Played
    made: CompiledOuting
    trace: Floats
    rows: run.Accumulated

    def ticks(self, word: str) -> NDArray[np.int64]:
        """Ticks of the phases whose label holds a word."""
        return make.ticks_labelled(self.played, word)

    def over_air(self, tick: int, lane: int) -> float:
        """Charge temperature over the outside air, K."""
        return float(self.trace[tick, lane, make.IAT_C] - AMBIENT_K)


@cache
def outing(car: CarNumbers, name: str) -> Outing:
    """One of the drives below, or a shipped one, at 25 degC."""
    drive = DRIVES[name] if name in DRIVES else load_drive(name)
    played = play(drive, make.even_climate(25.0), car, 1)
    made = compile_outing(played, car, Goals(), 1)
    law = shipped()
    lanes = lay_out(
        [
            Contestant("on", law["always-on"]),
            Contestant("off", law["always-off"]),
            Contestant("called", make.called_for()),
        ]
    )
    rows = make.traced(made, lanes)
    return Outing(played, made, make.trace_of(rows), rows)


DRIVES = {
    "one pull": make.drive_of(
        {"do": "cruise", "speed_kmh": 80, "seconds": 900},
        {"do": "pull", "to_kmh": 300, "longest_s": 10},
        {"do": "cruise", "speed_kmh": 80, "seconds": 60},
    ),
    "six pulls": make.drive_of(
        {"do": "cruise", "speed_kmh": 80, "seconds": 300},
        {"do": "repeat", "times": 6, "steps": [
            {"do": "pull", "to_kmh": 300, "longest_s": 14, "grade_pct": 7},
            {"do": "cruise", "speed_kmh": 60, "seconds": 90},
        ]},
    ),
    "soak": make.drive_of({"do": "cruise", "speed_kmh": 80, "seconds": 600}, {"do": "park", "minutes": 12}),
}  # fmt: skip


def bulk_coolant_k(made: CompiledOuting, car: CarNumbers, ticks: int, lane: int = 0) -> float:
    """Mean temperature of all the coolant after so many ticks, always-on."""
    part = replace(made, ticks=ticks, X=made.X[:ticks])
    result = run.play(part, make.one("always-on"))
    state = result.state.reshape(at.ROWS, -1)[:, lane]
    groups = ((at.CORE_AT + at.CORE_CELLS, at.CORE_CELLS, at.P_CORE_W), (at.HOSE_1_AT, at.HOSE_1, at.P_HOSE_1_W),
              (at.FRONT_AT + at.FRONT_CELLS, at.FRONT_CELLS, at.P_FRONT_W), (at.HOSE_2_AT, at.HOSE_2, at.P_HOSE_2_W),
              (at.HOSE_3_AT, at.HOSE_3, at.P_HOSE_3_W), (at.LINK, 1, at.P_LINK_W))  # fmt: skip
    weight = np.concatenate([np.full(n, made.P[w]) for _, n, w in groups])
    values = np.concatenate([state[first : first + n] for first, n, _ in groups])
    return float(weight @ values / weight.sum())


def effectiveness(made: CompiledOuting, trace: Floats, tick: int, air_kg_s: float) -> float:
    """Of the core alone: what the charge was cooled over what it could have been cooled to the entering coolant."""
    a = made.X[tick, at.X_CORE_A] * at.CORE_CELLS
    gas = float(made.air.heat_capacity[tick]) * air_kg_s
    into = float(made.air.charger_out_k[tick])
    behind = into - a / gas * (into - trace[tick, ON, make.CORE_METAL_C])
    return float((into - behind) / (into - trace[tick, ON, make.CORE_IN_C]))


def held_supply(car: CarNumbers, volts: float, strategy: str, **settings: float) -> Floats:
    """Last row of the trace of a pump at a held supply, coolant near 35 degC."""
    made = compile_outing(make.held(2000, ambient_k=AMBIENT_K), car, Goals(), 1)
    made.X[:, at.X_SUPPLY] = volts
    return np.asarray(make.trace_of(make.traced(made, make.one(strategy, **settings)))[-1, 0])


def at_seven_volts(car: CarNumbers) -> Floats:
    """The same at 13.5 V through the resistor that leaves 7 V at the motor."""
    low, high = 0.3, 10.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        row = held_supply(car, 13.5, "two-speed", low_on_c=15.0, full_on_c=70.0, resistor_ohm=middle)
        low, high = (middle, high) if row[make.MOTOR_V_C] > 7.0 else (low, middle)
    return row


def pull_checks(car: CarNumbers) -> list[Checked]:
    """Cruise at 80 km/h for a quarter of an hour, then ten seconds at full throttle on the level."""
    one = outing(car, "one pull")
    pull = one.ticks("pull")
    before, end = int(pull[0]) - 1, int(pull[-1])
    rise = one.trace[pull[-50:], OFF, make.IAT_C]
    heat = np.diff(one.trace[:, ON, make.HEAT_AIR_C]) / at.TICK_S
    return [
        Checked("charger out, highest of the pull", "degC", 120, 150,
                float(one.made.air.charger_out_k[pull].max()) - 273.15),
        Checked("core effectiveness, full load", "", 0.70, 0.85,
                effectiveness(one.made, one.trace, end, float(one.played.air_flow_kg_s[end]))),
        Checked("cruise IAT over ambient, on", "K", 3, 10, one.over_air(before, ON)),
        Checked("cruise IAT over ambient, off", "K", 15, 35, one.over_air(before, OFF)),
        Checked("IAT over ambient ending a 10 s pull, on", "K", 18, 35, one.over_air(end, ON)),
        Checked("the same, pump off", "K", 50, 80, one.over_air(end, OFF)),
        Checked("pump-off rise on boost", "K/s", 2, 5, float(rise[-1] - rise[0]) / (at.TICK_S * (len(rise) - 1))),
        Checked("bulk coolant per 10 s full pull", "K", 3, 7,
                bulk_coolant_k(one.made, car, end + 1) - bulk_coolant_k(one.made, car, before + 1)),
        Checked("heat from air, full load", "kW", 12, 18, 1e-3 * float(heat[end - 1])),
        Checked("coolant rise across core, full load", "K", 10, 18,
                float(one.trace[end, ON, make.CORE_OUT_C] - one.trace[end, ON, make.CORE_IN_C])),
    ]  # fmt: skip


def drive_checks(car: CarNumbers) -> list[Checked]:
    """Six pulls of 14 s up a hill, a track session, a soak of twelve minutes."""
    six, track, soak = outing(car, "six pulls"), outing(car, "track-session"), outing(car, "soak")
    drive = slice(int(six.played.score_from), int(six.played.drive_until))
    pulls = six.ticks("pull")
    pulls = np.split(pulls, np.flatnonzero(np.diff(pulls) > 1) + 1)
    peaks = np.array([six.trace[p[0] : p[-1] + 20, :, make.IAT_C].max(axis=0) for p in pulls])  # (pulls, lanes)
    later = peaks[1:, 2] - peaks[1:, ON]
    running = (six.trace[drive, :, make.APPLIED_C] > 0.0).mean(axis=0)
    laps = track.ticks("lap")
    lap = slice(
        int(laps[-1]) - round(75.0 / at.TICK_S), int(laps[-1])
    )  # the last of seven, twelve minutes after key-on
    parked = int(soak.ticks("park")[-1])
    return [
        Checked("six 14 s pulls: held off until boost, first peak over on", "K", 3, 8,
                float(peaks[0, 2] - peaks[0, ON])),
        Checked("six 14 s pulls: the same, mean of the other five", "K", 3, 8, float(later.mean())),
        Checked("six 14 s pulls: pump hours of always-on", "%", 10, 20, 100.0 * float(running[2] / running[ON])),
        Checked("track: coolant into core over ambient", "K", 10, 22,
                float(track.trace[lap, ON, make.CORE_IN_C].mean()) - AMBIENT_K),
        Checked("track: IAT over ambient, highest of a lap", "K", 28, 45,
                float(track.trace[lap, ON, make.IAT_C].max()) - AMBIENT_K),
        Checked("12 min soak: core", "degC", 45, 65, float(soak.trace[parked, ON, make.CORE_METAL_C]) - 273.15),
        Checked("12 min soak: tank", "degC", 30, 40, float(soak.trace[parked, ON, 7]) - 273.15),
    ]  # fmt: skip


def held_checks(car: CarNumbers) -> list[Checked]:
    """States held until steady, and the pump on its own."""
    drive = make.held(15000, air_flow_kg_s=car.engine.peak_air_flow_kg_s, map_pa=car.engine.map_max_pa, speed_m_s=38.0)
    made = compile_outing(drive, car, Goals(), 1)
    full = make.trace_of(make.traced(made, make.one("always-on")))
    cruise = compile_outing(make.held(15000), car, Goals(), 1)
    gentle = make.trace_of(make.traced(cruise, make.one("always-on")))
    pump, slow = held_supply(car, 13.5, "always-on"), at_seven_volts(car)
    fill = make.fill_m3(car)
    return [
        Checked("charger out, held full load", "degC", 120, 150, float(made.air.charger_out_k[-1]) - 273.15),
        Checked("continuous full load, IAT over ambient", "K", 35, 50, float(full[-1, 0, make.IAT_C]) - AMBIENT_K),
        Checked("core effectiveness, cruise", "", 0.95, 1.0, effectiveness(cruise, gentle, 14999, 0.018)),
        Checked("circulation at full flow", "s", 15, 35, fill / float(pump[make.FLOW_C])),
        Checked("pump at 13.5 V: flow", "L/min", 12, 18, 6e4 * float(pump[make.FLOW_C])),
        Checked("pump at 13.5 V: current", "A", 3, 6, float(pump[make.AMPS_C])),
        Checked("pump at 13.5 V: stall current", "A", 12, 25,
                (13.5 - car.pump.brush_v) / (car.pump.resistance_ohm + car.supply.lead_ohm)),
        Checked("7 V through a resistor: flow", "L/min", 6, 9, 6e4 * float(slow[make.FLOW_C])),
        Checked("7 V through a resistor: current", "A", 1.3, 2.5, float(slow[make.AMPS_C])),
    ]  # fmt: skip


def all_checks(car: CarNumbers | None = None) -> list[Checked]:
    """Every check, for the shipped car or another."""
    which = car or make.shipped_car()
    return pull_checks(which) + drive_checks(which) + held_checks(which)


def table(checks: list[Checked], why: dict[str, Any]) -> str:
    """A table for people; departures are marked with what explains them."""
    lines = [f"{'quantity':60s} {'plausible':>12s} {'model':>8s}"]
    for c in checks:
        mark = "" if c.inside else f"  OUTSIDE: {why.get(c.name, 'not explained')}"
        lines.append(f"{c.name:60s} {f'{c.low:g}-{c.high:g}':>12s} {c.value:8.2f} {c.unit}{mark}")
    return "\n".join(lines)
