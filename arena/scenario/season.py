"""Season files: how the car is used through the year, and what each figure is worth.

`load_season` takes a name or a path and checks that every drive and climate it names is there.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from pydantic import BaseModel, ConfigDict, Field

from arena.errors import BadInput
from arena.plant.numbers import Goals
from arena.scenario import loading
from arena.units import k_to_c, m_s_to_kmh


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


WEAR_EXPONENTS: Final = (
    1.0,
    1.5,
    2.0,
)  # wear is added up for these: the usual one, and what is plausible


@dataclass(frozen=True)
class WearLaw:
    """wear = integral (w/w_rated)^exponent [...] dt + start_h x starts; an assumption, from memory."""

    exponent: float = 1.5  # one of WEAR_EXPONENTS
    start_h: float = 0.01


class SeasonHead(_Strict):
    """The `[season]` table."""

    name: str = Field(min_length=1, max_length=60, pattern=loading.ONE_LINE)
    summary: str = ""
    source: str = ""
    target_c: float = Field(default=k_to_c(Goals.target_k), ge=0, le=80)
    limit_c: float = Field(default=k_to_c(Goals.limit_k), ge=5, le=120)
    band_k: float = Field(default=Goals.band_k, ge=0, le=20)
    quiet_duty_pct: float = Field(default=100.0 * Goals.quiet_duty, ge=0, le=100)
    quiet_kmh: float = Field(default=m_s_to_kmh(Goals.quiet_m_s), ge=0, le=50)


class PricesTable(_Strict):
    """The `[prices]` table; every price with its reasoning beside it."""

    tracking_per_k_h: float = Field(ge=0)
    wear_per_h: float = Field(ge=0)
    energy_per_kwh: float = Field(ge=0)
    tracking_reasoning: str = ""
    wear_reasoning: str = ""
    energy_reasoning: str = ""
    reasoning: str = ""


class WearTable(_Strict):
    """The `[wear]` table."""

    exponent: float = Field(default=WearLaw.exponent)
    start_h: float = Field(default=WearLaw.start_h, ge=0, le=1)


class OutingRow(_Strict):
    """One `[[outing]]` row."""

    drive: str = Field(min_length=1)
    climate: str = Field(min_length=1)
    per_year: float = Field(gt=0, le=5000)
    fault: str = Field("", description="a fault that is there on this outing")


class SeasonFile(_Strict):
    """A whole season file."""

    season: SeasonHead
    prices: PricesTable
    wear: WearTable = Field(default_factory=WearTable)
    outing: tuple[OutingRow, ...] = Field(min_length=1, max_length=1000)


@dataclass(frozen=True)
class Entry:
    """One drive in one climate, so many times a year."""

    drive: str
    climate: str
    outings_per_year: float
    fault: str = ""


@dataclass(frozen=True)
class Prices:
    """What a unit of each scored quantity is worth, in the season's own money; the file gives the reasoning."""

    tracking_per_k_h: float
    wear_per_h: float
    energy_per_kwh: float
    reasoning: str = ""


@dataclass(frozen=True)
class Season:
    """A loaded season; temperatures in degC as people set them."""

    name: str
    summary: str
    digest: str
    entries: tuple[Entry, ...]
    prices: Prices
    wear: WearLaw
    target_c: float
    limit_c: float
    band_k: float
    quiet_duty: float
    quiet_kmh: float


def load_season(name: str | Path, near: Path | None = None) -> Season:
    """A season by name or path. Raises BadInput with every fault, one line each."""
    path = loading.find("seasons", name, near)
    text = loading.read_text(path)
    file = loading.validate(path, text, loading.parse(path, text), SeasonFile)
    faults: list[str] = []
    entries = tuple(_entry(path, text, row, outing, faults) for row, outing in enumerate(file.outing))
    remedy = f"Correct {loading.shown(path)}."
    if faults:
        remedy = "Name what is known (`arena list drives`, `arena list climates`), or give the files' paths."
    faults += [loading.fault_line(path, text, loc, message) for loc, message in _clashes(file)]
    if faults:
        raise BadInput(faults, remedy)
    head, prices = file.season, file.prices
    reasons = (prices.reasoning, prices.tracking_reasoning, prices.wear_reasoning, prices.energy_reasoning)
    return Season(
        head.name,
        head.summary,
        loading.digest_of(text.strip()),
        entries,
        Prices(
            prices.tracking_per_k_h,
            prices.wear_per_h,
            prices.energy_per_kwh,
            " ".join(part for part in reasons if part),
        ),
        WearLaw(file.wear.exponent, file.wear.start_h),
        head.target_c,
        head.limit_c,
        head.band_k,
        head.quiet_duty_pct / 100.0,
        head.quiet_kmh,
    )


def _entry(path: Path, text: str, row: int, outing: OutingRow, faults: list[str]) -> Entry:
    """One row with its names resolved: a file beside the season is named by its path, others stay as written."""
    names = {"drive": outing.drive, "climate": outing.climate, **({"fault": outing.fault} if outing.fault else {})}
    for kind, name in names.items():
        try:
            found = loading.find(f"{kind}s", name, near=path.parent)
        except BadInput as error:
            faults += [
                loading.fault_line(path, text, ("outing", row, kind), f"names what is not there: {said}")
                for said in error.faults
            ]
            continue
        if found not in _known_elsewhere(f"{kind}s", name):
            names[kind] = str(found)
    return Entry(names["drive"], names["climate"], outing.per_year, names.get("fault", ""))


def _known_elsewhere(kind: str, name: str) -> list[Path]:
    """What the name leads to without the season's own folder: then it may stay as it is written."""
    try:
        return [loading.find(kind, name)]
    except BadInput:
        return []


def _clashes(file: SeasonFile) -> list[tuple[loading.Loc, str]]:
    found: list[tuple[loading.Loc, str]] = []
    if file.season.limit_c <= file.season.target_c:
        message = f"must be above season.target_c (given {file.season.limit_c:g}, target {file.season.target_c:g})"
        found.append((("season", "limit_c"), message))
    if file.wear.exponent not in WEAR_EXPONENTS:
        known = ", ".join(f"{e:g}" for e in WEAR_EXPONENTS)
        found.append((("wear", "exponent"), f"must be one of {known} (given {file.wear.exponent:g})"))
    if file.prices.tracking_per_k_h + file.prices.wear_per_h + file.prices.energy_per_kwh <= 0.0:
        found.append((("prices",), "are all zero, so nothing could be ranked; give at least one above zero"))
    seen: dict[tuple[str, str, str], int] = {}
    for row, outing in enumerate(file.outing):
        pair = (outing.drive, outing.climate, outing.fault)
        if pair in seen:
            found.append(
                (
                    ("outing", row),
                    f"repeats row {seen[pair] + 1} ({' in '.join(pair[:2])}{bool(pair[2]) * ' with '}{pair[2]}); "
                    "add their per_year together",
                )
            )
        seen.setdefault(pair, row)
    return found
