"""A season from a folder of the user's own logs: sorted into kinds of drive, a representative few played with weights.

Each log is read like any trace. Logs alike in length, speed, stops and boost are one kind of drive; the one nearest its
kind's middle stands for all of them. The outside temperatures logged become climate files. Everything is written beside
the season, so that it can be moved, read and edited.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.plant.compile import BOOST_FROM_PA
from arena.scenario import loading
from arena.scenario.log_columns import Columns
from arena.scenario.log_csv import read_log
from arena.scenario.starters import name_from, new_file, season_starter
from arena.scenario.trace_csv import ENGINE_STOPPED_RPM, TraceData, read_trace
from arena.units import ZERO_C_K

Floats = NDArray[np.float64]

ENDINGS: Final = (".csv", ".tsv", ".txt", ".log")
MOST_KINDS: Final = 4  # kinds of drive that are told apart
MOST_ROWS: Final = 10  # of the season
SPLIT_S: Final = 300.0  # a longer gap in a log parts two drives; the engine was off, or the logger
LEAST_S: Final = 60.0  # shorter pieces are no drive
COLD_BELOW_K: Final = ZERO_C_K + 40.0  # engine coolant at the start; below it the drive starts cold
DAYS: Final = 30.0  # a month, when the names of the logs carry no dates
ALIKE: Final = 1.0  # in the scaled features: kinds nearer than this are one; from memory
BANDS_C: Final = (-5.0, 5.0, 13.0, 22.0, 30.0)
BAND_NAMES: Final = ("freezing", "cold", "cool", "mild", "warm", "hot")


@dataclass(frozen=True)
class Recorded:
    """One drive found in the logs. `boost_share` is of the time the engine runs, None without MAP; `ambient_c` too."""

    name: str
    file: Path
    trace: TraceData
    seconds: float
    km: float
    stops: int
    boost_share: float | None
    ambient_c: float | None
    cold: bool


@dataclass(frozen=True)
class Kind:
    """One kind of drive: its logs, and the one that stands for them."""

    name: str
    drives: tuple[Recorded, ...]
    model: Recorded


@dataclass(frozen=True)
class SeasonRow:
    """One row of the season: kind, climate, logs behind it, outings a year."""

    kind: str
    climate: str
    logs: int
    per_year: float


@dataclass(frozen=True)
class LogSeason:
    """What was made of a folder of logs, and the files written; `left_out`: which logs could not be used and why."""

    path: Path
    kinds: tuple[Kind, ...]
    climates: dict[str, float | None]  # name -> degC; None for a shipped one
    rows: tuple[SeasonRow, ...]
    days: float
    days_from: str
    written: tuple[Path, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def drives(self) -> tuple[Recorded, ...]:
        """Every drive found."""
        return tuple(drive for kind in self.kinds for drive in kind.drives)


def season_from_logs(
    folder: str | Path, path: str | Path, columns: Columns | None = None, days: float | None = None
) -> LogSeason:
    """Read a folder of logs and write a season at `path`, with its drives and climates beside it.

    `days`: over how many days the logs were taken; by the dates in their names if not given. Raises BadInput when no
    log can be used, or a file to be written is there already (then nothing is written).
    """
    folder, path = Path(folder), Path(path)
    files = _logs_in(folder)
    if path.suffix.lower() != ".toml":
        raise BadInput(f"{loading.shown(path)}: a season file ends in .toml", "Give for example my-season.toml.")
    if days is not None and not 1.0 <= days <= 3660.0:
        raise BadInput(f"--days {days:g} is outside 1..3660", "Give the days over which the logs were taken.")
    drives: list[Recorded] = []
    left_out: list[str] = []
    notes: list[str] = []
    for file in files:
        try:
            drives += _drives_of(file, columns or {}, left_out, notes)
        except BadInput as fault:
            left_out.append(fault.faults[0])
    if not drives:
        raise BadInput(
            [f"{loading.shown(folder)}: none of its {len(files)} logs can be used as a drive", *left_out],
            "`arena check LOG.csv` shows what is taken for what; --columns says which header is which.",
        )
    span, how = (days, "given") if days is not None else _days_of(files)
    kinds = _kinds(drives)
    rows, climates = _rows(kinds, span, notes)
    made = LogSeason(path, kinds, climates, rows, span, how, (), tuple(left_out), tuple(notes))
    return replace(made, written=_write(made))


def _logs_in(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise BadInput(f"{loading.shown(folder)}: is no folder", "Give the folder your logs lie in.")
    files = sorted(f for f in folder.iterdir() if f.suffix.lower() in ENDINGS and f.is_file())
    if not files:
        raise BadInput(
            f"{loading.shown(folder)}: holds no log ({', '.join(ENDINGS)})", "Give the folder your logs lie in."
        )
    return files


def _drives_of(file: Path, columns: Columns, left_out: list[str], notes: list[str]) -> list[Recorded]:
    """The drives in one log: whole, or parted where nothing was logged for long."""
    trace, _ = read_trace(file, columns)
    if trace.speed_m_s is None:
        raise BadInput(f"{loading.shown(file)}:1: no column for speed_kmh", "A season is sorted by road speed: log it.")
    beside = _beside(file, columns, float(trace.time_s[-1]), notes)
    breaks = np.flatnonzero(np.diff(trace.time_s) > SPLIT_S) + 1
    edges = [0, *(int(b) for b in breaks), len(trace.time_s)]
    found = []
    for number, (first, last) in enumerate(pairwise(edges), start=1):
        part = _piece(trace, first, last)
        name = file.stem if len(edges) == 2 else f"{file.stem}-{number}"
        if last - first < 2 or part.time_s[-1] < LEAST_S:
            left_out.append(f"{loading.shown(file)}: {name} lasts under {LEAST_S:.0f} s and is no drive")
        elif float(part.road_speed_m_s.max()) < 2.0:
            left_out.append(f"{loading.shown(file)}: {name} never moves")
        else:
            found.append(_recorded(name, file, part, beside, float(trace.time_s[first])))
    return found


def _beside(file: Path, columns: Columns, ends_s: float, notes: list[str]) -> dict[str, tuple[Floats, Floats]]:
    """Outside air and engine coolant, where logged: times on the trace's clock, which ends at `ends_s`, and kelvin.

    Each is read from its own first value on, so that clocks begin on different rows; all end on the file's last.
    """
    found: dict[str, tuple[Floats, Floats]] = {}
    for key in ("ambient", "engine_coolant"):
        try:
            log = read_log(file, columns, need=("speed",), want=("speed", key))
        except BadInput as fault:
            notes.append(f"{fault.faults[0]}; taken as not logged")
            continue
        if key in log.values:
            found[key] = log.time_s + (ends_s - float(log.time_s[-1])), log.values[key]
    return found


def _piece(trace: TraceData, first: int, last: int) -> TraceData:
    def cut(values: Floats | None) -> Floats | None:
        return None if values is None else values[first:last]

    time_s = trace.time_s[first:last] - trace.time_s[first]
    return TraceData(
        time_s, cut(trace.speed_m_s), cut(trace.grade), cut(trace.rpm), cut(trace.map_pa), cut(trace.throttle),
        cut(trace.pedal),
    )  # fmt: skip


def _recorded(
    name: str, file: Path, trace: TraceData, beside: dict[str, tuple[Floats, Floats]], begins_s: float
) -> Recorded:
    ends_s = begins_s + float(trace.time_s[-1])

    def logged(key: str) -> Floats | None:
        if key not in beside:
            return None
        time_s, values = beside[key]
        inside = (time_s > begins_s - 1e-3) & (time_s < ends_s + 1e-3)  # the clocks agree but for rounding
        return values[inside] if inside.any() else None

    ambient, engine = logged("ambient"), logged("engine_coolant")
    at = np.arange(0.0, trace.time_s[-1], 1.0)  # per second: a log that was polled unevenly counts evenly
    speed = np.interp(at, trace.time_s, trace.road_speed_m_s)
    standing = speed < 0.5
    stops = int(np.sum(np.diff(standing.astype(np.int8)) == 1))
    share = None
    if trace.map_pa is not None:
        rpm = np.interp(at, trace.time_s, trace.rpm) if trace.rpm is not None else np.full(len(at), np.inf)
        running = rpm > ENGINE_STOPPED_RPM
        share = (
            float(np.mean(np.interp(at, trace.time_s, trace.map_pa)[running] > BOOST_FROM_PA)) if running.any() else 0.0
        )
    return Recorded(
        name,
        file,
        trace,
        float(trace.time_s[-1]),
        float(np.trapezoid(trace.road_speed_m_s, trace.time_s)) / 1e3,
        stops,
        share,
        None if ambient is None else float(np.median(ambient)) - ZERO_C_K,
        engine is not None and float(engine[0]) < COLD_BELOW_K,
    )


def _days_of(files: Sequence[Path]) -> tuple[float, str]:
    """Days from the first to the last date in the logs' names; a month without at least two dates."""
    found = set()
    for file in files:
        for year, month, day in re.findall(r"(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)", file.stem):
            try:
                found.add(date(int(year), int(month), int(day)))
            except ValueError:
                continue
    if len(found) < 2:
        return DAYS, "assumed: their names carry no dates"
    return max(float((max(found) - min(found)).days + 1), 7.0), "by the dates in their names"


