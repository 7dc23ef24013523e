"""Coolant that freezes: said of every car and climate where it can, since a pump in ice is no question of control."""

from __future__ import annotations

from collections.abc import Iterable

from arena.plant import fluids
from arena.plant.numbers import CarNumbers
from arena.scenario.climate import Climate
from arena.units import ZERO_C_K


def freezes_in(car: CarNumbers, climate: Climate) -> bool:
    """Whether the climate's air gets colder than the car's coolant can bear."""
    return bool(climate.ambient_k.min() < fluids.freezing_k(car.loop.glycol, car.loop.glycol_volume_fraction))


def freezing_notes(car: CarNumbers, climates: Iterable[Climate]) -> list[str]:
    """A line for each climate in which the coolant can freeze: what happens in the model, and on the car."""
    part = car.loop.glycol_volume_fraction
    share = f"{100.0 * part:.0f} % antifreeze" if part else "no antifreeze"
    at = f"with {share} the coolant freezes at {fluids.freezing_k(car.loop.glycol, part) - ZERO_C_K:.0f} degC"
    ice = (
        "where it is frozen nothing flows and the pump is held fast; ice bursts core and hoses: more antifreeze is due"
    )
    cold = {c.name: float(c.ambient_k.min()) - ZERO_C_K for c in climates if freezes_in(car, c)}
    return [f"{name}: down to {coldest:.0f} degC, but {at}; {ice}" for name, coldest in cold.items()]
