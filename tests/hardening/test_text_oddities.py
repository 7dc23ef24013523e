"""Text as other systems write it: line ends, byte order marks, encodings, decimal commas, locales, and odd paths.

Every kind of file comes out the same whatever its line ends; what cannot be read right is refused with the row.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fuzz_kinds import Kind, kinds, lay_out
from pydantic import BaseModel

from arena.contest.duty_table import read_table, strategy_of
from arena.errors import BadInput
from arena.garage.checking import examine
from arena.garage.read_log import read_garage_log
from arena.scenario.car import load_car
from arena.scenario.drive import load_drive
from arena.scenario.loading import shipped_root
from arena.scenario.trace_csv import read_log, read_trace

KINDS = kinds()
BOM = b"\xef\xbb\xbf"
PLACE = {"path", "digest", "notes"}  # where a file lies, its bytes and the remarks with its name may differ


def leaves(value: Any) -> Iterator[Any]:
    """Everything in something loaded, in order, but for where it came from."""
    if isinstance(value, np.ndarray):
        yield value.tolist()
    elif isinstance(value, BaseModel):
        yield from leaves({name: getattr(value, name) for name in type(value).model_fields})
    elif is_dataclass(value) and not isinstance(value, type):
        for one in fields(value):
            if one.name not in PLACE and not callable(getattr(value, one.name)):
                yield from leaves(getattr(value, one.name))
    elif isinstance(value, Mapping):
        for key in value:
            yield key
            yield from leaves(value[key])
    elif isinstance(value, Sequence) and not isinstance(value, str):
        for one in value:
            yield from leaves(one)
    else:
        yield value


def loaded(kind: Kind, data: bytes, folder: Path) -> list[Any]:
    path = folder / kind.file
    path.write_bytes(data)
    return list(leaves(kind.read(path)))


TEXTS = {
    "windows": lambda data: data.replace(b"\n", b"\r\n"),
    "windows with a mark": lambda data: BOM + data.replace(b"\n", b"\r\n"),
    "a mark": lambda data: BOM + data,
    "no end of line at the end": lambda data: data.rstrip(b"\n"),
    "empty lines at the end": lambda data: data.rstrip(b"\n") + b"\r\n\r\n\n",
}


@pytest.mark.parametrize("change", TEXTS.values(), ids=TEXTS)
@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_line_ends_and_byte_order_marks_change_nothing(kind: Kind, change: Any, tmp_path: Path) -> None:
    lay_out(kind, tmp_path)
    for seed in kind.seeds:
        assert loaded(kind, change(seed), tmp_path) == loaded(kind, seed, tmp_path)


def test_line_ends_do_not_change_what_a_file_is_known_by(tmp_path: Path) -> None:
    """A digest goes into manifests: the same text is the same file."""
    for name, kind in KINDS.items():
        if name in ("car", "climate", "drive", "season", "fault"):
            place = tmp_path / name
            place.mkdir()
            lay_out(kind, place)
            digests = set()
            for data in (kind.seeds[0], TEXTS["windows with a mark"](kind.seeds[0])):
                (place / kind.file).write_bytes(data)
                found = kind.read(place / kind.file)
                digests.add((found[0] if isinstance(found, tuple) else found).digest)
            assert len(digests) == 1, name


# --- encodings -----------------------------------------------------------------------------------------
LOG = "Time [s];Speed [km/h];RPM;MAP [kPa];Intake Air Temp [°C];Ambient [°C]\n" + "".join(
    f"{k};{40 + k % 20};2000;{100 + k % 30};{35 + k % 7},5;21,5\n" for k in range(150)
)


def test_a_log_with_a_degree_sign_of_another_encoding_is_read_and_said(tmp_path: Path) -> None:
    path, plain = tmp_path / "log.csv", tmp_path / "plain.csv"
    plain.write_text(LOG, encoding="utf-8")
    for encoding in ("latin-1", "cp1252"):
        path.write_bytes(LOG.encode(encoding))
        log = read_log(path)
        assert np.array_equal(log.values["iat"], read_log(plain).values["iat"])
        assert log.units["iat"] == "°c"
        assert any("is not UTF-8, read as Windows-1252" in note for note in log.notes)
        assert examine(path, quick=True).checked.kind == "log"
        assert read_garage_log(path).seconds_used > 90.0


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_wide_encodings_are_refused(kind: Kind, encoding: str, tmp_path: Path) -> None:
    lay_out(kind, tmp_path)
    (tmp_path / kind.file).write_bytes(kind.seeds[0].decode().encode(encoding))
    with pytest.raises(BadInput) as caught:
        kind.read(tmp_path / kind.file)
    assert Path(kind.file).name in caught.value.faults[0]


@pytest.mark.parametrize("kind", [k for k in KINDS.values() if k.file.endswith(".toml")], ids=lambda k: k.name)
def test_a_latin_letter_in_a_file_of_ours_is_refused_with_its_line(kind: Kind, tmp_path: Path) -> None:
    lay_out(kind, tmp_path)
    lines = kind.seeds[0].split(b"\n")
    (tmp_path / kind.file).write_bytes(b"\n".join([*lines[:1], b"# 30 \xb0C", *lines[1:]]))
    with pytest.raises(BadInput, match=r"x.toml:2: byte 0xb0 is not UTF-8 text") as caught:
        kind.read(tmp_path / kind.file)
    assert caught.value.remedy == "Save the file as UTF-8 text and try again."


def test_a_latin_letter_in_a_duty_table_is_refused_with_its_row(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(b"iat_c \\ throttle_pct,0,50\n20,0,10\n30\xb0,0,90\n")
    with pytest.raises(BadInput, match=r"t.csv:3: byte 0xb0 is not UTF-8 text"):
        read_table(path)


# --- decimal commas --------------------------------------------------------------------------------------
def test_decimal_commas_between_semicolons_are_read_and_said(tmp_path: Path) -> None:
    comma, point = tmp_path / "c.csv", tmp_path / "p.csv"
    comma.write_text("time_s;speed_kmh\n0,0;10,5\n1,5;11,25\n3,0;12,125\n", encoding="utf-8")
    point.write_text("time_s,speed_kmh\n0.0,10.5\n1.5,11.25\n3.0,12.125\n", encoding="utf-8")
    (read, notes), (wanted, none) = read_trace(comma), read_trace(point)
    assert np.array_equal(read.speed_m_s, wanted.speed_m_s)
    assert np.array_equal(read.time_s, wanted.time_s)
    assert notes == [f"{comma}: decimal commas are read as decimal points"]
    assert none == []


@pytest.mark.parametrize(
    ("text", "fault", "remedy"),
    [
        ("time_s,speed_kmh\n0,0,10,5\n1,0,11,0\n", ":2: has 4 fields where the header has 2", "decimal commas"),
        ('time_s,speed_kmh\n0,"10,5"\n1,"11,0"\n', ':2: column "speed_kmh": "10,5" is not a number (a decimal', "row"),
    ],
)
def test_decimal_commas_between_commas_are_refused(tmp_path: Path, text: str, fault: str, remedy: str) -> None:
    path = tmp_path / "x.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        load_drive(path)
    assert fault in caught.value.faults[0]
    assert remedy in caught.value.remedy


def test_decimal_commas_in_a_duty_table(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("iat_c \\ throttle_pct;0;50\n20;0;12,5\n30,5;0;90\n", encoding="utf-8")
    table = read_table(path)
    assert table.rows == (20.0, 30.5)
    assert table.cells[0][1] == pytest.approx(0.125)
    assert table.notes == (f"{path}: decimal commas are read as decimal points",)
    assert strategy_of(path).summary.endswith("untuned, decimal commas")
    assert table.notes[0] in examine(path).checked.notes


def test_a_thousand_or_one_is_asked_not_guessed(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("iat_c \\ rpm;1,000;2,000\n20;0;10\n30;0;90\n", encoding="utf-8")
    with pytest.raises(BadInput, match=r'"1,000" is not a number \(one, or a thousand\? write 1.0 or 1000\)'):
        read_table(path)


def test_a_decimal_comma_in_a_file_of_ours_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text('[car]\nname = "x"\n[core]\nmetal_kg = 2,2\n', encoding="utf-8")
    with pytest.raises(BadInput, match=r"x.toml:4: is not valid TOML"):
        load_car(path)


# --- locales -----------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def german(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """An environment with a decimal comma and no Unicode, made from the system's locale sources."""
    place, name = tmp_path_factory.mktemp("locales"), "de_DE.ISO-8859-1"
    if shutil.which("localedef") is None:
        pytest.skip("no localedef on this machine, so no locale with a decimal comma can be made")
    command = ["localedef", "-i", "de_DE", "-f", "ISO-8859-1", str(place / name)]
    made = subprocess.run(command, capture_output=True, text=True, check=False)
    if not (place / name).is_dir():
        pytest.skip(f"the locale de_DE cannot be made here: {made.stderr.strip()[:200]}")
    return {"LC_ALL": name, "LANG": name, "LOCPATH": str(place), "PYTHONUTF8": "0"}


