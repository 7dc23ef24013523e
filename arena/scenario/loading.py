"""Finding scenario files and reading them: every fault at once, one line each, never a traceback.

Names are looked up as a path, then beside the file that names them, then in ./scenarios, then among
the files shipped with the package. What cannot be used raises `BadInput`.
"""

from __future__ import annotations

import contextlib
import difflib
import hashlib
import json
import os
import re
import stat
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from arena.errors import BadInput

KINDS: Final = ("cars", "climates", "drives", "seasons", "strategies", "faults", "axes")
ONE_LINE: Final = r"^[^\x00-\x1f\x7f]*$"  # for names: they stand in tables, ids and titles
TOML_LIMIT_BYTES: Final = 2_000_000
TABLE_LIMIT_BYTES: Final = 50_000_000

Model = TypeVar("Model", bound=BaseModel)
Loc = tuple[int | str, ...]


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
    given, said = Path(text).expanduser(), one_line(text, 300)
    looks_like_path = given.suffix != "" or len(given.parts) > 1
    if _is_file(given) or (looks_like_path and _is_there(given)):
        return given
    candidates = [] if near is None or given.is_absolute() else [near / given, near / f"{text}.toml"]
    if len(given.parts) == 1:
        candidates += [path for folder in _folders(kind) for path in (folder / text, folder / f"{text}.toml")]
    for candidate in candidates:
        if _is_file(candidate):
            return candidate
    if len(given.parts) > 1:
        raise BadInput(
            f"{said}: there is no such file", f"Check the path, or name a {one} that is known. {_listing(kind)}"
        )
    names = [entry.name for entry in list_all(kind)]
    near_name = _did_you_mean(text.removesuffix(".toml"), names)
    raise BadInput(f'unknown {one} "{said}"{near_name}', _listing(kind))


def list_all(kind: str) -> list[Entry]:
    """Every scenario file of a kind, sorted by name; one in ./scenarios hides a shipped one of the same name."""
    if kind not in KINDS:
        raise BadInput(f'unknown kind "{kind}"{_did_you_mean(kind, KINDS)}', f"Known kinds: {', '.join(KINDS)}.")
    found: dict[str, Entry] = {}
    for folder in _folders(kind):
        for path in sorted(folder.glob("*.toml")):
            if path.stem not in found and path.is_file():
                found[path.stem] = Entry(path.stem, _summary_of(path), path)
    return [found[name] for name in sorted(found)]


