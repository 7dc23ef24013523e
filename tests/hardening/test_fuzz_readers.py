"""Damaged files of every kind: each loads, or is refused with the file, the place and what to do; nothing else happens.

Some hundreds of examples a kind in all, the same every time; `tests/bench/fuzz.py` runs thousands. Every fault that was
ever found stands below as a case of its own.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import fuzz_kinds
import fuzz_results
import pytest
from fuzz_damage import DAMAGES, Step, damaged
from fuzz_kinds import Kind, keeps_its_word, lay_out, names_a_place
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

KINDS = fuzz_kinds.kinds()
SLOW = {"log": 30, "any csv": 40, "weather in a climate": 40, "epw": 40}  # examples of readers that take their time
EXAMPLES = 70
STEPS = st.lists(
    st.tuples(st.integers(0, len(DAMAGES) - 1), st.integers(0, 65535), st.integers(0, 65535)), min_size=1, max_size=4
)


def hold(kind: Kind, folder: Path, examples: int) -> None:
    """Damage files of a kind, many times over; each must keep the promise."""
    lay_out(kind, folder)
    whole = listing_of_companions(kind, folder)

    @settings(max_examples=examples, suppress_health_check=list(HealthCheck), database=None, derandomize=True)
    @given(st.integers(0, len(kind.seeds) - 1), STEPS)
    def damage(seed: int, steps: list[Step]) -> None:
        keeps_its_word(kind, damaged(kind.seeds[seed], steps), folder)

    damage()
    assert listing_of_companions(kind, folder) == whole, "a file beside it was written to"


def listing_of_companions(kind: Kind, folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in kind.beside if name not in kind.may_write}


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_a_damaged_file_loads_or_is_refused(kind: Kind, tmp_path: Path) -> None:
    hold(kind, tmp_path, SLOW.get(kind.name, EXAMPLES))


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_what_is_damaged_was_whole(kind: Kind, tmp_path: Path) -> None:
    """Without damage every seed loads: else the tests above would prove nothing."""
    lay_out(kind, tmp_path)
    for seed in kind.seeds:
        assert keeps_its_word(kind, seed, tmp_path) == "loaded"


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Kind]:
    return fuzz_results.kinds(*fuzz_results.make(tmp_path_factory.mktemp("made")))


RESULT_FILES = {
    "report manifest.json": 25,
    "report standings.csv": 15,
    "report runs.csv": 10,
    "report views.json": 20,
    "resume manifest.json": 60,
    "resume tuning/gated-table.json": 60,
    "resume working/world-0.npz": 60,
}


@pytest.mark.parametrize("name", RESULT_FILES)
def test_a_damaged_result_is_refused_or_read(results: dict[str, Kind], name: str, tmp_path: Path) -> None:
    hold(results[name], tmp_path, RESULT_FILES[name])


def test_most_faults_say_where(tmp_path: Path) -> None:
    """Of files whose values or words are damaged, at least nine in ten faults name a line, a row, a column or a key."""
    kind, where = KINDS["drive"], []
    lay_out(kind, tmp_path)
    for n in range(200):
        told = keeps_its_word(kind, damaged(kind.seeds[n % len(kind.seeds)], [(0, 7 * n, 5 * n + n // 3)]), tmp_path)
        if told != "loaded":
            where.append(names_a_place(told))
    assert len(where) > 50
    assert sum(where) >= 0.9 * len(where)


# Found by running thousands: kind, seed, damage that once ended in a traceback, a hang or a fault told badly.
FOUND: list[tuple[str, bytes]] = [
    ("drive", b'[drive]\nname = "x"\n[[phase]]\ndo = "stop"\nseconds = ' + b"1" * 5000),  # over 4300 digits
    ("drive", b'[drive]\nname = "x"\n[[phase]]\ndo = "stop"\nseconds = 0x' + b"f" * 5000),
    ("drive", b"a." * 20_000 + b"a = 1"),  # time grew with the square of the parts
    ("drive", b"x = {" + b"a." * 20_000 + b"a = 1}"),
    ("drive", b"[" + b"a." * 20_000 + b"a]"),
    ("drive", b'[drive]\nname = "x"\n[[phase]]\ndo = "trace"\nfile = "~nobody/x.csv"\n'),
    ("drive", b'[drive]\nname = "x"\n[[phase]]\ndo = "trace"\nfile = "a\\u0000/x.csv"\n'),
    ("drive", b'[drive]\nname = "x"\n[[phase]]\ndo = "trace"\nfile = "' + b"y/" * 3000 + b'x.csv"\n'),
    ("season", b'[season]\nname = "x"\n[[outing]]\ndrive = "~nobody"\nclimate = "a\\u0000"\nper_year = 1\n'),
    ("axes", b'[axes]\nduty_step_pct = 1e-320\n[axes.down]\nsense = "iat"\nbreakpoints = [1, 2]\n[axes.across]\n'
             b'sense = "map"\nbreakpoints = [90, 200]\n'),
    ("settings", b'strategy = "proportional"\n[settings]\nstart_c = 9999999999999999999999\n'),
    ("settings", b'strategy = "proportional"\n[settings]\nstart_c = {a = 1}\n'),
    ("duty table", b"iat_c \\ throttle_pct,0,20\n20,0," + b"x" * 50_000 + b"\n30,0,1\n"),
    ("duty table", b"iat_c \\ throttle_pct" + b",1" * 3000 + b"\n20,0,1\n30,0,1\n"),
    ("duty table", b"iat_c \\ iat_f,0,20\n20,0,1\n30,0,1\n"),  # named no file
    ("duty table", b"iat_c \\ throttle_pct,0,20\n20,0,1\n30,0,\xb0\n"),
    ("duty table", b"iat_c \\ throttle_pct\n20\n30\n"),  # named no file
    ("epw", b"LOCATION\n" + b"\n" * 7 + b"2001,inf,1,1,60,0,15,0,60,100200" + b",0" * 20 + b"\n"),
    ("epw", b"LOCATION\n" + b"\n" * 7 + b"2001,7,1,1,60,0,inf,0,60,100200" + b",0" * 20 + b"\n"),
    ("trace", b"a;b\n"),
    ("trace", b"time_s,speed_kmh\n0,1e308\n1,1e308\n2,3\n"),
    ("trace", b"time_s,speed_kmh\n0,1\n1," + b"9" * 130_000 + b"\n2,3\n"),
    ("log", b"time_h,speed_kmh\n0,1\n1e308,2\n1.1e308,3\n"),
    ("log", b"time_s;speed_kmh\n\x1112:00:05,0;4\n12:00:04,0;5\n12:00:03,0;5\n"),
    ("log", b"Time [s],Speed [mph],Altitude [ft]\n0,1,1e308\n1,2,-1e308\n2,3,1\n"),
    ("epw", b"LOCATION\n" + b"\n" * 7 + b"2001,7,1,1,60,0,15\x1b[31m,0,60,100200" + b",0" * 20 + b"\n"),
    ("epw", b"LOCATION\n" + b"\n" * 7 + b"2001,7,1,1,60,0," + b"9" * 6000 + b",0,60,100200" + b",0" * 20 + b"\n"),
    ("typical year", b'time(UTC),T2m\n"' + b"x" * 140_000 + b"\n"),  # longer than the CSV reader's limit
]  # fmt: skip


@pytest.mark.parametrize(("name", "data"), FOUND, ids=[f"{k}-{name}" for k, (name, _) in enumerate(FOUND)])
def test_what_was_found_once_is_refused(name: str, data: bytes, tmp_path: Path) -> None:
    kind = KINDS[name]
    lay_out(kind, tmp_path)
    assert keeps_its_word(kind, data, tmp_path) != "loaded"


def test_a_year_with_a_broken_row_does_not_end_there(tmp_path: Path) -> None:
    """Remarks may stand below the table; a short row in the middle is a fault, not the end of the year."""
    kind = KINDS["typical year"]
    lay_out(kind, tmp_path)
    lines = kind.seeds[0].split(b"\n")
    lines[40] = lines[40][:9]
    assert ":41: has 1 fields" in keeps_its_word(kind, b"\n".join(lines), tmp_path)


VIEWS_FOUND = [
    (2, 23227, 23695),
    (2, 25308, 30265),
]


@pytest.mark.parametrize("step", VIEWS_FOUND)
def test_a_result_found_broken_once(results: dict[str, Kind], step: Step, tmp_path: Path) -> None:
    for name in ("report manifest.json", "report views.json"):
        place = tmp_path / name.split()[1]
        place.mkdir()
        lay_out(results[name], place)
        keeps_its_word(results[name], damaged(results[name].seeds[0], [step]), place)
        shutil.rmtree(place)