def run(words: list[str], cwd: Path, extra: dict[str, str]) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, *words], cwd=cwd, env={**os.environ, **extra}, capture_output=True, check=False, timeout=300
    )


def test_that_locale_has_a_decimal_comma(german: dict[str, str], tmp_path: Path) -> None:
    """Without this the next test would prove nothing."""
    code = "import locale, sys; locale.setlocale(locale.LC_ALL, ''); print(locale.str(1.5), sys.stdout.encoding)"
    assert run(["-c", code], tmp_path, german).stdout.split() == [b"1,5", b"iso8859-1"]


def test_a_locale_with_a_decimal_comma_changes_no_number(german: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "short.toml").write_text(
        '[drive]\nname = "short"\n[[phase]]\ndo = "cruise"\nspeed_kmh = 50.5\nseconds = 20\n', encoding="utf-8"
    )
    found = []
    words = ["-m", "arena", "drive", "short.toml", "--strategy", "proportional", "--trace", "t.csv", "--plot", "p.svg"]
    for extra in ({"LC_ALL": "C.UTF-8"}, german):
        done = run([*words, "--json"], tmp_path, extra)
        assert done.returncode == 0, done.stderr
        found.append((done.stdout, (tmp_path / "t.csv").read_bytes(), (tmp_path / "p.svg").read_bytes()))
    assert found[0] == found[1]
    assert len(found[0][1].split(b"\n")[5].split(b",")) == 29, "a comma parts columns and nothing else"