def read_text(path: Path, limit_bytes: int = TOML_LIMIT_BYTES) -> str:
    """The file's text: UTF-8, a byte order mark and CRLF line ends tolerated. Raises BadInput otherwise."""
    raw = read_bytes(path, limit_bytes)
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadInput(f"{shown(path)}: the text is UTF-16, not UTF-8", "Save the file as UTF-8 text and try again.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        fault = f"{shown(path)}:{line}: byte 0x{raw[error.start]:02x} is not UTF-8 text"
        raise BadInput(fault, "Save the file as UTF-8 text and try again.") from None
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise BadInput(f"{shown(path)}:{line}: holds zero bytes, so it is not a text file", "Give a text file.")
    if not text.strip():
        raise BadInput(f"{shown(path)}: the file is empty", "See `arena new` for a commented starting file.")
    return text.replace("\r\n", "\n")


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


def read_toml(path: Path, model: type[Model], remedy: str = "") -> Model:
    """Read and validate one TOML file. Raises BadInput with every fault, one line each."""
    text = read_text(path)
    return validate(path, text, parse(path, text), model, remedy)


def parse(path: Path, text: str) -> dict[str, Any]:
    """TOML text to plain data. Raises BadInput with the line of the mistake."""
    try:
        return tomllib.loads(text)
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
        raise BadInput(f"{shown(path)}: is nested too deeply", "Write it flatter.") from None


def validate(path: Path, text: str, data: Mapping[str, Any], model: type[Model], remedy: str = "") -> Model:
    """Check plain data against a model, strictly. Raises BadInput with every fault, one line each."""
    try:
        return model.model_validate_json(json.dumps(data, default=_no_json), strict=True)
    except ValidationError as error:
        lines = index_lines(text)
        faults: dict[str, int] = {}
        for detail in error.errors(include_url=False):
            if not _follows_from_others(data, detail):
                line = _fault(path, lines, data, model, detail)
                where = re.match(r":(\d+): ", line[len(shown(path)) :])
                faults[line] = int(where[1]) if where else 0
        raise BadInput(
            sorted(faults, key=lambda line: faults[line]),
            remedy or f"Correct {shown(path)} and run `arena check {shown(path)}`.",
        ) from None
    except RecursionError:
        raise BadInput(f"{shown(path)}: is nested too deeply", "Write it flatter.") from None


def fault_line(path: Path, text: str, loc: Loc, message: str) -> str:
    """One fault line in the common form, for checks made after validation; `loc` is the key's path, rows from 0."""
    return f"{_place(path, index_lines(text), loc)}: {key_name(loc)} {message}"


def key_name(loc: Iterable[int | str]) -> str:
    """A key's path as people read it, rows counted from 1: ("phase", 2, "seconds") -> phase[3].seconds."""
    name = ""
    for step in loc:
        if isinstance(step, int):
            name += f"[{step + 1}]"
        else:
            name += ("." if name else "") + one_line(step)
    return name


def shown(path: Path) -> str:
    """A path as people should see it: from the working folder if it is inside, else as it was given."""
    try:
        text = str(path.resolve().relative_to(Path.cwd())) if path.is_absolute() else str(path)
    except (ValueError, OSError):
        text = str(path)
    return one_line(text, 300)


def one_line(text: str, most: int = 60) -> str:
    """Text from a file or a person as it may stand in a message: one line, printable, not too long."""
    plain = "".join(letter if letter.isprintable() else repr(letter)[1:-1] for letter in text)
    return plain if len(plain) <= most else f"{plain[: most - 3]}..."


def digest_of(*parts: str | bytes) -> str:
    """SHA-256 over texts or bytes, each with its length, as hex."""
    total = hashlib.sha256()
    for part in parts:
        raw = part.encode() if isinstance(part, str) else part
        total.update(len(raw).to_bytes(8, "big"))
        total.update(raw)
    return total.hexdigest()


def safe_beside(path: Path, text: str, loc: Loc, name: str) -> Path:
    """A file that `path` names, which must lie in its folder or below. Raises BadInput for any other place."""
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
        near = [other.name for other in found.parent.glob("*") if other.suffix == found.suffix]
        given = fault_line(
            path, text, loc, f'names "{said}", but there is no such file{_did_you_mean(found.name, near)}'
        )
        raise BadInput(given, remedy)
    return found


def nearest(name: str, known: Iterable[str]) -> str:
    """The known word most like `name`, or an empty text when none is near."""
    words = {word.lower(): word for word in known}
    close = difflib.get_close_matches(name.lower(), list(words), n=1, cutoff=0.55)
    return words[close[0]] if close else ""


def index_lines(text: str) -> dict[Loc, int]:
    """Line number (from 1) of every table and key in a TOML text, as far as a plain scan can tell."""
    lines: dict[Loc, int] = {}
    table: Loc = ()
    counts: dict[Loc, int] = {}
    open_key: Loc = ()
    depth, rows, in_text = 0, 0, ""
    for number, line in enumerate(text.split("\n"), start=1):
        if in_text:
            in_text = "" if in_text in line else in_text
            continue
        bare = _without_texts(line)
        if depth == 0:
            header = re.match(r"^\s*(\[\[?)([^\[\]]+)\]", line)
            if header:
                table = _table_loc(header[2], header[1] == "[[", counts)
                lines.setdefault(table, number)
                continue
            key = re.match(r"""^\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""", line)
            if not key:
                continue
            open_key = (*table, *_split_key(key[1]))
            lines.setdefault(open_key, number)
            bare, rows = bare.split("=", 1)[-1], 0
            if bare.lstrip().startswith("{"):
                _index_inline(lines, open_key, bare, number)
        for fence in ('"""', "'''"):
            if line.count(fence) % 2:
                in_text = fence
        for position, letter in enumerate(bare):
            if letter == "{" and depth == 1:
                lines.setdefault((*open_key, rows), number)
                _index_inline(lines, (*open_key, rows), bare[position:], number)
                rows += 1
            depth += (letter in "[{") - (letter in "]}")
        depth = max(depth, 0)
    return lines


def _index_inline(lines: dict[Loc, int], loc: Loc, bare: str, number: int) -> None:
    for key in re.findall(r"([\w-]+)\s*=", bare.split("}", maxsplit=1)[0]):
        lines.setdefault((*loc, key), number)


def _without_texts(line: str) -> str:
    """The line with its quoted texts blanked and its comment cut off."""
    return re.sub(r"#.*$", "", re.sub(r'"(?:[^"\\]|\\.)*"|' + r"'[^']*'", '""', line))


def _split_key(dotted: str) -> Loc:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _table_loc(name: str, is_row: bool, counts: dict[Loc, int]) -> Loc:
    """Where a table header leads: rows of tables are counted, `[[phase.steps]]` goes to the last phase."""
    loc: Loc = ()
    parts = _split_key(name)
    for position, part in enumerate(parts):
        loc = (*loc, part)
        if is_row and position == len(parts) - 1:
            counts[loc] = counts.get(loc, -1) + 1
        if loc in counts:
            loc = (*loc, counts[loc])
    return loc


def _fault(
    path: Path, lines: dict[Loc, int], data: Mapping[str, Any], model: type[BaseModel], detail: ErrorDetails
) -> str:
    """One pydantic error as one line: file:line: key what is wrong (given, allowed)."""
    loc, given = _data_loc(data, detail["loc"], detail["type"])
    kind = detail["type"]
    ctx = detail.get("ctx", {})
    if kind == "extra_forbidden":
        known = _known_keys(model, detail["loc"][:-1])
        inside = f" in {key_name(loc[:-1])}" if len(loc) > 1 else ""
        hint = _did_you_mean(str(loc[-1]), known) or (f" (known: {', '.join(sorted(known))})" if known else "")
        return f'{_place(path, lines, loc)}: unknown key "{one_line(str(loc[-1]))}"{inside}{hint}'
    if kind == "missing":
        return f"{_place(path, lines, loc)}: {key_name(loc)} is missing"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        tag = str(ctx.get("discriminator", "'do'")).strip("'")
        words = re.findall(r"'([^']+)'", str(ctx.get("expected_tags", ""))) or _tags(model, detail["loc"])
        if kind == "union_tag_not_found":
            return f"{_place(path, lines, loc)}: {key_name((*loc, tag))} is missing (allowed: {', '.join(words)})"
        name = one_line(str(ctx.get("tag", "")))
        return (
            f'{_place(path, lines, (*loc, tag))}: {key_name((*loc, tag))} "{name}" is not known'
            f"{_did_you_mean(name, words)} (allowed: {', '.join(words)})"
        )
    return (
        f"{_place(path, lines, loc)}: {key_name(loc) or 'the file'} {_message(kind, dict(ctx), detail['msg'], given)}"
    )


_BOUNDS: Final = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}
_TYPES: Final = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "string_type": 'a text in "quotes"',
    "bool_type": "true or false",
    "tuple_type": "a list [ ... ]",
    "list_type": "a list [ ... ]",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "finite_number": "a finite number",
}


