"""Hardware that could be fitted, each as a change of a car's numbers. One entry adds a part.

What a part changes is engineering judgement from memory, no published source; each says in words what was assumed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from arena.plant import fluids
from arena.plant.numbers import CarNumbers, Core, Front
from arena.units import ZERO_C_K

INSULATED = 0.4  # of the heat that still gets through; judgement, from memory


@dataclass(frozen=True)
class Part:
    """A part: what it does to a car's numbers; `family`: parts that exclude one another; `pumps`: wearing at once."""

    name: str
    words: str
    family: str
    change: Callable[[CarNumbers], CarNumbers]
    assumed: str
    pumps: int = 1


def bigger_front(share: float) -> Callable[[CarNumbers], CarNumbers]:
    """A front exchanger of the same depth with a larger face: everything in proportion, the air as fast as before."""

    def change(car: CarNumbers) -> CarNumbers:
        grown = _grown(car.front, 1.0 + share)
        return replace(car, front=replace(grown, face_m2=car.front.face_m2 * (1.0 + share)))

    return change


def bigger_core(share: float) -> Callable[[CarNumbers], CarNumbers]:
    """A core of the same depth with a larger face: everything in proportion; its pressure loss is left as it is."""

    def change(car: CarNumbers) -> CarNumbers:
        grown = _grown(car.core, 1.0 + share)
        return replace(car, core=replace(grown, bay_ua_w_k=car.core.bay_ua_w_k * (1.0 + share) ** (2.0 / 3.0)))

    return change


def _grown(part: Any, factor: float) -> Any:
    """An exchanger with its face grown: at the same air flow an air side better by the area and slower by the face."""
    names = ("air_ha_w_k", "air_ref_kg_s", "coolant_ha_w_k", "still_ha_w_k", "metal_kg", "coolant_m3")
    assert isinstance(part, Core | Front)
    return replace(part, **{name: getattr(part, name) * factor for name in names})


def more_coolant(litres: float) -> Callable[[CarNumbers], CarNumbers]:
    """More coolant in the tank; without a tank, in the loop. The tank's wall grows with its volume^(2/3)."""

    def change(car: CarNumbers) -> CarNumbers:
        loop, more = car.loop, litres * 1e-3
        if loop.tank == "none" or loop.tank_m3 <= 0.0:
            return replace(car, loop=replace(loop, extra_m3=loop.extra_m3 + more))
        wall = loop.tank_ua_w_k * ((loop.tank_m3 + more) / loop.tank_m3) ** (2.0 / 3.0)
        return replace(car, loop=replace(loop, tank_m3=loop.tank_m3 + more, tank_ua_w_k=wall))

    return change


def second_pump(car: CarNumbers) -> CarNumbers:
    """Two like pumps one behind the other on one supply: heads add; as one motor of half the resistance."""
    p = car.pump
    return replace(
        car,
        pump=replace(
            p, head_pa=tuple(2.0 * h for h in p.head_pa), resistance_ohm=p.resistance_ohm / 2.0,
            inductance_h=p.inductance_h / 2.0, friction_nm=2.0 * p.friction_nm,
            rated_current_a=2.0 * p.rated_current_a,
        ),
    )  # fmt: skip


def stronger_pump(car: CarNumbers) -> CarNumbers:
    """A pump of 1.4 times the head and 1.3 times the flow at the same voltage and speed, its motor sized to match."""
    p, head, flow = car.pump, 1.4, 1.3
    power = head * flow
    return replace(
        car,
        pump=replace(
            p, head_pa=tuple(head * h for h in p.head_pa), head_flow_m3_s=tuple(flow * q for q in p.head_flow_m3_s),
            resistance_ohm=p.resistance_ohm / power, inductance_h=p.inductance_h / power,
            friction_nm=1.2 * p.friction_nm, start_v=p.brush_v + (p.start_v - p.brush_v) * 1.2 / power,
            rated_current_a=power * p.rated_current_a,
        ),
    )  # fmt: skip


def faster_probe(car: CarNumbers) -> CarNumbers:
    """A probe of half the time constant."""
    return replace(car, probe=replace(car.probe, tau_s=0.5 * car.probe.tau_s))


