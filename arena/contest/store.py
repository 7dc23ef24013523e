"""The result folder: written as DIR.partial from the start, renamed to DIR when whole.

No wall-clock time and no path stands in standings.csv or runs.csv, so that the same inputs give the same bytes.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import platform
import shutil
from collections.abc import Iterable, Mapping, Sequence
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from arena.contest.entering import settings_shown
from arena.contest.figures import NAMES
from arena.contest.locks import FileLock
from arena.contest.run import Contestant
from arena.contest.standings import RunTable, Standings
from arena.contest.worlds import Plan, plan_digest
from arena.contest.worlds_file import packed, unpacked
from arena.errors import BadInput
from arena.scenario.loading import read_bytes
from arena.scenario.wording import one_line
from arena.strategies import shipped
from arena.strategies.base import CARRIED
from arena.writing import write_whole

LOCK = ".lock"  # in a folder that is being written
MOST_JSON_BYTES = 50_000_000
BUSY = "another process is writing there"
PACKAGES = ("charge-arena", "numpy", "scipy", "numba", "llvmlite", "simpy", "optuna", "cmaes", "CoolProp", "pandas")


class Folder:
    """A result folder being written, by one process at a time.

    `path` is `.DIR.partial.new` while its inputs are copied, DIR.partial from `begin` on and DIR from `finish` on; so
    there is never a DIR.partial that could not be resumed.
    """

    def __init__(self, final: Path, path: Path, lock: FileLock) -> None:
        self.final = final
        self.path = path
        self.lock = lock

    @classmethod
    def new(cls, out: str | Path) -> Folder:
        """A folder to fill and `begin`; refuses a DIR or DIR.partial that is already there, so that nothing is lost."""
        final = Path(out)
        beginning = final.with_name(f".{final.name}.partial.new")
        not_there(final)
        try:
            beginning.mkdir(parents=True, exist_ok=True)
            lock = held(beginning)
            for left in beginning.iterdir():  # of a process that was killed before it had begun
                if left.name != LOCK:
                    shutil.rmtree(left) if left.is_dir() and not left.is_symlink() else left.unlink()
        except FileNotFoundError as error:  # it has just begun
            raise BadInput(f"{partial_of(final)}: {BUSY}", "Wait for it, or give another --out.") from error
        except OSError as error:
            raise BadInput(
                f"{partial_of(final)}: cannot be made: {error.strerror}", "Give an --out that can be written."
            ) from error
        return cls(final, beginning, lock)

    @classmethod
    def resume(cls, given: str | Path) -> Folder:
        """Go on with a DIR.partial."""
        partial = Path(given)
        if not partial.name.endswith(".partial"):
            partial = partial_of(partial)
        final = partial.with_name(partial.name.removesuffix(".partial"))
        if not (partial / "manifest.json").is_file():
            whole = (final / "manifest.json").is_file()
            remedy = f"{final} is whole." if whole else "Give the DIR.partial of an interrupted run."
            raise BadInput(f"{partial}: no unfinished result there", remedy)
        try:
            return cls(final, partial, held(partial))
        except OSError as error:
            raise BadInput(f"{partial}: cannot be written: {error.strerror}", "Make it writable.") from error

    def begin(self) -> None:
        """Everything that resuming needs is there: from now on it is DIR.partial."""
        partial = partial_of(self.final)
        not_there(self.final)
        try:
            self.path.rename(partial)  # refused by the system if a folder with anything in it is there
        except OSError as error:
            raise BadInput(f"{partial}: cannot be made: {error.strerror}", "Give another --out.") from error
        self.path = partial

    def write(self, name: str, content: str | bytes) -> Path:
        """One file, whole or not at all."""
        path = self.path / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, content)
        except OSError as error:
            raise BadInput(f"{path}: cannot be written: {error.strerror}", self.going_on()) from error
        return path

    def going_on(self) -> str:
        """What to do once a fault of the disk is put right."""
        if self.path == partial_of(self.final):
            return f"What was finished is kept in {self.path}: make room there, then go on with --resume."
        return "Make room there, or give another --out."

    def read_json(self, name: str) -> Any:
        """A JSON file of the folder; None if it is not there."""
        path = self.path / name
        if not path.is_file():
            return None
        try:
            return json.loads(read_bytes(path, MOST_JSON_BYTES).decode())
        except (ValueError, RecursionError) as error:
            raise self.damaged(name, error) from error

    def read_manifest(self) -> dict[str, Any]:
        """What the folder was begun with."""
        found = self.read_json("manifest.json")
        parts = ("request", "inputs_sha256", "strategies_sha256", "versions")
        kinds = (dict, str, dict, dict)
        if not isinstance(found, dict) or any(
            not isinstance(found.get(p), k) for p, k in zip(parts, kinds, strict=True)
        ):
            raise self.damaged("manifest.json", f"it must hold {', '.join(parts)}")
        return found

    def damaged(self, name: str, why: object) -> BadInput:
        """The fault of a file of the folder that is not as it was written."""
        remedy = "Start afresh in another folder."
        if name.startswith(("tuning/", "working/")):
            remedy = "Remove that file: what it held is done again."
        return BadInput(f"{self.path / name}: damaged: {one_line(str(why), 200)}", remedy)

    def keep_generation(self, contestant: str, generation: int, values: list[float]) -> None:
        """Keep the scores of one generation of one strategy's tuning."""
        name = f"tuning/{contestant}.json"
        found = self.read_json(name) or {"contestant": contestant, "generations": []}
        found["generations"] = [*found["generations"][:generation], values]
        self.write(name, json.dumps(found) + "\n")

    def kept_generation(self, contestant: str, generation: int) -> list[float] | None:
        """Scores kept of a generation, if it was finished."""
        name = f"tuning/{contestant}.json"
        found = self.read_json(name)
        if found is None:
            return None
        try:
            generations = [[float(v) for v in values] for values in found["generations"]]
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            raise self.damaged(name, error) from error
        if not np.isfinite([v for values in generations for v in values]).all():
            raise self.damaged(name, "holds scores that are not finite")
        return generations[generation] if generation < len(generations) else None

    def keep_world(self, replicate: int, table: RunTable, outings: list[dict[str, Any]]) -> None:
        """Keep the runs of one world of the ranking."""
        self.write(f"working/world-{replicate}.npz", packed(table, outings))

    def kept_world(self, replicate: int) -> tuple[RunTable, list[dict[str, Any]]] | None:
        """Runs kept of one world, if it was finished."""
        name = f"working/world-{replicate}.npz"
        path = self.path / name
        if not path.is_file():
            return None
        try:
            return unpacked(path)
        except (ValueError, OSError) as error:
            raise self.damaged(name, error) from error

    def finish(self) -> Path:
        """Remove working files and give the folder its final name."""
        try:
            shutil.rmtree(self.path / "working", ignore_errors=True)
            for left in self.path.rglob(".*.new"):  # half written when an earlier process was killed
                left.unlink()
            os.replace(self.path, self.final)  # over an empty folder; refused if anything is in it
            (self.final / LOCK).unlink(missing_ok=True)  # last, so that nobody could take it meanwhile
        except OSError as error:
            raise BadInput(
                f"{self.final}: cannot be given its name: {error.strerror}",
                f"The result stands in {self.path}, whole; put what is in the way aside, and go on with --resume.",
            ) from error
        finally:
            self.lock.release()
        self.path = self.final
        return self.final


