"""Finding scenario files and reading them: every fault at once, one line each, never a traceback.

Names are looked up as a path, then beside the file that names them, then in ./scenarios, then among
the files shipped with the package. What cannot be used raises `BadInput`.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import stat
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

from arena.errors import BadInput
from arena.scenario.faults_told import fault_line, fault_lines
from arena.scenario.toml_lines import index_lines
from arena.scenario.wording import Loc, did_you_mean, key_name, nearest, one_line, shown

if TYPE_CHECKING:
    from pydantic import BaseModel  # at run time only where a file is checked: `arena list` does without

__all__ = [
    "KINDS", "ONE_LINE", "TABLE_LIMIT_BYTES", "TOML_LIMIT_BYTES", "Entry", "Loc", "check_rows", "decoded",
    "digest_of", "fault_line", "find", "index_lines", "key_name", "list_all", "nearest", "one_line", "parse",
    "read_bytes", "read_text", "read_toml", "safe_beside", "shipped_root", "shown", "validate",
]  # fmt: skip

KINDS: Final = ("cars", "climates", "drives", "seasons", "strategies", "faults", "axes")
KIND_OF_TABLE: Final = {  # head table of a file -> what the file is
    "car": "car",
    "climate": "climate",
    "drive": "drive",
    "season": "season",
    "strategy": "strategy",
    "settings": "settings",
    "axes": "axes",
    "fault": "fault",
    "columns": "columns",
}
ONE_LINE: Final = r"^[^\x00-\x1f\x7f]*$"  # for names: they stand in tables, ids and titles
TOML_LIMIT_BYTES: Final = 2_000_000
TABLE_LIMIT_BYTES: Final = 50_000_000
MOST_ROWS: Final = 1_000_000  # of a CSV or weather file: eleven days at 1 Hz
MOST_LINE_BYTES: Final = 100_000
MOST_NESTED: Final = 64  # tables and lists inside each other; our own files need ten
WHOLE_NUMBERS: Final = (-(2**63), 2**63 - 1)  # what TOML promises to hold

Model = TypeVar("Model", bound="BaseModel")


@dataclass(frozen=True)
class Entry:
    """One file that can be named: its id (the file's name without ending), one line, and where it is."""

    name: str
    summary: str
    path: Path


def shipped_root() -> Path:
    """Folder of the scenario files that travel with the package, from a checkout or an installed wheel."""
    package = Path(__file__).resolve().parent.parent
    for candidate in (package / "_scenarios", package.parent / "scenarios"):
        if (candidate / "cars").is_dir():
            return candidate
    raise BadInput(f"{package}: the shipped scenario files are missing", "Install the package again.")


def find(kind: str, name: str | Path, near: Path | None = None) -> Path:
    """Path of the scenario file called `name`; `near` is the folder of the file that names it, if any.

    Raises BadInput when there is none, naming the nearest known names.
    """
    text = str(name).strip()
    one = kind.removesuffix("s") if kind != "axes" else "axes"
    if not text:
        raise BadInput(f"{one}: the name is empty", _listing(kind))
    given, said = _at_home(text), one_line(text, 300)
    looks_like_path = given.suffix != "" or len(given.parts) > 1
    if _is_file(given) or (looks_like_path and _is_there(given)):
        return given
    candidates = [] if near is None or given.is_absolute() else [near / given, near / f"{text}.toml"]
    if len(given.parts) == 1:
        candidates += [path for folder in _folders(kind) for path in (folder / text, folder / f"{text}.toml")]
    for candidate in candidates:
        if _is_file(candidate):
            return candidate
    if looks_like_path:
        beside = {Path(name).stem: name for name in _names_beside(given)}  # endings are alike and would count
        near_file = did_you_mean(given.stem, _names(kind))
        if not near_file and (stem := nearest(given.stem, list(beside))):
            near_file = f', did you mean "{one_line(beside[stem])}"?'
        raise BadInput(
            f"{said}: there is no such file{near_file}",
            f"Check the path, or name a {one} that is known. {_listing(kind)}"
            if _names(kind)
            else "Check the path; `arena new` writes files to start from.",
        )
    near_name = did_you_mean(text, _names(kind))
    raise BadInput(f'unknown {one} "{said}"{near_name}', _listing(kind))


def list_all(kind: str) -> list[Entry]:
    """Every scenario file of a kind, sorted by name; one in ./scenarios hides a shipped one of the same name."""
    if kind not in KINDS:
        raise BadInput(f'unknown kind "{kind}"{did_you_mean(kind, KINDS)}', f"Known kinds: {', '.join(KINDS)}.")
    return [Entry(name, _summary_of(path), path) for name, path in sorted(_names(kind).items())]


def read_text(path: Path, limit_bytes: int = TOML_LIMIT_BYTES) -> str:
    """The file's text: UTF-8, a byte order mark and CRLF line ends tolerated. Raises BadInput otherwise."""
    return decoded(path, read_bytes(path, limit_bytes)).replace("\r\n", "\n")


def decoded(
    path: Path,
    raw: bytes,
    notes: list[str] | None = None,
    kind: str = "text",
    start: str = "See `arena new` for a commented starting file.",
) -> str:
    """The text of a file's bytes: UTF-8, a byte order mark tolerated. Raises BadInput otherwise.

    With `notes` what is not UTF-8 is read as Windows-1252, and noted there. `kind` of file is the remedy for zero
    bytes, `start` that for an empty file.
    """
    name, again = shown(path), "Save the file as UTF-8 text and try again."
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadInput(f"{name}: the text is UTF-16, not UTF-8", again)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if notes is None:
            line = raw[: error.start].count(b"\n") + 1
            raise BadInput(f"{name}:{line}: byte 0x{raw[error.start]:02x} is not UTF-8 text", again) from None
        text = raw.decode("cp1252", errors="replace")
        notes.append(f"{name}: is not UTF-8, read as Windows-1252")
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise BadInput(f"{name}:{line}: holds zero bytes, so it is not a text file", f"Give a {kind} file.")
    if not text.strip():
        raise BadInput(f"{name}: the file is empty", start)
    return text


def read_bytes(path: Path, limit_bytes: int) -> bytes:
    """The bytes of a plain file no larger than the limit. Raises BadInput otherwise."""
    try:
        status = path.stat()
    except FileNotFoundError:
        raise BadInput(f"{shown(path)}: there is no such file", "Check the path.") from None
    except (OSError, ValueError) as error:
        raise BadInput(f"{shown(path)}: cannot be read ({_why(error)})", "Check the path.") from None
    if stat.S_ISDIR(status.st_mode):
        raise BadInput(f"{shown(path)}: is a folder, not a file", "Name a file in it.")
    if not stat.S_ISREG(status.st_mode):
        raise BadInput(f"{shown(path)}: is not a plain file", "Give a plain file.")
    if status.st_size > limit_bytes:
        size, limit = status.st_size / 1e6, limit_bytes / 1e6
        raise BadInput(f"{shown(path)}: {size:.1f} MB is over the limit of {limit:g} MB", "Cut the file down.")
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadInput(f"{shown(path)}: cannot be read ({_why(error)})", "Check the file's permissions.") from None


def check_rows(path: Path, raw: bytes) -> None:
    """Refuse a table of too many rows, or with too long a row, before anything is made of it. Raises BadInput."""
    import numpy as np

    letters = np.frombuffer(raw, dtype=np.uint8)
    ends = np.flatnonzero((letters == ord("\n")) | (letters == ord("\r")))
    if len(ends) > MOST_ROWS:
        rows = raw.count(b"\n") or len(ends)
        if rows > MOST_ROWS:
            fault = f"{shown(path)}: has {rows} rows, over the limit of {MOST_ROWS}"
            raise BadInput(fault, "Cut the file into shorter ones, or log less often.")
    lengths = np.diff(ends, prepend=-1, append=len(raw))
    longest = int(np.argmax(lengths))
    if lengths[longest] > MOST_LINE_BYTES:
        row = raw[: int(ends[longest - 1]) if longest else 0].count(b"\n") + (1 if longest == 0 else 2)
        fault = f"{shown(path)}:{row}: this row has {lengths[longest]} bytes, over the limit of {MOST_LINE_BYTES}"
        raise BadInput(fault, "Give a table with one row a line.")


def read_toml(path: Path, model: type[Model], remedy: str = "") -> Model:
    """Read and validate one TOML file. Raises BadInput with every fault, one line each."""
    text = read_text(path)
    return validate(path, text, parse(path, text), model, remedy)


def parse(path: Path, text: str) -> dict[str, Any]:
    """TOML text to plain data. Raises BadInput with the line of the mistake."""
    if _dotted_deep(text):  # the parser's time grows with the square of the parts of a key
        raise _too_deep(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        where = re.search(r"\(at line (\d+), column (\d+)\)", message)
        line = f":{where[1]}" if where else ""
        plain = re.sub(r"\s*\(at .*\)$", "", message)
        column = f", column {where[2]}" if where else " at the end of the file"
        fault = f"{shown(path)}{line}: is not valid TOML: {plain[:1].lower()}{plain[1:]}{column}"
        raise BadInput(
            fault, 'A line reads `key = value`; text stands in "quotes", a table starts with [name].'
        ) from None
    except RecursionError:
        raise _too_deep(path) from None
    except ValueError:  # a number of thousands of digits
        at = next((n for n, line in enumerate(text.split("\n"), 1) if _LONG.search(line)), 1)
        low, high = WHOLE_NUMBERS
        fault = f"{shown(path)}:{at}: a whole number is outside {low} to {high}"
        raise BadInput(fault, "Write a smaller number.") from None
    _check_plain(path, text, data)
    return data


def validate(path: Path, text: str, data: Mapping[str, Any], model: type[Model], remedy: str = "") -> Model:
    """Check plain data against a model, strictly. Raises BadInput with every fault, one line each.

    A file of another kind is told as that, and not key by key.
    """
    from pydantic import ValidationError

    wanted = [KIND_OF_TABLE[table] for table in model.model_fields if table in KIND_OF_TABLE]
    is_one = [kind for table, kind in KIND_OF_TABLE.items() if table in data]
    if wanted and is_one and not set(wanted) & set(is_one):
        raise BadInput(
            f"{shown(path)}: is a {is_one[0]} file, where a {wanted[0]} is wanted",
            f"Name a {wanted[0]} file; `arena new {wanted[0]} my{wanted[0]}.toml` writes one to start from.",
        )
    try:
        return model.model_validate_json(json.dumps(data, default=_no_json), strict=True)
    except ValidationError as error:
        raise BadInput(
            fault_lines(path, text, data, model, error),
            remedy or f"Correct {shown(path)} and run `arena check {shown(path)}`.",
        ) from None
    except RecursionError:
        raise _too_deep(path) from None


_LONG: Final = re.compile(r"[0-9_]{1000}")
_TEXTS: Final = re.compile(
    r'"""(?:[^\\]|\\.)*?"""' + r"|'''.*?'''" + r'|"(?:[^"\\\n]|\\.)*"' + r"|'[^'\n]*'|#[^\n]*", re.DOTALL
)
_KEY_PART: Final = re.compile(r"[ \t]*[\w-]+[ \t]*\Z")


def _too_deep(path: Path) -> BadInput:
    return BadInput(f"{shown(path)}: is nested deeper than the limit of {MOST_NESTED}", "Write it flatter.")


def _dotted_deep(text: str) -> bool:
    """Whether some key or table name has more parts than tables may be nested: a.b.c has three."""
    run = 0
    for part in _TEXTS.sub("q", text).split("."):
        run = run + 1 if _KEY_PART.match(part) else 0
        if run >= MOST_NESTED:
            return True
    return False


def _check_plain(path: Path, text: str, data: dict[str, Any]) -> None:
    """Refuse what no file of ours can mean and later steps could not bear: deep nesting, huge whole numbers."""
    low, high = WHOLE_NUMBERS
    left: list[tuple[Loc, Any]] = [((), data)]
    while left:
        loc, value = left.pop()
        if len(loc) > MOST_NESTED:
            raise _too_deep(path)
        if isinstance(value, dict):
            left += [((*loc, key), inside) for key, inside in value.items()]
        elif isinstance(value, list):
            left += [((*loc, row), inside) for row, inside in enumerate(value)]
        elif isinstance(value, int) and not low <= value <= high:
            message = f"must be a whole number within {low} to {high}"
            raise BadInput(fault_line(path, text, loc, message), "Write a smaller number.")


def toml_text(text: str) -> str:
    """A text as a TOML string on one line, with its quotes: as in JSON, but no letter as a pair of halves."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def digest_of(*parts: str | bytes) -> str:
    """SHA-256 over texts or bytes, each with its length, as hex."""
    import hashlib  # `arena list` does without

    total = hashlib.sha256()
    for part in parts:
        raw = part.encode() if isinstance(part, str) else part
        total.update(len(raw).to_bytes(8, "big"))
        total.update(raw)
    return total.hexdigest()


def safe_beside(path: Path, text: str, loc: Loc, name: str) -> Path:
    """A file that `path` names, which must lie in its folder or below, links followed. Raises BadInput otherwise."""
    plain, said = name.replace("\\", "/"), one_line(name)
    remedy = f"Copy the file beside {shown(path)} and name it without a leading folder."
    if plain.startswith(("/", "~")) or re.match(r"^[A-Za-z]:", plain):
        raise BadInput(
            fault_line(path, text, loc, f'must be a file beside this one, not an absolute path ("{said}")'), remedy
        )
    if ".." in plain.split("/"):
        raise BadInput(fault_line(path, text, loc, f'must not climb out of its folder with ".." ("{said}")'), remedy)
    found = path.parent / plain
    if not _is_file(found):
        near = _names_beside(found)
        given = fault_line(
            path, text, loc, f'names "{said}", but there is no such file{did_you_mean(found.name, near)}'
        )
        raise BadInput(given, remedy)
    inside, truly = path.parent.resolve(), found.resolve()
    if not truly.is_relative_to(inside):
        said = f'is a link that leads out of this folder ("{said}" to {one_line(str(truly), 300)})'
        raise BadInput(fault_line(path, text, loc, said), remedy)
    return found


def _no_json(value: Any) -> Any:
    """Dates and times, which no scenario file holds, go in as text and are refused by the model."""
    return str(value)


def _listing(kind: str) -> str:
    names = ", ".join(sorted(_names(kind))) if kind in KINDS else ""
    return f"Known: {names}; `arena list {kind}` says what each is." if names else f"No {kind} are known here."


def _names(kind: str) -> dict[str, Path]:
    """Names of a kind and their files; one in ./scenarios hides a shipped one of the same name."""
    found: dict[str, Path] = {}
    for folder in _folders(kind):
        for path in sorted(folder.glob("*.toml")):
            if path.stem not in found and path.is_file():
                found[path.stem] = path
    return found


def _names_beside(path: Path) -> list[str]:
    """Files of the same ending in a folder, of which one may have been meant; none if there is no such folder."""
    try:
        return sorted(name for name in os.listdir(path.parent) if Path(name).suffix == path.suffix)
    except (OSError, ValueError):
        return []


def _at_home(text: str) -> Path:
    """A path with ~ put in full, where there is such a home."""
    try:
        return Path(text).expanduser()
    except RuntimeError:
        return Path(text)


def _folders(kind: str) -> list[Path]:
    folders = [Path("scenarios") / kind]
    with contextlib.suppress(BadInput):
        folders.append(shipped_root() / kind)
    return folders


def _summary_of(path: Path) -> str:
    """First summary in the file; a file that cannot be read says so instead of stopping a listing."""
    try:
        data = parse(path, read_text(path))
    except BadInput as error:
        return f"(cannot be read: {error.faults[0]})"
    for table in data.values():
        if isinstance(table, dict) and "summary" in table:
            return str(table["summary"])
    return str(data.get("summary", ""))


def _is_there(path: Path) -> bool:
    try:
        return os.path.lexists(path)
    except (OSError, ValueError):
        return False


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name too long, or one no file can have
        return False


def _why(error: Exception) -> str:
    return error.strerror if isinstance(error, OSError) and error.strerror else str(error)
