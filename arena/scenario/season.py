"""Season files: how the car is used through the year, and what each figure is worth."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Entry:
    """One drive in one climate, so many times a year."""

    drive: str
    climate: str
    outings_per_year: float


@dataclass(frozen=True)
class Prices:
    """What a unit of each scored quantity is worth, in the season's own money; the file gives the reasoning."""

    tracking_per_k_h: float
    wear_per_h: float
    energy_per_kwh: float
    reasoning: str = ""


@dataclass(frozen=True)
class WearLaw:
    """wear = integral (w/w_rated)^exponent [...] dt + start_h x starts; an assumption, from memory."""

    exponent: float = 1.5  # 1.0, 1.5 or 2.0
    start_h: float = 0.01


@dataclass(frozen=True)
class Season:
    """A loaded season; temperatures in degC as people set them."""

    name: str
    summary: str
    digest: str
    entries: tuple[Entry, ...]
    prices: Prices
    wear: WearLaw
    target_c: float = 30.0
    limit_c: float = 45.0
    band_k: float = 3.0
    quiet_duty: float = 0.6
    quiet_kmh: float = 10.0