def insulated_charge_pipe(car: CarNumbers) -> CarNumbers:
    """Foam or wrap round the charge pipe from core to engine: 40 % of the bay's heat gets through."""
    return replace(car, core=replace(car.core, pipe_ua_w_k=INSULATED * car.core.pipe_ua_w_k))


def insulated_hoses(car: CarNumbers) -> CarNumbers:
    """Foam round hoses and tank: 40 % of the heat gets through, either way."""
    loop = car.loop
    return replace(
        car,
        loop=replace(loop, hose_ua_w_m_k=INSULATED * loop.hose_ua_w_m_k, tank_ua_w_k=INSULATED * loop.tank_ua_w_k),
    )


def stronger_fan(car: CarNumbers) -> CarNumbers:
    """A fan that moves two thirds more air through the front exchanger whenever it runs."""
    return replace(car, front=replace(car.front, fan_m_s=car.front.fan_m_s * 5.0 / 3.0))


def glycol_share(fraction: float) -> Callable[[CarNumbers], CarNumbers]:
    """Another share of antifreeze by volume, without any before ethylene glycol, in exchangers that stay what they are:
    film, heat capacity, viscosity and freezing change.
    """

    def change(car: CarNumbers) -> CarNumbers:
        kind = car.loop.glycol if car.loop.glycol != "none" else "ethylene"
        return replace(car, loop=replace(car.loop, glycol=kind, glycol_volume_fraction=fraction))

    return change


PARTS: tuple[Part, ...] = (
    Part("front-25", "front exchanger +25 %", "front", bigger_front(0.25), bigger_front.__doc__ or ""),
    Part("front-50", "front exchanger +50 %", "front", bigger_front(0.50), bigger_front.__doc__ or ""),
    Part("coolant-1", "1 L more coolant", "coolant", more_coolant(1.0), more_coolant.__doc__ or ""),
    Part("coolant-2", "2 L more coolant", "coolant", more_coolant(2.0), more_coolant.__doc__ or ""),
    Part("coolant-4", "4 L more coolant", "coolant", more_coolant(4.0), more_coolant.__doc__ or ""),
    Part("second-pump", "second pump in series", "pump", second_pump, second_pump.__doc__ or "", 2),
    Part("stronger-pump", "stronger pump", "pump", stronger_pump, stronger_pump.__doc__ or ""),
    Part("core-50", "core +50 %", "core", bigger_core(0.50), bigger_core.__doc__ or ""),
    Part("fast-probe", "probe twice as fast", "probe", faster_probe, faster_probe.__doc__ or ""),
    Part("pipe-foam", "insulated charge pipe", "pipe", insulated_charge_pipe, insulated_charge_pipe.__doc__ or ""),
    Part("hose-foam", "insulated hoses and tank", "hoses", insulated_hoses, insulated_hoses.__doc__ or ""),
    Part("fan", "stronger fan", "fan", stronger_fan, stronger_fan.__doc__ or ""),
    Part("glycol-25", "25 % glycol", "glycol", glycol_share(0.25), glycol_share.__doc__ or ""),
    Part("glycol-50", "50 % glycol", "glycol", glycol_share(0.50), glycol_share.__doc__ or ""),
)
PRESENT = Part("present", "present hardware", "none", lambda car: car, "the car as it stands")


def fits(part: Part, car: CarNumbers, coldest_k: float) -> str:
    """Why a part makes no sense on this car; "" if it does. coldest_k: coldest air of the season."""
    if part.family == "glycol":
        changed = part.change(car).loop
        if (
            abs(changed.glycol_volume_fraction - car.loop.glycol_volume_fraction) < 0.005
            and changed.glycol == car.loop.glycol
        ):
            return "the car has that already"
        freezes = fluids.freezing_k(changed.glycol, changed.glycol_volume_fraction)
        if freezes > coldest_k:
            return f"freezes at {freezes - ZERO_C_K:.0f} degC, the season goes down to {coldest_k - ZERO_C_K:.0f} degC"
    return ""


def both(first: Part, second: Part) -> Part:
    """Two parts fitted together."""
    return Part(
        f"{first.name}+{second.name}", f"{first.words} and {second.words}", "pair",
        lambda car: second.change(first.change(car)), f"{first.assumed} "
                                                      f"{second.assumed}", max(first.pumps, second.pumps),
    )  # fmt: skip
