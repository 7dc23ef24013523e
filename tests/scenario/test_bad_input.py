"""Bad scenario files: each fault is one line that names the file, the key or row, and is followed by a remedy."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from arena.errors import BadInput
from arena.scenario.car import load_car
from arena.scenario.check import check_file
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.scenario.loading import shipped_root
from arena.scenario.season import load_season

CAR = '[car]\nname = "x"\n'
DRIVE = '[drive]\nname = "x"\n\n[[phase]]\n'
CLIMATE = '[climate]\nname = "x"\n'
SEASON = '[season]\nname = "x"\n\n[prices]\ntracking_per_k_h = 1\nwear_per_h = 1\nenergy_per_kwh = 1\n\n'
OUTING = '[[outing]]\ndrive = "{}"\nclimate = "{}"\nper_year = 1\n'

LOADERS: dict[str, Callable[[Path], object]] = {
    "car": load_car,
    "drive": load_drive,
    "climate": load_climate,
    "season": load_season,
}

BAD_TOML = [
    # kind, text, words that one fault line must hold
    ("car", CAR + "[core]\nmetal_kgs = 2\n", ["x.toml:4", 'unknown key "metal_kgs"', 'did you mean "metal_kg"']),
    ("car", CAR + "[cor]\nmetal_kg = 2\n", ["x.toml:3", 'unknown key "cor"', 'did you mean "core"']),
    ("car", CAR + "[core]\ncoolant_l = -0.6\n", ["x.toml:4", "core.coolant_l", "at least 0.02", "given -0.6"]),
    ("car", CAR + "[charger]\nefficiency = 1.2\n", ["x.toml:4", "charger.efficiency", "at most 1", "given 1.2"]),
    ("car", CAR + '[core]\nmetal_kg = "heavy"\n', ["x.toml:4", "core.metal_kg", "must be a number", '"heavy"']),
    ("car", CAR + '[core]\nmetal_kg = "2.2"\n', ["core.metal_kg", "must be a number"]),
    ("car", CAR + "[core]\nmetal_kg = nan\n", ["core.metal_kg", "finite"]),
    ("car", CAR + "[core]\nmetal_kg = inf\n", ["core.metal_kg", "finite"]),
    ("car", CAR + "[core]\nmetal_kg = true\n", ["core.metal_kg", "must be a number", "true"]),
    ("car", "[engine]\npower_kw = 100\n", ["x.toml", "car is missing"]),
    ("car", "[car]\n[engine]\npower_kw = 100\n", ["x.toml:1", "car.name is missing"]),
    (
        "car",
        CAR + "[pump]\ncurve = [\n{ flow_l_min = 0, head_kpa = 50 },\n{ flow_l_min = 20, head_kpa = 20 },\n"
        "{ flow_l_min = 18, head_kpa = 0 },\n]\n",
        ["x.toml:7", "pump.curve[3].flow_l_min must increase (18 after 20)"],
    ),
    (
        "car",
        CAR + "[pump]\ncurve = [\n{ flow_l_min = 0, head_kpa = 50 },\n{ flow_l_min = 9, head_kpa = 60 },\n]\n",
        ["x.toml:6", "pump.curve[2].head_kpa must fall", "60 kPa after 50 kPa"],
    ),
    ("car", CAR + "[pump]\ncurve = [{ flow_l_min = 0, head_kpa = 50 }]\n", ["pump.curve", "at least 2"]),
    (
        "car",
        CAR + "[engine]\nboost_kpa = 100\nmap_max_kpa = 205\n",
        ["engine.map_max_kpa", "engine.boost_kpa", "two ways"],
    ),
    ("car", CAR + '[core]\nair_ha_w_k = 400\nsize = "large"\n', ["core.size", "core.air_ha_w_k", "two ways"]),
    (
        "car",
        CAR + "[core]\nlength_mm = 100\nwidth_mm = 100\nheight_mm = 200\nrated_effectiveness = 0.8\n",
        ["core.length_mm", "core.rated_effectiveness", "two ways"],
    ),
    ("car", CAR + "[core]\nfins_per_inch = 12\n", ["core.length_mm is missing: it is needed to give the core"]),
    ("car", CAR + "[front]\nfins_per_cm = 5\n", ["front.width_mm is missing: it is needed", "front exchanger"]),
    ("car", CAR + "[core]\nrated_effectiveness = 0.8\n", ["core.rated_air_g_s is missing", "core.rated_effectiveness"]),
    (
        "car",
        CAR + "[core]\nrated_effectiveness = 0.99\nrated_air_g_s = 500\nrated_coolant_l_min = 1\n",
        ["core.rated_effectiveness", "cannot be reached", "at most"],
    ),
    (
        "car",
        CAR + "[core]\nlength_mm = 100\nwidth_mm = 100\nheight_mm = 200\nfins_per_inch = 14\nfins_per_cm = 5\n",
        ["core.fins_per_cm", "core.fins_per_inch", "two ways"],
    ),
    ("car", CAR + '[core]\nsize = "huge"\n', ["core.size", "small, medium, large", '"huge"']),
    (
        "car",
        CAR + "[pump]\nmax_head_kpa = 50\nmax_flow_l_min = 20\nbucket_l_min = 25\nbucket_v = 12\nbucket_a = 4\n",
        ["pump.bucket_l_min", "more than the pump can move at 12 V"],
    ),
    (
        "car",
        CAR + "[pump]\nbucket_l_min = 12\nbucket_v = 12\nbucket_a = 4\n",
        ["pump.max_head_kpa is missing", "bucket"],
    ),
    (
        "car",
        CAR + "[pump]\nmax_head_kpa = 50\nmax_flow_l_min = 30\nbucket_l_min = 12\nbucket_v = 12\nbucket_a = 4\n"
        "system_kpa = 30\nsystem_l_min = 15\n",
        ["pump.system_kpa", "pump.bucket_l_min", "two ways"],
    ),
    ("car", CAR + '[probe]\ntype = "open"\ntau_s = 4\n', ["probe.tau_s", "probe.type", "two ways"]),
    (
        "car",
        CAR + "[loop]\ntotal_fill_l = 1.5\n",
        ["loop.total_fill_l is less than its parts", "core 0.60", "hoses 1.70"],
    ),
    ("car", CAR + '[loop]\ntank = "none"\ntank_l = 2\n', ["loop.tank_l", 'loop.tank is "none"']),
    ("car", CAR + '[loop]\nglycol = "none"\nglycol_pct = 30\n', ["loop.glycol_pct", "must be 0"]),
    (
        "car",
        CAR + "[engine]\nidle_rpm = 3000\nredline_rpm = 2000\n",
        ["engine.redline_rpm", "must be above engine.idle_rpm"],
    ),
    ("car", CAR + "[engine]\nkmh_per_1000rpm = [8, 7]\n", ["engine.kmh_per_1000rpm", "must increase"]),
    ("car", CAR + "[control]\nperiod_s = 0.25\n", ["control.period_s", "tenths of a second"]),
    ("car", CAR + "[supply]\noff_v = 14.5\n", ["supply.off_v", "must not be above supply.running_v"]),
    ("car", '[car]\nname = "a\\nb"\n', ["x.toml:2", "car.name must be one line"]),
    ("drive", DRIVE + 'do = "cruse"\n', ["x.toml:5", 'phase[1].do "cruse" is not known', 'did you mean "cruise"']),
    ("drive", DRIVE + "seconds = 5\n", ["x.toml:4", "phase[1].do is missing", "cruise"]),
    ("drive", DRIVE + 'do = "cruise"\nspeed_kmh = 60\n', ["x.toml:4", "phase[1].seconds is missing"]),
    ("drive", DRIVE + 'do = "stop"\nseconds = -5\n', ["x.toml:6", "phase[1].seconds", "given -5"]),
    ("drive", DRIVE + 'do = "stop"\nseconds = [60, 10]\n', ["phase[1].seconds", "range that falls", "[60, 10]"]),
    ("drive", DRIVE + 'do = "stop"\nseconds = "10"\n', ["phase[1].seconds", "number or a range", '"10"']),
    ("drive", DRIVE + 'do = "stop"\nsecond = 10\n', ["x.toml:6", 'unknown key "second"', 'did you mean "seconds"']),
    ("drive", '[drive]\nname = "x"\n', ["phase is missing"]),
    ("drive", '[drive]\nname = "x"\nphase = []\n', ["x.toml"]),
    (
        "drive",
        DRIVE.replace('"x"', '"x"\nstart = "luke"') + 'do = "stop"\nseconds = 5\n',
        ["drive.start", "cold, warm, soaked"],
    ),
    (
        "drive",
        DRIVE + 'do = "repeat"\ntimes = 10000\n[[phase.steps]]\ndo = "stop"\nseconds = 1000\n',
        ["x.toml:4", "can last 10000000 s", "limit of 200000 s"],
    ),
    (
        "drive",
        DRIVE
        + 'do = "repeat"\ntimes = 10000\n[[phase.steps]]\ndo = "stop"\nseconds = 1\n[[phase.steps]]\ndo = "stop"\n'
        'seconds = 1\n[[phase.steps]]\ndo = "stop"\nseconds = 1\n',
        ["30000 phases", "limit of 20000"],
    ),
    ("drive", DRIVE + 'do = "trace"\nfile = "/etc/hosts"\n', ["x.toml:6", "phase[1].file", "absolute path"]),
    (
        "drive",
        DRIVE + 'do = "trace"\nfile = "../secret.csv"\n',
        ["x.toml:6", "phase[1].file", 'climb out of its folder with ".."'],
    ),
    ("drive", DRIVE + 'do = "trace"\nfile = "gone.csv"\n', ["x.toml:6", 'names "gone.csv"', "no such file"]),
    (
        "drive",
        DRIVE + 'do = "lap"\nstraights_m = [100, 200]\ncorner_kmh = [80]\n',
        ["phase[1]", "one corner_kmh for each", "1 corners, 2 straights"],
    ),
    (
        "drive",
        DRIVE + 'do = "repeat"\ntimes = 2\n[[phase.steps]]\ndo = "pull"\nto_km = 100\n',
        ["x.toml:9", 'unknown key "to_km"', 'did you mean "to_kmh"'],
    ),
    (
        "climate",
        CLIMATE + "air_c = 20\npresure_kpa = 100\n",
        ["x.toml:4", 'unknown key "presure_kpa"', '"pressure_kpa"'],
    ),
    ("climate", CLIMATE, ["climate.air_c is missing"]),
    (
        "climate",
        CLIMATE + "air_c = 20\npressure_kpa = 100\naltitude_m = 500\n",
        ["climate.altitude_m", "climate.pressure_kpa"],
    ),
    ("climate", CLIMATE + "air_c = 293\n", ["x.toml:3", "climate.air_c", "at most 60", "given 293"]),
    ("climate", CLIMATE + "air_c = 20\nhumidity_pct = 120\n", ["climate.humidity_pct", "at most 100"]),
    (
        "climate",
        CLIMATE + "[[hour]]\nhour = 6\nair_c = 10\n[[hour]]\nhour = 5\nair_c = 12\n",
        ["x.toml:7", "hour[2].hour must increase (5 after 6)"],
    ),
    ("climate", CLIMATE + '[weather]\nfile = "gone.epw"\nmonth = 7\n', ["weather.file", "gone.epw", "no such file"]),
    (
        "season",
        SEASON + OUTING.format("comute", "mild"),
        ["x.toml:10", "outing[1].drive", '"comute"', 'did you mean "commute"'],
    ),
    ("season", SEASON + OUTING.format("commute", "milde"), ["x.toml:11", "outing[1].climate", 'did you mean "mild"']),
    ("season", SEASON, ["outing is missing"]),
    (
        "season",
        SEASON + OUTING.format("commute", "mild") + "[wear]\nexponent = 1.2\n",
        ["x.toml:14", "wear.exponent must be one of 1, 1.5, 2 (given 1.2)"],
    ),
    ("season", SEASON + 2 * OUTING.format("commute", "mild"), ["outing[2] repeats row 1"]),
    ("season", SEASON.replace("= 1", "= 0") + OUTING.format("commute", "mild"), ["prices are all zero"]),
    (
        "season",
        SEASON.replace("wear_per_h = 1", "wear_per_h = -1") + OUTING.format("commute", "mild"),
        ["prices.wear_per_h"],
    ),
    (
        "season",
        SEASON.replace('"x"\n', '"x"\ntarget_c = 40\nlimit_c = 35\n') + OUTING.format("commute", "mild"),
        ["season.limit_c must be above season.target_c"],
    ),
]


def complaint(load: Callable[[Path], object], path: Path) -> BadInput:
    with pytest.raises(BadInput) as caught:
        load(path)
    for line in caught.value.faults:
        assert "\n" not in line
        assert path.name in line, "every line names the file"
    assert caught.value.remedy and "\n" not in caught.value.remedy
    return caught.value


@pytest.mark.parametrize(("kind", "text", "words"), BAD_TOML, ids=lambda value: None)
def test_a_fault_names_file_key_and_remedy(tmp_path: Path, kind: str, text: str, words: list[str]) -> None:
    path = tmp_path / "x.toml"
    path.write_text(text, encoding="utf-8")
    faults = complaint(LOADERS[kind], path).faults
    assert any(all(word in line for word in words) for line in faults), faults


def test_every_fault_of_a_file_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text(
        CAR + "[core]\nmetal_kg = -1\nspeed = 3\n[pump]\nkind = 'odd'\n[charger]\nefficiency = 2\n", encoding="utf-8"
    )
    faults = complaint(load_car, path).faults
    assert [line.split(":")[1] for line in faults] == ["4", "5", "7", "9"]


def test_a_bad_phase_is_told_once(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text(DRIVE + 'do = "cruise"\nspeed_kmh = 60\n', encoding="utf-8")
    assert complaint(load_drive, path).faults == [f"{path}:4: phase[1].seconds is missing"]


def test_the_remedy_is_that_of_the_fault(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text(SEASON + OUTING.format("commute", "milde"), encoding="utf-8")
    assert "`arena list climates`" in complaint(load_season, path).remedy
    path.write_text(SEASON.replace("= 1", "= 0") + OUTING.format("commute", "mild"), encoding="utf-8")
    assert complaint(load_season, path).remedy == f"Correct {path}."


BROKEN_FILES = [
    (b"", "the file is empty"),
    (b"  \n\n", "the file is empty"),
    (b"\xff\xfe[\x00c\x00", "UTF-16"),
    (CAR.encode() + b"# caf\xe9\n", "x.toml:3: byte 0xe9 is not UTF-8"),
    (b'[car]\nname = "a\x00b"\n', "x.toml:2: holds zero bytes"),
    (b"[car\nname = 1\n", "x.toml:1: is not valid TOML"),
    (b"[car]\nname = x\n", "x.toml:2: is not valid TOML"),
    (b"[car]\nname = 'x'\nname = 'y'\n", "is not valid TOML"),
    (b"[car]\nname = [" + b"[" * 100_000, "x.toml"),
    (CAR.encode() + b"#" * 2_100_000, "over the limit of 2 MB"),
]


@pytest.mark.parametrize(("raw", "words"), BROKEN_FILES, ids=[words for _, words in BROKEN_FILES])
def test_a_broken_file_gets_one_clear_line(tmp_path: Path, raw: bytes, words: str) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(raw)
    (line,) = complaint(check_file, path).faults
    assert words in line


def test_missing_file_folder_and_odd_ending(tmp_path: Path) -> None:
    (tmp_path / "folder.toml").mkdir()
    assert "no such file" in complaint(check_file, tmp_path / "gone.toml").faults[0]
    assert "no such file" in complaint(load_car, tmp_path / "gone.toml").faults[0]
    assert "is a folder" in complaint(load_car, tmp_path / "folder.toml").faults[0]
    odd = tmp_path / "car.xyz"
    odd.write_text("x", encoding="utf-8")
    assert 'the ending ".xyz"' in complaint(check_file, odd).faults[0]


def test_byte_order_mark_and_windows_line_ends_are_no_fault(tmp_path: Path) -> None:
    plain, windows = tmp_path / "plain.toml", tmp_path / "windows.toml"
    text = CLIMATE + "air_c = 21\n"
    plain.write_bytes(text.encode())
    windows.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert load_climate(windows).digest == load_climate(plain).digest


@pytest.mark.parametrize(
    ("load", "name", "near"),
    [
        (load_drive, "hillpulls", "hill-pulls"),
        (load_climate, "winer", "winter"),
        (load_season, "temperate", "temperate-year"),
        (load_car, "invented-2000", "invented-2200"),
    ],
)
def test_an_unknown_name_lists_the_near_ones(load: Callable[[str], object], name: str, near: str) -> None:
    with pytest.raises(BadInput) as caught:
        load(name)
    assert f'"{name}"' in caught.value.faults[0]
    assert f'did you mean "{near}"' in caught.value.faults[0]
    assert near in caught.value.remedy


def test_a_file_of_no_kind_says_so(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text('[drives]\nname = "x"\n', encoding="utf-8")
    assert "did you mean [drive]" in complaint(check_file, path).faults[0]


def test_a_season_of_repeats_inside_repeats_is_refused_not_played(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    text = "".join(f"[[phase{'.steps' * depth}]]\ndo = 'repeat'\ntimes = 10\n" for depth in range(300))
    path.write_text("[drive]\nname = 'x'\n" + text, encoding="utf-8")
    complaint(load_drive, path)
    few = "".join(f"[[phase{'.steps' * depth}]]\ndo = 'repeat'\ntimes = 1\n" for depth in range(12))
    path.write_text(f"[drive]\nname = 'x'\n{few}[[phase{'.steps' * 12}]]\ndo = 'stop'\nseconds = 1\n", encoding="utf-8")
    assert "nested 12 deep" in complaint(load_drive, path).faults[0]


@pytest.mark.parametrize("name", ["", "a\nb", "a\0b", "x" * 5000, "no/such/drive.toml", "..", "."])
def test_an_odd_name_gets_one_clear_line(name: str) -> None:
    with pytest.raises(BadInput) as caught:
        load_drive(name)
    (line,) = caught.value.faults
    assert line.isprintable() and len(line) < 500


def test_damaged_files_never_end_in_a_traceback(tmp_path: Path) -> None:
    """Shipped files with random damage: either they still load, or each fault is one line that names the file."""
    rng = random.Random(20)
    sources = [path for path in sorted(shipped_root().rglob("*.toml")) if path.parent.name != "strategies"]
    for trace in (shipped_root() / "drives").glob("*.csv"):
        (tmp_path / trace.name).write_bytes(trace.read_bytes())
    path, refused = tmp_path / "x.toml", 0
    values = ["-1", "0", "1e308", '"x"', "[]", "{}", "[1, 2]", "true", "nan", "1979-05-27", '""', '"a\\nb"', "{a = 1}"]
    for _ in range(250):
        lines = rng.choice(sources).read_text(encoding="utf-8").split("\n")
        for _ in range(2):
            row = rng.randrange(len(lines))
            what = rng.random()
            if what < 0.4 and "=" in lines[row]:
                lines[row] = f"{lines[row].split('=')[0]}= {rng.choice(values)}"
            elif what < 0.6:
                lines.insert(row, rng.choice(lines))
            elif what < 0.8:
                lines[row] = lines[row].replace(rng.choice("_aeim"), rng.choice("_abz"), 1)
            else:
                lines[row] = lines[row][: len(lines[row]) // 2]
        path.write_text("\n".join(lines), encoding="utf-8")
        try:
            check_file(path)
        except BadInput as error:
            refused += 1
            assert error.remedy
            assert all(line.isprintable() and "x.toml" in line for line in error.faults), error.faults
    assert refused > 60
