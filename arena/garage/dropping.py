"""The dropping resistor of a two-speed pump: how many ohms, how many watts, how hot, and will the pump still start.

The rating follows the worst lasting case, a rotor held by dirt while no fuse opens, derated for a hot bay.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from arena.errors import BadInput
from arena.garage.bench_pump import BenchPump, RunningPoint
from arena.garage.standard_values import (
    SMALLEST_OHM,
    Combination,
    Row,
    combinations,
    nearest,
    neighbours,
    rating_at_least,
)

SURFACE_MAX_C: Final = 250.0  # metal-clad wirewound: nothing of its rating is left here; makers' sheets, from memory
RATED_AT_C: Final = 25.0  # and all of it up to here
RUNNING_SHARE: Final = 0.5  # of the derated rating, at most, in ordinary running: keeps the surface down


@dataclass(frozen=True)
class Wanted:
    """The resistor that would give the wanted flow at one supply voltage; `ohm` None: not even without one."""

    supply_v: float
    ohm: float | None
    point: RunningPoint | None
    stall_w: float | None  # rotor held
    shorted_w: float | None  # the pump's leads shorted: the most this resistor can ever see at this supply


@dataclass(frozen=True)
class Choice:
    """Something that can be bought: values, what it does at each supply voltage, and how it must be rated."""

    row: str
    combination: Combination
    points: tuple[RunningPoint, ...]  # one a supply voltage
    stall_a: float  # at the highest supply voltage
    stall_w: float
    shorted_w: float
    needed_w: float  # derating and margin included, all parts together
    needed_hotter_w: float  # of that, on the part that takes more
    rating_w: float | None  # sold rating of that part; None: more than is sold
    surface_running_c: float | None
    surface_stall_c: float | None
    starts: bool


@dataclass(frozen=True)
class DroppingAdvice:
    """All about the resistor."""

    flow_l_min: float
    design_v: float  # supply voltage the choices are made for
    bay_c: float
    derating: float  # share of a rating that is left in the bay
    wanted: tuple[Wanted, ...]
    starting_v: float  # supply voltage a start must still work at
    most_ohm_that_starts: float
    least_flow_that_starts_l_min: float  # through that resistor at the design voltage
    choices: tuple[Choice, ...]


def dropping_advice(
    pump: BenchPump, flow_l_min: float, supplies_v: tuple[float, ...], bay_c: float, mine_ohm: tuple[float, ...] = ()
) -> DroppingAdvice:
    """Resistors for a wanted low flow (L/min) at some supply voltages; `mine_ohm`: ones at hand, judged beside.

    Raises BadInput for a flow the pump does not reach at the middle supply voltage even without a resistor.
    """
    ordered = tuple(sorted(supplies_v))
    design = ordered[len(ordered) // 2]
    wanted = tuple(_wanted(pump, flow_l_min, v) for v in supplies_v)
    ohm = pump.series_for(flow_l_min, design)
    if ohm is None:
        full = pump.at(design).flow_l_min
        raise BadInput(
            f"--flow-l-min {flow_l_min:g}: this pump moves {full:.1f} L/min at {design:g} V with nothing in series",
            f"Ask for less than {full:.1f} L/min.",
        )
    starting, most = ordered[0], pump.most_series_that_starts(ordered[0])
    listed = [("yours", Combination("single", (r,), r, 1.0)) for r in mine_ohm]
    listed += offers(ohm) if ohm >= SMALLEST_OHM else []
    if SMALLEST_OHM <= most < ohm:
        value = neighbours(most, "E24")[0]
        listed.append(("starts", Combination("single", (value,), value, 1.0)))
    return DroppingAdvice(
        flow_l_min, design, bay_c, derating(bay_c), wanted, starting, most, pump.at(design, max(most, 0.0)).flow_l_min,
        tuple(_choice(row, c, pump, supplies_v, bay_c) for row, c in listed),
    )  # fmt: skip


def offers(ohm: float) -> list[tuple[str, Combination]]:
    """Nearest single values and the best pairs, each combination once."""
    found: list[tuple[str, Combination]] = []
    rows: tuple[Row, ...] = ("E12", "E24")
    ways: tuple[Literal["series", "parallel"], ...] = ("series", "parallel")
    for row in rows:
        found.append((row, Combination("single", (nearest(ohm, row),), nearest(ohm, row), 1.0)))
    for row in rows:
        found += [(row, c) for how in ways for c in combinations(ohm, row, how, 1)]
    once: dict[tuple[str, tuple[float, ...]], tuple[str, Combination]] = {}
    for offer in found:
        once.setdefault((offer[1].how, offer[1].parts_ohm), offer)
    return list(once.values())


def derating(bay_c: float) -> float:
    """Share of a resistor's rating left in a bay at some degC: straight from all at 25 to nothing at 250."""
    return min(1.0, max(0.0, (SURFACE_MAX_C - bay_c) / (SURFACE_MAX_C - RATED_AT_C)))


def surface_c(watt: float, rating_w: float, bay_c: float) -> float:
    """Surface temperature in degC of a resistor on the metal it is meant for: the same straight line."""
    return bay_c + watt / rating_w * (SURFACE_MAX_C - RATED_AT_C)


def _wanted(pump: BenchPump, flow_l_min: float, supply_v: float) -> Wanted:
    ohm = pump.series_for(flow_l_min, supply_v)
    if ohm is None:
        return Wanted(supply_v, None, None, None, None)
    held = pump.stall_a(supply_v, ohm) ** 2 * ohm
    return Wanted(supply_v, ohm, pump.at(supply_v, ohm), held, _shorted_w(pump, supply_v, ohm))


def _shorted_w(pump: BenchPump, supply_v: float, ohm: float) -> float:
    """Heat in W with the pump's leads shorted behind the resistor; 0 without one."""
    return supply_v**2 / (ohm + pump.lead_ohm) ** 2 * ohm if ohm > 0.0 else 0.0


def _choice(row: str, c: Combination, pump: BenchPump, supplies_v: tuple[float, ...], bay_c: float) -> Choice:
    points = tuple(pump.at(v, c.ohm) for v in supplies_v)
    high = max(supplies_v)
    stall = pump.stall_a(high, c.ohm)
    stall_w = stall**2 * c.ohm
    left = max(derating(bay_c), 1e-3)
    needed = max(max(p.resistor_w for p in points) / RUNNING_SHARE, stall_w) / left
    rating = rating_at_least(needed * c.hotter_share)
    running = max(p.resistor_w for p in points) * c.hotter_share
    return Choice(
        row, c, points, stall, stall_w, _shorted_w(pump, high, c.ohm), needed,
        needed * c.hotter_share, rating,
        surface_c(running, rating, bay_c) if rating else None,
        surface_c(stall_w * c.hotter_share, rating, bay_c) if rating else None,
        c.ohm <= pump.most_series_that_starts(min(supplies_v)),
    )  # fmt: skip