def _features(drives: Sequence[Recorded]) -> Floats:
    """What makes drives alike, each scaled so that 1 is a clear difference; shape (drives, 5). Scales from memory."""
    rows = []
    for d in drives:
        mean_kmh = 3.6e3 * d.km / d.seconds
        per_km = d.stops / max(d.km, 0.5)
        boost = 20.0 * (d.boost_share if d.boost_share is not None else 0.0)
        rows.append([np.log2(d.seconds / 600.0), mean_kmh / 25.0, min(per_km, 4.0) / 1.5, boost, 1.5 * d.cold])
    return np.array(rows)


def _kinds(drives: Sequence[Recorded]) -> tuple[Kind, ...]:
    """Kinds of drive by joining what is nearest (mean distance), down to MOST_KINDS and until none are alike."""
    features = _features(drives)
    label = np.ones(len(drives), dtype=int)
    if len(drives) > 1:
        from scipy.cluster.hierarchy import fcluster, linkage

        joined = linkage(features, "average")
        label = fcluster(joined, ALIKE, "distance")
        if label.max() > MOST_KINDS:
            label = fcluster(joined, MOST_KINDS, "maxclust")
    apart = np.linalg.norm(features[:, None] - features[None, :], axis=2)
    groups = [[int(k) for k in np.flatnonzero(label == one)] for one in np.unique(label)]
    kinds: list[Kind] = []
    for group in sorted(groups, key=lambda g: (-len(g), g[0])):
        middle = group[int(np.argmin(apart[np.ix_(group, group)].sum(axis=1)))]
        members = tuple(drives[k] for k in group)
        kinds.append(Kind(_called(members, [k.name for k in kinds]), members, drives[middle]))
    return tuple(kinds)


