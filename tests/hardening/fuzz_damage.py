"""Damage done to files, as pure functions of the bytes and two whole numbers, so that any case can be told in a line.

`damaged(seed, steps)` applies steps (which, where, what) one after the other. Nothing here knows what a file means: lines,
`key = value`, cells between separators, numbers, JSON nodes and the arrays of an .npz are all there is.
"""

# ruff: noqa: E501  (rows of odd values read best as they are)
from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

Step = tuple[int, int, int]  # which damage, where, what
NUMBERS = (
    b"0", b"-0.0", b"-1", b"1", b"1e308", b"-1e308", b"1e309", b"1e-320", b"nan", b"-nan", b"inf", b"-inf", b"NaN", b"Infinity",
    b"9999999999999999999999", b"1_000", b"0x10", b"0b1", b"007", b"1.", b".5", b"1e", b"12,5", b"1.000,5", b"1 000", b"",
    b"2147483648", b"-40", b"1e5", b"99.9", b"0.1", b"true", b"1" * 400, b"1" * 5000, "١٢".encode(), "½".encode(), b"--", b"12:34:56",
)  # fmt: skip
VALUES = (
    *NUMBERS, b'""', b'"x"', b'"a\\nb"', b'"\\u0000"', b'"\\u202e"', "'° ü 漢 \U0001f600'".encode(), b"[]", b"{}", b"[1, 2]", b"[2, 1]",
    b"[[1, 2], [3]]", b"[nan, 1]", b'["1", 2]', b"{ a = 1 }", b"{ file = 'x' }", b"[{ a = 1 }]", b"1979-05-27", b"07:32:00",
    b"1979-05-27T07:32:00Z", b"false", b'"""', b"'''x", b"[" * 200, b"[" * 3000, b"{a=" * 500, b'"' + b"x" * 3000 + b'"', b'"/etc/hosts"',
    b'"../x.csv"', b'"."', b'"c:x"', b'"~"', b"null", b'"\xe9"', b"# x", b"= 1", b"NUL", b'"x" "y"', b"<b>", b"{{ 7*7 }}",
)  # fmt: skip
ODD = (
    b"\x00", b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"\xe9", b"\xb0C", b"\x80", "\N{DEGREE SIGN}".encode(), "\u202e".encode(),
    "\u0085".encode(), "\u2028".encode(), "\ufeff".encode(), "\N{GRINNING FACE}".encode(), b"\xed\xa0\x80", b"\r", b"\n", b"\r\r\n",
    b"\x0b", b"\x0c", b"\x1c", b"\x1b[31m", b'"', b"'", b"\\", b"[", b"]", b"{", b"}", b"#", b"=", b",", b";", b"\t", b" ", b".", b"-", b"e",
    b"[[", b"[a.b.c.d]\n", b"[[phase]]\n", b"[[phase.steps]]\ndo = 'repeat'\ntimes = 10000\n", b"[x]\ny = 1\n", b'"a" = 1\n',
    b"a.b.c = 1\n", b"=\n", b"name = 'again'\n", b"x" * 100_000, b"1," * 5000, b"\n" * 3000, b"\x1a", b"..", b"/", b"%", b"\x7f",
)  # fmt: skip
NODES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 1e308, 10**400, -(10**30), 2.5, "", "x", "a\nb", "\0", "\ud800", "<script>", "../x", [], {}, [1], [None], {"a": 1},
    [[1, 2], [3]], float("nan"), float("inf"), ["x"] * 50, {"schema": 1},
)  # fmt: skip
CODINGS = (
    "utf-16",
    "utf-16-le",
    "utf-16-be",
    "utf-32",
    "latin-1",
    "cp1252",
    "utf-8-sig",
    "cp037",
    "mac-roman",
    "utf-7",
)


def damaged(seed: bytes, steps: Sequence[Step]) -> bytes:
    """The seed with every step of damage done to it, at most 400 kB of it."""
    data = seed
    for which, where, what in steps:
        data = DAMAGES[which % len(DAMAGES)](data, where, what)[:400_000]
    return data


def _lines(data: bytes) -> list[bytes]:
    return data.split(b"\n")


def flip(data: bytes, where: int, what: int) -> bytes:
    """One bit of one byte."""
    if not data:
        return b"\x01"
    at = where % len(data)
    return data[:at] + bytes([data[at] ^ (1 << what % 8)]) + data[at + 1 :]


def overwrite(data: bytes, where: int, what: int) -> bytes:
    """One byte becomes another."""
    at = where % max(len(data), 1)
    return data[:at] + bytes([what % 256]) + data[at + 1 :]