def test_numbers_are_read_alike_where_the_locale_has_commas(german: dict[str, str], tmp_path: Path) -> None:
    shutil.copy(shipped_root() / "cars" / "invented-2200.toml", tmp_path / "c.toml")
    (tmp_path / "s.csv").write_text("time_s,speed_kmh\n0,10.5\n2.5,20.25\n", encoding="utf-8")
    code = (
        "import locale; locale.setlocale(locale.LC_ALL, '')\n"
        "from pathlib import Path\nfrom arena.scenario.car import load_car\n"
        "from arena.scenario.trace_csv import read_trace\n"
        "print(load_car('c.toml').digest, read_trace(Path('s.csv'))[0].speed_m_s.tolist())"
    )
    plain, comma = (run(["-c", code], tmp_path, extra) for extra in ({"LC_ALL": "C.UTF-8"}, german))
    assert plain.returncode == comma.returncode == 0, comma.stderr
    assert plain.stdout == comma.stdout
    assert plain.stdout


# --- paths -------------------------------------------------------------------------------------------------
STRANGE = ("mein auto", "Straße nach Łódź", "漢字 λ", "100 % [x] #1 & 'so'", '"quoted"', "-dash", "a.b.c", "tab\tin it")


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_every_kind_of_file_is_read_from_a_strange_place(kind: Kind, tmp_path: Path) -> None:
    wanted = None
    for name in ("plain", *STRANGE):
        place = tmp_path / name
        place.mkdir()
        lay_out(kind, place)
        found = [value for value in loaded(kind, kind.seeds[-1], place) if str(tmp_path) not in str(value)]
        wanted = wanted or found
        assert found == wanted, name


@pytest.mark.parametrize("stem", STRANGE)
def test_a_file_of_a_strange_name_is_named_in_its_faults(stem: str, tmp_path: Path) -> None:
    path = tmp_path / f"{stem}.toml"
    path.write_text("[drive]\nnme = 1\n", encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        load_drive(path)
    assert all(line.isprintable() for line in caught.value.faults)
    assert stem.replace("\t", "\\t") in caught.value.faults[0]
    trace = tmp_path / f"{stem}.csv"
    trace.write_text("time_s,speed_kmh\n0,1\n1,2\n", encoding="utf-8")
    assert load_drive(trace).file.phase[0].do == "trace"
