"""Columns given by the user, pedals that rest above zero, plates that say nothing; typical years beside EPW."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from arena.errors import BadInput
from arena.garage.checking import examine
from arena.scenario.check import check_file
from arena.scenario.climate import load_climate
from arena.scenario.columns import columns_toml, read_columns
from arena.scenario.drive import load_drive
from arena.scenario.loading import shipped_root
from arena.scenario.log_csv import read_log
from arena.scenario.trace_csv import read_trace

LOG = "clock,how fast,turns\n10:00:00,0,800\n10:00:01,10,900\n10:00:02,20,1000\n"


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_of_columns_or_words_name_the_columns(tmp_path: Path) -> None:
    log = write(tmp_path / "l.csv", LOG)
    file = write(
        tmp_path / "c.toml",
        '[columns]\nspeed_kmh = { header = "how", unit = "mph" }\nrpm = "turns"\ntime_s = "clock"\n',
    )
    for given in (str(file), "speed_kmh=how fast [mph],rpm=turns,time_s=clock"):
        drive = load_drive(log, columns=read_columns(given))
        np.testing.assert_allclose(drive.traces["l.csv"].speed_m_s, np.array([0, 10, 20]) * 0.44704)
    assert check_file(file).kind == "columns"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[columns]\nsped_kmh = "x"\n', ["c.toml: columns.sped_kmh", 'did you mean "speed_kmh"']),
        ("[columns]\nspeed_kmh = 3\n", ["c.toml:2", "columns.speed_kmh"]),
        ('[columns]\nspeed_kmh = { head = "x" }\n', ["c.toml:2", "head"]),
        ("[columns]\n", ["c.toml", "columns"]),
        ('[column]\nspeed_kmh = "x"\n', ["c.toml:1", 'unknown key "column"', 'did you mean "columns"']),
    ],
)
def test_a_bad_file_of_columns(tmp_path: Path, text: str, words: list[str]) -> None:
    with pytest.raises(BadInput) as caught:
        read_columns(write(tmp_path / "c.toml", text))
    assert caught.value.remedy
    assert any(all(word in line for word in words) for line in caught.value.faults), caught.value.faults


def test_what_check_shows_for_confirmation_reads_back_as_the_same_log(tmp_path: Path) -> None:
    first = read_log(shipped_root() / "drives" / "kit-2017-07-14.csv")
    file = write(tmp_path / "c.toml", columns_toml(first))
    again = read_log(shipped_root() / "drives" / "kit-2017-07-14.csv", read_columns(file))
    assert again.headers == first.headers
    assert again.units == first.units
    for key, values in first.values.items():
        np.testing.assert_array_equal(again.values[key], values)


def test_the_mapping_shown_keeps_how_a_column_was_rescaled(tmp_path: Path) -> None:
    path = write(tmp_path / "l.csv", "time,speed_kmh,plate\n0,0,0.8\n1,10,0.85\n2,20,1.0\n")
    text = '[columns]\nthrottle_pct = { header = "plate", from = [0.8, 1.0], to = [0, 100] }\n'
    first = read_log(path, read_columns(write(tmp_path / "given.toml", text)))
    again = read_log(path, read_columns(write(tmp_path / "shown.toml", columns_toml(first))))
    np.testing.assert_allclose(first.values["throttle"], [0.0, 0.25, 1.0], atol=1e-12)
    np.testing.assert_array_equal(again.values["throttle"], first.values["throttle"])
    assert again.ranges == first.ranges == {"throttle": ((0.8, 1.0), (0.0, 100.0))}


@pytest.mark.parametrize(
    ("head", "told"),
    [
        ("time_s,rpm,map_kpa,throttle_pct", "yes, by rpm and MAP"),
        ("time_s,rpm,pedal_pct,throttle_pct", "no: it has no speed, nor rpm and MAP"),
    ],
)
def test_check_tells_what_a_drive_can_be_played_by(tmp_path: Path, head: str, told: str) -> None:
    path = write(tmp_path / "l.csv", head + "\n" + "".join(f"{t},{2000 + t},60,20\n" for t in range(60)))
    rows = {what: value for what, value, _ in examine(path).checked.rows}
    assert rows["runs as a drive"].startswith(told)
    if told.startswith("yes"):
        load_drive(path)
    else:
        with pytest.raises(BadInput, match="no column for speed_kmh"):
            load_drive(path)


def test_check_says_whether_a_unit_was_in_the_header_or_guessed(tmp_path: Path) -> None:
    path = write(tmp_path / "l.csv", "time,Speed,IAT [degF]\n0,0,90\n1,30,91\n2,30,92\n")
    rows = {what: value for what, value, _ in check_file(path).rows}
    assert rows["speed_kmh"] == '"Speed" in kmh (guessed)'
    assert rows["iat_c"] == '"IAT [degF]" in degf (in the header)'
    given = {w: v for w, v, _ in check_file(path, read_columns("speed_kmh=Speed [mph]")).rows}
    assert given["speed_kmh"] == '"Speed" in mph (given)'


def test_a_measured_log_runs_as_it_is() -> None:
    """The shipped log of a real car: its pedal rests at 14.1 %, its plate stands open at idle, headers are damaged."""
    trace, notes = read_trace(shipped_root() / "drives" / "kit-2017-07-14.csv")
    assert any("pedal rests at 14.1 %" in note for note in notes)
    assert any("throttle stands at 84 % at idle" in note and "pedal is taken" in note for note in notes)
    assert trace.pedal is not None and trace.throttle is not None
    assert trace.pedal.min() == 0.0
    np.testing.assert_array_equal(trace.throttle, trace.pedal)
    mapped = load_drive("recorded-trip").traces["kit-2017-07-14.csv"]  # the same, said by hand in its drive file
    assert mapped.pedal is not None
    np.testing.assert_allclose(trace.pedal, mapped.pedal, atol=1e-9)


def test_an_ordinary_throttle_and_pedal_are_left_alone(tmp_path: Path) -> None:
    rows = "".join(f"{t},{0 if t < 20 else 50},800,{30 + t},{t},{t}\n" for t in range(60))
    trace, notes = read_trace(write(tmp_path / "l.csv", "time_s,speed_kmh,rpm,map_kpa,throttle_pct,pedal_pct\n" + rows))
    assert trace.throttle is not None
    np.testing.assert_allclose(trace.throttle, np.arange(60) / 100)
    assert notes == []


HOURS = [(month, day, hour) for month in (1, 7) for day in range(1, 15) for hour in range(24)]


def air_c(month: int, day: int, hour: int) -> float:
    """Invented: January -5, July 20 by night and 30 by day, 6 hotter in the second week."""
    return -5.0 if month == 1 else (30.0 if 8 <= hour <= 20 else 20.0) + (6.0 if day > 7 else 0.0)


def satellite(damage: str = "") -> str:
    """A typical year as satellite services give it: head lines, then hours in UTC, remarks below."""
    rows = [f"2010{m:02d}{d:02d}:{h:02d}00,{air_c(m, d, h)},60,0,0,0,300,2.5,180,98500" for m, d, h in HOURS]
    if damage:
        rows[5] = rows[5].replace("-5.0", damage)
    head = ["Latitude (decimal degrees): 45.0", "", "time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP"]
    return "\n".join([*head, *rows, "", "T2m: air temperature"]) + "\n"


def airport() -> str:
    """A typical year with a line on the place and units in the header; the day's last hour is 24:00."""
    rows = [f"{m:02d}/{d:02d}/1998,{h or 24:02d}:00,{air_c(m, d, h)},60,985,2.5" for m, d, h in HOURS]
    head = [
        '720000,"INVENTED",XX,0.0,45.0,10.0,200',
        "Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),RHum (%),Pressure (mbar),Wspd (m/s)",
    ]
    return "\n".join([*head, *rows]) + "\n"