def _message(kind: str, ctx: dict[str, Any], fallback: str, given: Any) -> str:
    """What is wrong and what is allowed; what was given stands behind it in brackets."""
    was = f" (given {_brief(given)})"
    least, need = ("least", ctx.get("min_length")) if kind.endswith("short") else ("most", ctx.get("max_length"))
    text = f"{fallback[:1].lower()}{fallback[1:]}{'' if isinstance(given, Mapping) else was}"
    if kind in _BOUNDS:
        side, key = _BOUNDS[kind]
        text = f"must be {side} {_brief(ctx[key])}{was}"
    elif kind in _TYPES:
        text = f"must be {_TYPES[kind]}{was}"
    elif kind == "literal_error":
        words = re.findall(r"'([^']+)'", str(ctx.get("expected", "")))
        text = f"must be one of {', '.join(words)}{was}{_did_you_mean(str(given), words)}"
    elif kind in ("too_short", "too_long"):
        text = f"must have at {least} {need} entries (given {ctx.get('actual_length')})"
    elif kind == "json_invalid":
        text = "is nested too deeply"
    elif kind == "string_pattern_mismatch":
        text = f"must be one line without control characters{was}"
    elif kind in ("string_too_short", "string_too_long"):
        text = f"must have at {least} {need} characters{was}"
    return text