def insert(data: bytes, where: int, what: int) -> bytes:
    """Something odd between two bytes."""
    at = where % (len(data) + 1)
    return data[:at] + ODD[what % len(ODD)] + data[at:]


def insert_line(data: bytes, where: int, what: int) -> bytes:
    """Something odd as a line of its own, or at the end of one."""
    lines = _lines(data)
    at = where % len(lines)
    odd = ODD[what % len(ODD)]
    if (what // len(ODD)) % 2:
        lines[at] += odd
    else:
        lines.insert(at, odd)
    return b"\n".join(lines)


def drop_line(data: bytes, where: int, what: int) -> bytes:
    """One line, or a few, gone."""
    lines = _lines(data)
    at = where % len(lines)
    del lines[at : at + 1 + what % 3]
    return b"\n".join(lines)


def double_line(data: bytes, where: int, what: int) -> bytes:
    """A line once more, somewhere else or there."""
    lines = _lines(data)
    line = lines[where % len(lines)]
    lines.insert((where if what % 2 else what) % len(lines), line)
    return b"\n".join(lines)


def swap_lines(data: bytes, where: int, what: int) -> bytes:
    """Two lines change places."""
    lines = _lines(data)
    a, b = where % len(lines), what % len(lines)
    lines[a], lines[b] = lines[b], lines[a]
    return b"\n".join(lines)


def cut_line(data: bytes, where: int, what: int) -> bytes:
    """A line cut short."""
    lines = _lines(data)
    at = where % len(lines)
    lines[at] = lines[at][: what % (len(lines[at]) + 1)]
    return b"\n".join(lines)


def cut_file(data: bytes, where: int, what: int) -> bytes:
    """The file ends early, or begins late, or is empty."""
    at = where % (len(data) + 1)
    return (data[:at], data[at:], b"", data[: at // 50])[what % 4]


def _keyed(lines: list[bytes]) -> list[int]:
    return [n for n, line in enumerate(lines) if b"=" in line and not line.lstrip().startswith(b"#")]


def change_value(data: bytes, where: int, what: int) -> bytes:
    """What stands behind a key, or in a cell."""
    lines = _lines(data)
    keyed = _keyed(lines)
    if keyed:
        at = keyed[where % len(keyed)]
        key = lines[at].split(b"=")[0]
        lines[at] = key + b"= " + VALUES[what % len(VALUES)]
        return b"\n".join(lines)
    return change_cell(data, where, what)


def change_cell(data: bytes, where: int, what: int) -> bytes:
    """One cell of a row, or that cell of every row below it."""
    lines = _lines(data)
    mark = max((b",", b";", b"\t"), key=data.count)
    first = where % len(lines)
    whole = what % 7 == 0
    for at in range(first, len(lines) if whole else first + 1):
        cells = lines[at].split(mark)
        cells[(where // 7) % len(cells)] = NUMBERS[what % len(NUMBERS)]
        lines[at] = mark.join(cells)
    return b"\n".join(lines)


def change_number(data: bytes, where: int, what: int) -> bytes:
    """One number becomes another."""
    found = list(re.finditer(rb"-?\d+(\.\d+)?(e[-+]?\d+)?", data))
    if not found:
        return data
    one = found[where % len(found)]
    return data[: one.start()] + NUMBERS[what % len(NUMBERS)] + data[one.end() :]


def swap_values(data: bytes, where: int, what: int) -> bytes:
    """The values of two keys, or two numbers, change places."""
    lines = _lines(data)
    keyed = _keyed(lines)
    if len(keyed) < 2:
        found = list(re.finditer(rb"-?\d+(\.\d+)?", data))
        if len(found) < 2:
            return data
        a, b = sorted((where % len(found), what % len(found)))
        one, two = found[a], found[b]
        return data if a == b else b"".join(
            (data[: one.start()], two[0], data[one.end() : two.start()], one[0], data[two.end() :])
        )  # fmt: skip
    a, b = keyed[where % len(keyed)], keyed[what % len(keyed)]
    (left, one), (right, two) = (lines[n].split(b"=", 1) for n in (a, b))
    lines[a], lines[b] = left + b"=" + two, right + b"=" + one
    return b"\n".join(lines)


def change_word(data: bytes, where: int, what: int) -> bytes:
    """A letter of a word: keys, headings, names."""
    found = list(re.finditer(rb"[A-Za-z_]{2,}", data))
    if not found:
        return data
    one = found[where % len(found)]
    word = bytearray(one[0])
    at = what % len(word)
    match (what // 13) % 4:
        case 0:
            del word[at]
        case 1:
            word[at : at + 1] = b"_x"
        case 2:
            word = bytearray(one[0].upper())
        case _:
            word = bytearray(found[what % len(found)][0])
    return data[: one.start()] + bytes(word) + data[one.end() :]


def drop_column(data: bytes, where: int, what: int) -> bytes:
    """A column gone, or twice, in every row, or in one."""
    lines = _lines(data)
    mark = max((b",", b";", b"\t"), key=data.count)
    rows = range(len(lines)) if what % 3 else [what % len(lines)]
    for n in rows:
        cells = lines[n].split(mark)
        at = where % len(cells)
        cells[at : at + 1] = [] if what % 2 else [cells[at]] * 2
        lines[n] = mark.join(cells)
    return b"\n".join(lines)


def recode(data: bytes, where: int, what: int) -> bytes:
    """The same text in another encoding; or read in one and written in another."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if where % 3 == 0:
        text = text.replace("degC", "°C").replace("_c", " [°C]", 1)
    return text.encode(CODINGS[what % len(CODINGS)], "replace")


def line_ends(data: bytes, where: int, what: int) -> bytes:
    """Windows, old, or mixed line ends; or none at the end."""
    if what % 4 == 3:
        return data.rstrip(b"\n")
    end = (b"\r\n", b"\r", b"\n\r")[what % 4]
    lines = _lines(data)
    at = where % len(lines) if where % 2 else 0
    return b"\n".join(lines[:at]) + (b"\n" if at else b"") + end.join(lines[at:])


def commas(data: bytes, where: int, what: int) -> bytes:
    """Decimal commas: with semicolons between cells, with commas, or in one line only."""
    match what % 3:
        case 0:
            return data.replace(b",", b";").replace(b".", b",")
        case 1:
            return data.replace(b".", b",")
        case _:
            lines = _lines(data)
            at = where % len(lines)
            lines[at] = lines[at].replace(b".", b",")
            return b"\n".join(lines)


def repeat_part(data: bytes, where: int, what: int) -> bytes:
    """A part of the file many times."""
    at = where % (len(data) + 1)
    part = data[at : at + 1 + what % 400]
    return data[:at] + part * (2 + what % 60) + data[at:]


def change_node(data: bytes, where: int, what: int) -> bytes:
    """One node of a JSON document: another value, gone, or twice. One member of an .npz. Else a flipped bit."""
    if data.startswith(b"PK"):
        return change_array(data, where, what)
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return flip(data, where, what)
    places: list[tuple[Any, Any]] = []

    def walk(node: Any) -> None:
        for key in list(node) if isinstance(node, dict) else range(len(node)):
            places.append((node, key))
            if isinstance(node[key], dict | list) and len(places) < 20_000:
                walk(node[key])

    if isinstance(document, dict | list):
        walk(document)
    if not places:
        return json.dumps(NODES[what % len(NODES)]).encode()
    # half of the damage goes to the first nodes: lists of ten thousand numbers would take all of it
    node, key = places[where // 2 % (len(places) if where % 2 else min(len(places), 60))]
    choice = what % (len(NODES) + 6)
    if choice < len(NODES):
        node[key] = NODES[choice]
    elif choice < len(NODES) + 3:
        del node[key]
    elif isinstance(node, list):
        node.insert(key, node[key])
    else:
        node[str(key) + "x"] = node.pop(key)
    return json.dumps(document).encode()


def change_array(data: bytes, where: int, what: int) -> bytes:
    """One array of an .npz gone, of another shape, of another kind, or full of nothing."""
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as kept:
            arrays: dict[str, Any] = dict(kept.items())
    except Exception:
        return flip(data, where, what)
    name = sorted(arrays)[where % len(arrays)]
    array = arrays[name]
    match what % 8:
        case 0:
            del arrays[name]
        case 1:
            arrays[name] = array.reshape(-1)[:1]
        case 2:
            arrays[name] = np.array({"a": print}, dtype=object)
        case 3:
            arrays[name] = np.array(["x", "y"])
        case 4:
            arrays[name] = np.full(array.shape, np.nan)
        case 5:
            arrays[name + "x"] = arrays.pop(name)
        case 6:
            arrays[name] = np.zeros((0, 3))
        case _:
            arrays[name] = np.array('{"a": [1]}')
    out = io.BytesIO()
    np.savez(out, **arrays)
    return out.getvalue()


DAMAGES: tuple[Callable[[bytes, int, int], bytes], ...] = (
    change_value, change_number, change_node, change_word, flip, overwrite, insert, insert_line, drop_line, double_line,
    swap_lines, cut_line, cut_file, change_cell, swap_values, drop_column, recode, line_ends, commas, repeat_part,
)  # fmt: skip