@pytest.mark.parametrize("make", [satellite, airport])
def test_a_typical_year_gives_the_hottest_and_coldest_week(tmp_path: Path, make: object) -> None:
    assert callable(make)
    weather = write(tmp_path / "w.csv", make())
    assert check_file(weather).kind == "weather"
    head = '[climate]\nname = "c"\n[weather]\nfile = "w.csv"\n'
    hot = load_climate(write(tmp_path / "h.toml", head + 'period = "hottest week"\nhour = 14\n'))
    assert hot.ambient_k.max() - 273.15 == pytest.approx(36.0)
    assert hot.ambient_k.min() - 273.15 == pytest.approx(26.0)
    assert hot.start_hour == 14.0
    np.testing.assert_allclose(hot.pressure_pa, 98500.0)
    np.testing.assert_allclose(hot.humidity, 0.6)
    cold = load_climate(write(tmp_path / "k.toml", head + 'period = "coldest-week"\n'))
    np.testing.assert_allclose(cold.ambient_k - 273.15, -5.0)
    july = load_climate(write(tmp_path / "j.toml", head + "month = 7\n"))
    assert july.ambient_k.mean() - 273.15 == pytest.approx(20.0 + 10.0 * 13 / 24 + 3.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (satellite("warm"), ["w.csv:9", "field 2 (air)", '"warm"']),
        (satellite("150"), ["w.csv:9", "air 150 cannot be right"]),
        (satellite().replace("20100101:0500", "yesterday"), ["w.csv:9", '"yesterday" is no date and hour']),
        ("time(UTC),T2m,RH\n20100101:0000,3,60\n", ["w.csv", "1 hours", "at least 24"]),
        ("a,b\n1,2\n", ["w.csv", "no header names both a time and an air temperature"]),
    ],
)
def test_bad_typical_years_name_the_row(tmp_path: Path, text: str, words: list[str]) -> None:
    write(tmp_path / "w.csv", text)
    climate = write(tmp_path / "c.toml", '[climate]\nname = "c"\n[weather]\nfile = "w.csv"\nmonth = 1\n')
    with pytest.raises(BadInput) as caught:
        load_climate(climate)
    assert caught.value.remedy
    assert all(word in caught.value.faults[0] for word in words), caught.value.faults