def _follows_from_others(data: Mapping[str, Any], detail: ErrorDetails) -> bool:
    """A list said to be too short only because its entries have faults, which are told anyway."""
    if detail["type"] != "too_short":
        return False
    given = _data_loc(data, detail["loc"], "too_short")[1]
    return isinstance(given, list) and len(given) >= int(detail.get("ctx", {}).get("min_length", 0))


def _data_loc(data: Any, loc: Sequence[int | str], kind: str) -> tuple[Loc, Any]:
    """The path through the file's own data: union tags that pydantic puts into a path are left out."""
    way: list[int | str] = []
    here = data
    for position, step in enumerate(loc):
        inside = isinstance(here, list) and isinstance(step, int) and 0 <= step < len(here)
        if inside or (isinstance(here, Mapping) and step in here):
            here = here[step]
            way.append(step)
        elif kind == "missing" and position == len(loc) - 1:
            way.append(step)
    return tuple(way), here


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_in(part)]


def _tag_of(model: type[BaseModel]) -> tuple[str, ...]:
    field = model.model_fields.get("do")
    return tuple(str(word) for word in get_args(field.annotation)) if field is not None else ()


def _tags(model: type[BaseModel], loc: Sequence[int | str]) -> list[str]:
    return [tag for option in _options(model, loc) for tag in _tag_of(option)]


def _options(model: type[BaseModel], loc: Sequence[int | str]) -> list[type[BaseModel]]:
    """The models that may stand at a pydantic path."""
    options = [model]
    for step in loc:
        tagged = [option for option in options if step in _tag_of(option)]
        if len(options) > 1 and tagged:
            options = tagged
        elif isinstance(step, str):
            fields = [option.model_fields[step].annotation for option in options if step in option.model_fields]
            options = [found for annotation in fields for found in _models_in(annotation)] or options
    return options


def _known_keys(model: type[BaseModel], loc: Sequence[int | str]) -> list[str]:
    return sorted({key for option in _options(model, loc) for key in option.model_fields})


def _place(path: Path, lines: dict[Loc, int], loc: Loc) -> str:
    """File and, where the key or a table round it was found, its line."""
    for length in range(len(loc), 0, -1):
        for here in (loc[:length], (*loc[:length], 0)):
            if here in lines:
                return f"{shown(path)}:{lines[here]}"
    return shown(path)


def _brief(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, Mapping):
        return "a table"
    return one_line(json.dumps(value, default=str, ensure_ascii=False))


def _no_json(value: Any) -> Any:
    """Dates and times, which no scenario file holds, go in as text and are refused by the model."""
    return str(value)


def _did_you_mean(name: str, known: Iterable[str]) -> str:
    near = nearest(name, known)
    return f', did you mean "{near}"?' if near else ""


def _listing(kind: str) -> str:
    names = ", ".join(entry.name for entry in list_all(kind)) if kind in KINDS else ""
    return f"Known: {names}; `arena list {kind}` says what each is." if names else f"No {kind} are known here."


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