def partial_of(final: Path) -> Path:
    """The name of a result folder while it is not whole."""
    return final.with_name(final.name + ".partial")


def not_there(final: Path) -> None:
    """Raises BadInput if DIR or DIR.partial holds anything."""
    partial = partial_of(final)
    for path, fault, remedy in (
        (final, "already there", "Give another --out, or remove it yourself."),
        (partial, "an unfinished result is there", f"Go on with --resume {partial}, or remove it."),
    ):
        if path.is_symlink() or (path.exists() and (not path.is_dir() or any(path.iterdir()))):
            raise BadInput(f"{path}: {fault}", remedy)


def held(folder: Path) -> FileLock:
    """The lock of a result folder. Raises BadInput if another process is writing there."""
    lock = FileLock(folder / LOCK)
    if not lock.acquire(wait=False) or not lock.in_place():
        lock.release()
        raise BadInput(f"{folder}: {BUSY}", "Wait for it, or give another --out.")
    return lock


def manifest(
    plan: Plan,
    contestants: Sequence[Contestant],
    request: Mapping[str, Any],
    command: Sequence[str],
    copied: Mapping[str, str],
) -> str:
    """Versions, seeds, hashes of every input file and of every strategy, and the command line."""
    for name, value in request.items():
        for word in value if isinstance(value, list) else [value]:
            if isinstance(word, str) and readable(word) != word:
                fault = f"{name} {readable(word)}: the name is no Unicode, and a result folder could not hold it"
                raise BadInput(fault, "Give the file another name.")
    content = {
        "schema": 1,
        "command": [readable(word) for word in command],
        "request": dict(request),
        "inputs_sha256": plan_digest(plan),
        "strategies_sha256": strategy_digests(contestants),
        "files_sha256": dict(copied),
        "versions": versions(),
    }
    return json.dumps(content, indent=1, sort_keys=True) + "\n"


def readable(word: str) -> str:
    """A word of the command line as Unicode: bytes of a name that are none become question marks."""
    return word.encode("utf-8", "surrogateescape").decode("utf-8", "replace").replace("\ufffd", "?")


