"""A season's runs made up so that everything about them can be worked out by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from arena.contest.figures import NAMES
from arena.contest.standings import RunTable
from arena.scenario.season import Prices, Season, WearLaw, load_season

WEIGHTS = (20.0, 50.0)  # outings a year
LIMIT_S = (100.0, 0.0)  # weighted seconds on boost of an outing


def season() -> Season:
    """Prices and a wear law of small round numbers; everything else as shipped."""
    prices = Prices(tracking_per_k_h=2.0, wear_per_h=3.0, energy_per_kwh=5.0)
    return replace(load_season("temperate-year"), prices=prices, wear=WearLaw(1.5, 0.5))


def runs(tracking: Mapping[str, Sequence[float]], unranked: Sequence[str] = ()) -> RunTable:
    """Contestants with their tracking, K h, on the first outing by world; the second is driven, but costs nothing.

    Every figure that is not given is 0; nobody failed.
    """
    names, worlds = tuple(tracking), len(next(iter(tracking.values())))
    shape = (len(names), len(WEIGHTS), worlds)
    values = {name: np.zeros(shape) for name in NAMES}
    for c, name in enumerate(names):
        values["tracking_k_h"][c, 0] = tracking[name]
    return RunTable(
        names,
        tuple(n not in unranked and n != "always-on" for n in names),
        values,
        np.zeros((3, *shape)),
        np.full(shape, "", dtype=object),
        np.full(shape, np.nan),
        np.array(WEIGHTS),
        np.repeat(np.array(LIMIT_S)[:, None], worlds, axis=1),
    )
