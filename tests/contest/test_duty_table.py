"""A user's duty table competes as it is; a table that cannot be one is refused row by row."""

from __future__ import annotations

from pathlib import Path

import pytest

from arena.contest.duty_table import read_table, strategy_of
from arena.contest.laws import PROMISES as COMPILED
from arena.contest.single import drive_once
from arena.contest.store import table_csv
from arena.errors import BadInput
from arena.garage.checking import examine
from arena.scenario.loading import find
from arena.strategies import shipped
from arena.strategies.contract import PROMISES, ask, cells_of

GOOD = "iat_c \\ throttle_pct,0,50,100\n20,0,0,0\n40,0,30,100\n60,60,100,100\n"


def written(folder: Path, text: str, name: str = "mine.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_it_is_read_as_it_stands(tmp_path: Path) -> None:
    table = read_table(written(tmp_path, GOOD))
    assert (table.row_sense, table.column_sense) == ("iat_c", "throttle_pct")
    assert table.rows == (20.0, 40.0, 60.0)
    assert table.columns == (0.0, 50.0, 100.0)
    assert table.cells[2] == pytest.approx((0.6, 1.0, 1.0))


def test_semicolons_tabs_blank_lines_and_per_cent_signs_are_taken(tmp_path: Path) -> None:
    wanted = read_table(written(tmp_path, GOOD))
    spelled = GOOD.replace("100,100\n", "100 %,100%\n").replace(",", ";") + "\n;;;\n"
    assert read_table(written(tmp_path, spelled)) == wanted
    assert read_table(written(tmp_path, GOOD.replace(",", "\t"))) == wanted


def test_fahrenheit_is_turned(tmp_path: Path) -> None:
    text = (
        GOOD.replace("iat_c", "iat_f").replace("\n20,", "\n68,").replace("\n40,", "\n104,").replace("\n60,", "\n140,")
    )
    table = read_table(written(tmp_path, text))
    assert table.row_sense == "iat_c"
    assert table.rows == pytest.approx((20.0, 40.0, 60.0))


def test_what_the_arena_writes_it_reads(tmp_path: Path) -> None:
    gated = shipped()["gated-table"]
    assert gated.table is not None
    rows, columns, cells = gated.table(gated.make_settings({}))
    table = read_table(written(tmp_path, table_csv(gated.table_senses, rows, columns, cells)))
    assert table.rows == tuple(rows)
    assert table.cells[5] == pytest.approx(cells[5], abs=1e-6)


def test_it_competes_untuned_and_keeps_every_promise(tmp_path: Path) -> None:
    strategy = strategy_of(written(tmp_path, GOOD))
    assert strategy.name == "table-mine"
    assert strategy.settings == ()
    assert [f for check in (*PROMISES.values(), *COMPILED.values()) for f in check(strategy)] == []


@pytest.mark.parametrize(
    ("iat", "throttle", "duty"),
    [(20, 100, 0.0), (30, 100, 0.5), (40, 50, 0.3), (90, 0, 0.6), (-20, 0, 0.0), (50, 25, 0.475)],
)
def test_between_the_cells_it_is_bilinear_and_beyond_them_it_holds(
    tmp_path: Path, iat: float, throttle: float, duty: float
) -> None:
    strategy = strategy_of(written(tmp_path, GOOD))
    settings = strategy.make_settings({})
    asked, _ = ask(strategy, (iat, throttle), settings, strategy.memory, cells_of(strategy, settings))
    assert asked == pytest.approx(duty)


def test_an_output_that_cuts_low_duties_off_is_said_with_the_argument(tmp_path: Path) -> None:
    path = written(tmp_path, GOOD)
    stalled = drive_once("hill-pulls", strategy=f"table:{path}+lowest_pct=0")
    assert stalled.failed == "pump stalled"
    assert any("35 % surely does" in note and "+lowest_pct=35" in note for note in stalled.notes)
    cut = drive_once("hill-pulls", strategy=f"table:{path}+lowest_pct=35", record=True)
    assert not cut.failed
    assert cut.contestant.name == "table-mine+lowest_pct=35"
    calm = drive_once("hill-pulls", strategy=f"table:{path}+lowest_pct=35+hysteresis_pct=10")
    assert calm.figures["pump_starts"] < cut.figures["pump_starts"]  # type: ignore[operator]
    plain = drive_once("hill-pulls", strategy=f"table:{path}")
    assert plain.figures == calm.figures
    assert any("under 35 %" in n and "1 of its 9 cells" in n and "+lowest_pct=0" in n for n in plain.notes)
    with pytest.raises(BadInput, match=r"hysteresis_pct=40 is outside 0..35 %"):
        drive_once("hill-pulls", strategy=f"table:{path}+lowest_pct=35+hysteresis_pct=40")
    with pytest.raises(BadInput, match=r"lowest_pct=135 is outside 0..100 %"):
        drive_once("hill-pulls", strategy=f"table:{path}+lowest_pct=135")


@pytest.mark.parametrize("corner", ["throttle_pct \\ iat_c", "map_kpa \\ coolant_c"])
def test_either_orientation_and_other_senses(tmp_path: Path, corner: str) -> None:
    strategy = strategy_of(written(tmp_path, GOOD.replace(GOOD.split(",", maxsplit=1)[0], corner)))
    assert strategy.senses == tuple(corner.split(" \\ "))
    assert [f for check in COMPILED.values() for f in check(strategy)] == []


def test_a_table_that_reads_the_coolant_wants_a_probe_there(tmp_path: Path) -> None:
    table = f"table:{written(tmp_path, GOOD.replace('iat_c', 'coolant_c'))}"
    told = [n for n in drive_once("hill-pulls", strategy=table).notes if "coolant_probe = true" in n]
    assert len(told) == 1 and told[0].startswith("table-mine")
    car = tmp_path / "fitted.toml"
    text = find("cars", "invented-2200").read_text(encoding="utf-8")
    assert text.count("[probe]\n") == 1
    car.write_text(text.replace("[probe]\n", "[probe]\ncoolant_probe = true\n"), encoding="utf-8")
    assert not any("coolant_probe" in n for n in drive_once("hill-pulls", car=str(car), strategy=table).notes)
    assert not any("coolant_probe" in n for n in drive_once("hill-pulls").notes)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD.replace("\n40,", "\n15,"), ":3: iat_c: breakpoints must rise (15 after 20)"),
        (GOOD.replace("\n40,", "\n20,"), "breakpoints must rise (20 after 20)"),
        (GOOD.replace(",0,50,100", ",0,100,50"), ":1: throttle_pct: breakpoints must rise (50 after 100)"),
        (GOOD.replace("30,100", "30,101"), ':3: column "100": duty 101 % is outside 0..100'),
        (GOOD.replace("30,100", "-1,100"), ':3: column "50": duty -1 % is outside 0..100'),
        (GOOD.replace("30,100", "nan,100"), ':3: column "50": "nan" is not a number'),
        (GOOD.replace("30,100", ",100"), ':3: column "50": "" is not a number'),
        (GOOD.replace("30,100", "full,100"), '"full" is not a number'),
        (GOOD.replace("\n40,", "\n\n,,\n40,").replace("30,100", "full,100"), ':5: column "50": "full" is not a number'),
        ("\n" + GOOD.replace("60,60", "60,160"), ':5: column "0": duty 160 % is outside 0..100'),
        (GOOD.replace("30,100", "30"), ":3: 2 cells, 3 columns in row 1"),
        (GOOD.replace("30,100", "30,100,100"), ":3: 4 cells, 3 columns in row 1"),
        (GOOD.replace("\n40,", "\nwarm,"), ':3: iat_c: breakpoint "warm" is not a number'),
        (GOOD.replace(",0,50,100\n", ",0,nan,100\n"), ':1: throttle_pct: breakpoint "nan" is not a number'),
        (GOOD.replace("iat_c \\ throttle_pct", "duty"), 'the corner says "duty"'),
        (GOOD.replace("throttle_pct", "iat_c"), "not two senses"),
        (GOOD.replace("iat_c", "rpm"), "neither axis is a temperature"),
        ("iat_c \\ throttle_pct,0\n20,0\n40,100\n", "1 breakpoints, 2 to 64"),
        ("iat_c \\ throttle_pct,0,100\n", "1 rows"),
        (",,,\n,\n", "0 rows"),
    ],
)
def test_what_is_no_table_is_refused_with_row_and_column(tmp_path: Path, text: str, said: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(BadInput) as caught:
        strategy_of(path)
    assert said in "\n".join(caught.value.faults)
    assert all(str(path) in fault for fault in caught.value.faults)
    assert "axes rising" in caught.value.remedy


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    text = GOOD.replace("30,100", "30,101").replace("\n40,", "\n15,").replace("60,100,100", "60,100,nan")
    with pytest.raises(BadInput) as caught:
        read_table(written(tmp_path, text))
    assert len(caught.value.faults) == 3


def test_what_cannot_be_read_is_bad_input(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="there is no such file"):
        read_table(tmp_path / "none.csv")
    with pytest.raises(BadInput, match="is a folder"):
        read_table(tmp_path)
    (tmp_path / "odd.csv").write_bytes(b"iat_c \\ throttle_pct,\xff\xfe\n")
    with pytest.raises(BadInput, match="not UTF-8"):
        read_table(tmp_path / "odd.csv")
    (tmp_path / "vast.csv").write_text("1," * 600_000, encoding="utf-8")
    with pytest.raises(BadInput, match="over the limit of 1 MB"):
        read_table(tmp_path / "vast.csv")


def test_a_table_under_a_remark_or_parted_by_tabs_is_checked_as_one(tmp_path: Path) -> None:
    for name, text in (("mine.csv", "# my table\n" + GOOD), ("mine.tsv", GOOD.replace(",", "\t")), ("mine.txt", GOOD)):
        assert examine(written(tmp_path, text, name)).checked.kind == "table", name


def test_a_lowest_duty_below_nothing_is_named_itself(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"lowest_pct=-5 is outside 0..100 %"):
        strategy_of(written(tmp_path, GOOD), -5.0)


def test_an_output_starts_at_the_lowest_duty_and_not_within_its_hysteresis(tmp_path: Path) -> None:
    strategy = strategy_of(written(tmp_path, GOOD), 50.0, 20.0)
    settings, memory = strategy.make_settings({}), strategy.memory
    for iat, wanted in ((52.0, 0.0), (57.0, 0.51), (52.0, 0.5), (49.0, 0.0), (52.0, 0.0)):  # 36, 51, 36, 27 and 36 %
        asked, memory = ask(strategy, (iat, 0.0), settings, memory, cells_of(strategy, settings))
        assert asked == pytest.approx(wanted), iat