def versions() -> dict[str, str]:
    """What figures are made with: another version may move their last digits, and with them a tuning."""
    found = {"python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "not installed"
    return found


def strategy_digests(contestants: Sequence[Contestant]) -> dict[str, str]:
    """SHA-256 of each strategy's file, and of the table it was made from if it was."""
    files = {c.name: (c.strategy.path, *c.strategy.data) for c in contestants}
    return {
        name: hashlib.sha256(b"".join(Path(path).read_bytes() for path in paths)).hexdigest()
        for name, paths in files.items()
    }


def own_files(contestants: Sequence[Contestant]) -> list[Path]:
    """Files of contestants that are not shipped: laws and tables of the user's."""
    brought = [c.strategy for c in contestants if c.strategy not in shipped().values()]
    tables = [Path(name) for strategy in brought for name in strategy.data]
    return [*tables, *(Path(strategy.path) for strategy in brought if not strategy.data)]


def same_inputs(folder: Folder, plan: Plan, contestants: Sequence[Contestant]) -> None:
    """Raises BadInput if what an unfinished folder was made from has changed since."""
    then = folder.read_manifest()
    faults = []
    if then["inputs_sha256"] != plan_digest(plan):
        faults.append(f"{folder.path}: season, car, drives or climates have changed since it was begun")
    now = strategy_digests(contestants)
    faults += [
        f"{folder.path}: strategy {name} has changed since it was begun"
        for name, digest in then["strategies_sha256"].items()
        if now.get(name) != digest
    ]
    if faults:
        raise BadInput(faults, "Put the files back as they were (copies are in its inputs/), or start afresh.")
    changed = [
        f"{folder.path}: was begun with {name} {version}, this is {versions().get(name)}"
        for name, version in then["versions"].items()
        if versions().get(name) != version
    ]
    if changed:
        raise BadInput(changed, "One result comes from one set of versions: install those, or start afresh.")


def copy_inputs(folder: Folder, paths: Iterable[Path]) -> dict[str, str]:
    """Copies of the files used, and their SHA-256 by name in the folder; what stood in one place stands in one."""
    hashes = {}
    places: dict[Path, str] = {}
    for path in sorted(set(paths)):
        data, parent = path.read_bytes(), path.parent
        if parent not in places:
            taken = sum(known.name == parent.name for known in places)
            places[parent] = f"{parent.name}~{taken + 1}" if taken else parent.name
        name = "/".join(part for part in ("inputs", places[parent], path.name) if part)
        folder.write(name, data)
        hashes[name] = hashlib.sha256(data).hexdigest()
    return hashes


def number(value: float | None) -> str:
    """A number as it stands in our CSV files: ten significant digits, empty for none."""
    return "" if value is None or not np.isfinite(value) else f"{value:.10g}"


def standings_csv(standings: Standings, tuned: Mapping[str, bool], gaps: Mapping[str, float | None]) -> str:
    """standings.csv: one row a contestant, best first."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    head = ["place", "contestant", "ranked", "tuned", "tied_with", "score", "score_low", "score_high", "tuning_gap"]
    writer.writerow([*head, "failed_runs", "over_limit_k", *NAMES])
    for line in standings.lines:
        writer.writerow(
            [
                "" if line.place is None else line.place,
                line.contestant,
                int(line.ranked),
                int(tuned.get(line.contestant, False)),
                " ".join(line.tied_with),
                number(line.score),
                number(line.score_low),
                number(line.score_high),
                number(gaps.get(line.contestant)),
                line.failed_runs,
                number(line.over_limit_k),
                *(number(line.figures[name]) for name in NAMES),
            ]
        )
    return out.getvalue()


def runs_csv(table: RunTable, ids: Sequence[str]) -> str:
    """runs.csv: one row a run, by contestant, outing and replicate."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["contestant", "outing", "replicate", "failed", "failed_s", *NAMES])
    for c, name in enumerate(table.contestants):
        for e, outing in enumerate(ids):
            for w in range(table.failed.shape[2]):
                figures = [number(float(table.values[n][c, e, w])) for n in NAMES]
                writer.writerow(
                    [name, outing, w, table.failed[c, e, w], number(float(table.failed_s[c, e, w])), *figures]
                )
    return out.getvalue()


def settings_toml(contestant: Contestant, comment: str) -> str:
    """settings/<contestant>.toml: what a contestant runs with, units as comments."""
    import tomlkit

    units = {s.name: s.unit for s in (*contestant.strategy.settings, *CARRIED)}
    document = tomlkit.document()
    document.add(tomlkit.comment(comment))
    document.add("strategy", tomlkit.item(contestant.strategy.name))
    table = tomlkit.table()
    for name, value in settings_shown(contestant).items():
        table.add(name, float(f"{value:.6g}"))
        if units.get(name):
            table[name].comment(units[name])
    document.add("settings", table)
    return tomlkit.dumps(document)


def table_csv(headings: Sequence[str], rows: Sequence[float], columns: Sequence[float], cells: Any) -> str:
    """A duty table CSV, duty in per cent; `headings` name what rows and columns go by. Cells are 0..1."""
    return grid_csv(headings, rows, columns, [[f"{100.0 * cell:.6g}" for cell in row] for row in cells])


def grid_csv(
    headings: Sequence[str], rows: Sequence[float], columns: Sequence[float], cells: Sequence[Sequence[str]]
) -> str:
    """Cells under the axes of a duty table, as `arena.contest.duty_table.read_table` reads them."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([" \\ ".join(headings), *(f"{x:.10g}" for x in columns)])
    for at, row in zip(rows, cells, strict=True):
        writer.writerow([f"{at:.10g}", *row])
    return out.getvalue()
