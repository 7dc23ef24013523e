"""Coolant-side conductance of core and front exchanger with the coolant the loop holds.

A conductance is given for the mixture it was rated with; another mixture has another film coefficient.
"""

from __future__ import annotations

import numpy as np

from arena.plant import exchanger, fluids
from arena.plant.hydraulics import REFERENCE_K
from arena.plant.numbers import Core, Front, Loop
from arena.plant.values import Out, Value, out

FILM_K = REFERENCE_K  # both mixtures are compared at this temperature; what warming does to the film is left out


def film_gain(exponent: float, coolant: fluids.Coolant, rated: fluids.Coolant) -> Out:
    """Film coefficient of a coolant over that of another, same passage and same flow (m3/s).

    Nu ~ Re^a Pr^(1/3), `exponent` a in 0..1, so h ~ k^(2/3) rho^a cp^(1/3) mu^(1/3 - a): Colburn's form of
    turbulent flow at a = 0.8, Leveque's of developing laminar flow at a = 1/3, where viscosity drops out.
    """
    ratio = [np.asarray(now) / np.asarray(then) for now, then in zip(coolant, rated, strict=True)]
    density, heat_capacity, conductivity, viscosity = ratio
    third = 1.0 / 3.0
    return out(conductivity ** (2 * third) * density**exponent * heat_capacity**third * viscosity ** (third - exponent))


def coolant_ha_w_k(part: Core | Front, loop: Loop) -> float:
    """Coolant-side hA (W/K) at the part's reference flow with the loop's own coolant."""
    own, rated = (loop.glycol, loop.glycol_volume_fraction), (part.rated_glycol, part.rated_glycol_volume_fraction)
    if own == rated:
        return part.coolant_ha_w_k
    now, then = (fluids.table(*mixture).at(FILM_K) for mixture in (own, rated))
    return part.coolant_ha_w_k * float(film_gain(part.coolant_exponent, now, then))


def coolant_conductance(part: Core | Front, loop: Loop, flow_m3_s: Value) -> Out:
    """Coolant-side hA (W/K) at a flow with the loop's own coolant, never below the still-coolant floor."""
    return exchanger.flow_conductance(
        coolant_ha_w_k(part, loop), part.coolant_ref_m3_s, part.coolant_exponent, part.still_ha_w_k, flow_m3_s
    )