def _called(drives: Sequence[Recorded], taken: Sequence[str]) -> str:
    """A plain name for a kind: how it starts, how long, how fast."""
    minutes = float(np.median([d.seconds for d in drives])) / 60.0
    kmh = 3.6e3 * sum(d.km for d in drives) / sum(d.seconds for d in drives)
    place = "town" if kmh < 30.0 else "country" if kmh < 70.0 else "motorway"
    start = "cold-" if sum(d.cold for d in drives) * 2 > len(drives) else ""
    base = f"{start}{place}-{minutes:.0f}-min"
    return base if base not in taken else next(f"{base}-{k}" for k in range(2, 99) if f"{base}-{k}" not in taken)


def _rows(
    kinds: Sequence[Kind], days: float, notes: list[str]
) -> tuple[tuple[SeasonRow, ...], dict[str, float | None]]:
    """Rows by kind and band of outside temperature, the smallest joined to their neighbours down to MOST_ROWS."""
    cells: dict[tuple[int, int], list[Recorded]] = {}
    unknown = sum(d.ambient_c is None for kind in kinds for d in kind.drives)
    known = [d.ambient_c for kind in kinds for d in kind.drives if d.ambient_c is not None]
    for k, kind in enumerate(kinds):
        for d in kind.drives:
            middle = d.ambient_c if d.ambient_c is not None else float(np.median(known)) if known else None
            band = -1 if middle is None else int(np.searchsorted(BANDS_C, middle, side="right"))
            cells.setdefault((k, band), []).append(d)
    if unknown and known:
        notes.append(f"{unknown} drives log no outside temperature: taken as the middle of the others")
    elif unknown:
        notes.append("no log has an outside temperature: the shipped climate mild stands in; change it to yours")
    while len(cells) > MOST_ROWS:
        small = min(cells, key=lambda c: (len(cells[c]), c))
        same = [c for c in cells if c[0] == small[0] and c != small]
        other = min(same or [c for c in cells if c != small], key=lambda c: (abs(c[1] - small[1]), c))
        cells[other] += cells.pop(small)
    climates: dict[str, float | None] = {}
    of_band: dict[int, str] = {}
    for band in sorted({b for _, b in cells}):
        temperatures = [d.ambient_c for c, ds in cells.items() if c[1] == band for d in ds if d.ambient_c is not None]
        of_band[band] = "mild" if band < 0 else f"logs-{BAND_NAMES[band]}"
        climates[of_band[band]] = None if band < 0 else round(float(np.median(temperatures or known)), 1)
    rows = [
        SeasonRow(kinds[k].name, of_band[band], len(found), round(len(found) * 365.0 / days, 1))
        for (k, band), found in sorted(cells.items())
    ]
    if days < 300.0:
        notes.append(
            f"the logs cover {days:.0f} days: the rest of the year is taken to be like them; add rows for other seasons"
        )
    return tuple(rows), climates


