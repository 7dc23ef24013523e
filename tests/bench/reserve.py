"""Prints what holding the pump off until boost calls for it does to the charge, against always-on.

Per climate and per what went before the pull. `python tests/bench/reserve.py [--start]`; `--start` prints the first
seconds after a late start instead. Common practice says that the front exchanger's cold coolant arrives in one go.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "plant")]

import numpy as np  # noqa: E402
import plant_builders as make  # noqa: E402
from numpy.typing import NDArray  # noqa: E402

from arena.contest.run import Contestant, lay_out  # noqa: E402
from arena.plant import layout as at  # noqa: E402
from arena.plant.compile import Goals, compile_outing  # noqa: E402
from arena.plant.numbers import CarNumbers  # noqa: E402
from arena.scenario.climate import Climate, load_climate  # noqa: E402
from arena.strategies import shipped  # noqa: E402
from arena.timetable.outing import play  # noqa: E402

Floats = NDArray[np.float64]
CRUISE = {"do": "cruise", "speed_kmh": 80, "seconds": 600}
BEFORE: dict[str, tuple[dict[str, Any], ...]] = {
    "cruise 80 km/h, 10 min": (CRUISE,),
    "idle 5 min": (CRUISE, {"do": "stop", "seconds": 300}),
    "traffic 10 min": (CRUISE, {"do": "traffic", "seconds": 600}),
    "parked 10 min": (CRUISE, {"do": "park", "minutes": 10}, {"do": "idle", "seconds": 5}),
}
CLIMATES = ("winter", "mild", "hot")
NOTICED_K = 0.5
CALL_KPA, HOLD_S = 130.0, 60.0  # what calls for the pump, and how long it runs on after the last call
CRUISE_TICKS = round(598.0 / at.TICK_S)
AFTER_S = 120.0


class Held(NamedTuple):
    """Charge held-off less always-on, K, from the start of the pull; and pump time. Positive is warmer."""

    start_k: float  # at the first tick of the pull
    colder_k: float  # most
    colder_s: float  # for how long by more than half a kelvin
    colder_from_s: float  # after the pull began
    warmer_k: float
    warmer_s: float
    peak_k: float  # held-off's own peak less always-on's own, during the pull
    mean_pull_k: float
    mean_after_k: float  # over the two minutes after it
    hours_share: float  # pump time of always-on, over the drive


def one_case(climate: Climate, before: tuple[dict[str, Any], ...], car: CarNumbers, lately: bool = False) -> Held:
    """Play the history, a pull of 12 s up a hill and two minutes' cruise; compare held-off with always-on.

    `lately`: the pump runs in the cruise and is held off only in what comes between it and the pull.
    """
    phases = (*before, {"do": "pull", "to_kmh": 300, "longest_s": 12, "grade_pct": 5},
              {"do": "cruise", "speed_kmh": 80, "seconds": AFTER_S})  # fmt: skip
    played = play(make.drive_of(*phases), climate, car, 1)
    made = compile_outing(played, car, Goals(), 1)
    until = at.TICK_S * float(make.ticks_labelled(played, "cruise")[CRUISE_TICKS]) if lately else 0.0
    held = {"call_kpa": CALL_KPA, "hold_s": HOLD_S, "until_s": until}
    lanes = lay_out([Contestant("on", shipped()["always-on"]), Contestant("held off", make.called_for(), held)])
    trace = make.trace_of(make.traced(made, lanes))
    pull = make.ticks_labelled(played, "pull")
    first, last = int(pull[0]), int(pull[-1])
    end = min(last + round(AFTER_S / at.TICK_S), int(played.drive_until))
    iat = trace[first:end, :, make.IAT_C]
    off = iat[:, 1] - iat[:, 0]
    length = last - first + 1
    colder = np.flatnonzero(off < -NOTICED_K)
    running = (trace[played.score_from : end, :, make.APPLIED_C] > 0.0).mean(axis=0)
    return Held(
        float(off[0]), float(off.min()), len(colder) * at.TICK_S, colder[0] * at.TICK_S if len(colder) else np.nan,
        float(off.max()), float((off > NOTICED_K).sum()) * at.TICK_S,
        float(iat[:length, 1].max() - iat[:length, 0].max()), float(off[:length].mean()), float(off[length:].mean()),
        float(running[1] / running[0]),
    )  # fmt: skip


def random_cars(count: int, seed: int = 1) -> list[CarNumbers]:
    """Cars over the plausible ranges of what matters here (judgement from memory, no source)."""
    rng = np.random.default_rng(seed)
    car = make.shipped_car()
    made = []
    for _ in range(count):
        core = replace(
            car.core, air_ha_w_k=rng.uniform(300, 700), coolant_ha_w_k=rng.uniform(900, 3000),
            still_ha_w_k=rng.uniform(30, 150), metal_kg=rng.uniform(1.5, 4), coolant_m3=rng.uniform(0.3e-3, 1e-3),
            bay_ua_w_k=rng.uniform(1.5, 12), pipe_ua_w_k=rng.uniform(0.5, 5),
        )  # fmt: skip
        front = replace(
            car.front, face_m2=rng.uniform(0.08, 0.25), air_ha_w_k=rng.uniform(500, 1600),
            coolant_m3=rng.uniform(0.7e-3, 2.5e-3), standstill_rise_k=rng.uniform(5, 15),
        )  # fmt: skip
        made.append(replace(car, core=core, front=front))
    return made


COLUMNS = ("start", "colder by", "for s", "from s", "warmer by", "for s", "peak", "pull", "after", "pump h %")


def print_table(lately: bool) -> None:
    """The shipped car in three climates; then how many of 24 random cars are colder, and by how much."""
    since = "since the cruise" if lately else "all the time"
    print(
        f"held off {since}: charge less that of always-on, K and s; pull of 12 s at 5 %, then 80 km/h for two minutes"
    )
    print(f"{'climate, before':34s}" + "".join(f"{name:>10s}" for name in COLUMNS))
    histories = {name: before for name, before in BEFORE.items() if len(before) > 1 or not lately}
    for climate in CLIMATES:
        for name, before in histories.items():
            h = one_case(load_climate(climate), before, make.shipped_car(), lately)
            values = (*h[:-1], 100.0 * h.hours_share)
            print(f"{climate + ', ' + name:34s}" + "".join(f"{value:10.1f}" for value in values))
    print("24 random cars, mild: how many have a lower peak, range of peak difference, range of the coldest moment")
    for name, before in histories.items():
        found = [one_case(load_climate("mild"), before, c, lately) for c in random_cars(24)]
        peaks, coldest = [h.peak_k for h in found], [h.colder_k for h in found]
        print(
            f"{name:28s} {sum(p < 0.0 for p in peaks):3d} of 24   peak {min(peaks):+6.1f}..{max(peaks):+6.1f} K   "
            f"coldest {min(coldest):+5.1f}..{max(coldest):+5.1f} K"
        )
    print()


START_COLUMNS = ("s after", "L/min", "core", "into core", "out of it", "out front", "IAT", "IAT on", "into c. on")
MOMENTS = (-1.0, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0, 45.0)


def print_start(climate: str = "hot") -> None:
    """Hill pulls: a proportional law that starts late against always-on, in the seconds after its first start."""
    played, made = make.played("hill-pulls", climate), make.outing("hill-pulls", climate)
    law = shipped()
    late = Contestant("late", law["proportional"], {"start_c": 55.0, "full_c": 60.0})
    trace = make.trace_of(make.traced(made, lay_out([Contestant("on", law["always-on"]), late])))
    pull = make.ticks_labelled(played, "pull")
    on = np.flatnonzero((trace[1:, 1, make.APPLIED_C] > 0.0) & (trace[:-1, 1, make.APPLIED_C] == 0.0)) + 1
    start = int(on[on >= pull[0] - 50][0])
    begins, starts = pull[0] * at.TICK_S, start * at.TICK_S
    print(f"hill-pulls, {climate}: the pull begins at {begins:.1f} s, the late pump at {starts:.1f} s; degC")
    print("".join(f"{name:>11s}" for name in START_COLUMNS))
    for after in MOMENTS:
        row, beside = trace[start + round(after / at.TICK_S), 1], trace[start + round(after / at.TICK_S), 0]
        shown = [row[make.CORE_METAL_C], row[make.CORE_IN_C], row[make.CORE_OUT_C], row[make.FRONT_OUT_C]]
        shown += [row[make.IAT_C], beside[make.IAT_C], beside[make.CORE_IN_C]]
        print(f"{after:11.1f}{6e4 * row[make.FLOW_C]:11.1f}" + "".join(f"{t - 273.15:11.1f}" for t in shown))


if __name__ == "__main__":
    if "--start" in sys.argv:
        print_start()
    else:
        print_table(lately=False)
        print_table(lately=True)