def _write(made: LogSeason) -> tuple[Path, ...]:
    """All files, or none: the season, one drive and its CSV a kind, one climate a band."""
    folder, base = made.path.parent, name_from(made.path)
    texts: dict[Path, str] = {}
    for kind in made.kinds:
        file = folder / f"{base}-{kind.name}.toml"
        texts[file] = _drive_text(kind, file.stem)
        texts[file.with_suffix(".csv")] = _trace_text(kind.model.trace)
    for name, air_c in made.climates.items():
        if air_c is not None:
            file = folder / f"{base}-{name}.toml"
            texts[file] = _climate_text(file.stem, name, air_c)
    rows = []
    for row in made.rows:
        weather = row.climate if made.climates[row.climate] is None else f"{base}-{row.climate}.toml"
        rows.append((f"{base}-{row.kind}.toml", weather, row.per_year))
    about = (
        f"{len(made.drives)} recorded drives over {made.days:.0f} days ({made.days_from}), as {len(made.kinds)} kinds"
    )
    text = season_starter(base, rows)
    texts[made.path] = text.replace("my year: commuting, and a hill now and then", about)
    there = [f for f in texts if f.exists()]
    if there:
        raise BadInput(
            [f"{loading.shown(f)}: is there already, and is not written over" for f in there],
            "Choose another name for the season, or move these away.",
        )
    for file, text in texts.items():
        new_file(file, text)
    return tuple(texts)


def _drive_text(kind: Kind, stem: str) -> str:
    drives, model = kind.drives, kind.model
    logs = ", ".join(loading.one_line(d.name, 40) for d in drives[:20]) + (" ..." if len(drives) > 20 else "")
    start = "cold" if model.cold else "warm"
    summary = f"stands for {len(drives)} recorded drives: {model.seconds / 60.0:.0f} min, {model.km:.1f} km"
    return (
        f"# A kind of drive found in the logs; the one recorded nearest its middle is played.\n# Logs: {logs}\n\n"
        f'[drive]\nname = "{stem[:60]}"\nsummary = "{summary}"\nstart = "{start}"\nsource = "own log"\n\n'
        f'[[phase]]\ndo = "trace"\nfile = "{stem}.csv"\n'
    )


def _climate_text(stem: str, name: str, air_c: float) -> str:
    return (
        f"# Outside air as the logs had it ({name.removeprefix('logs-')} days). Only the temperature was logged:\n"
        "# humidity, wind, sun and height are guesses; put in yours.\n\n"
        f'[climate]\nname = "{stem[:60]}"\nsummary = "{air_c:g} degC, the middle of the logs\' {name[5:]} days"\n'
        f'source = "temperature from own logs, the rest invented"\nair_c = {air_c:g}\nhumidity_pct = 60\n'
        f"altitude_m = 0\nwind_kmh = 8\nsun_bay_k = {4 if air_c > 15.0 else 1}\n"
    )


def _trace_text(trace: TraceData) -> str:
    """The trace in our own columns."""
    columns: list[tuple[str, Floats, int]] = [("time_s", trace.time_s, 3), ("speed_kmh", 3.6 * trace.road_speed_m_s, 2)]
    for name, values, factor, digits in (
        ("grade_pct", trace.grade, 100.0, 2),
        ("rpm", trace.rpm, 1.0, 0),
        ("map_kpa", trace.map_pa, 1e-3, 1),
        ("throttle_pct", trace.throttle, 100.0, 1),
        ("pedal_pct", trace.pedal, 100.0, 1),
    ):
        if values is not None:
            columns.append((name, factor * values, digits))
    lines = [",".join(name for name, _, _ in columns)]
    for row in range(len(trace.time_s)):
        lines.append(",".join(f"{values[row]:.{digits}f}" for _, values, digits in columns))
    return "\n".join(lines) + "\n"
