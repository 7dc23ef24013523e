"""Columns given by the user, pedals that rest above zero, plates that say nothing; typical years beside EPW."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from arena.errors import BadInput
from arena.garage.checking import examine
from arena.scenario.check import check_file
from arena.scenario.climate import Climate, load_climate
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


def year(head: str, *cells: object, clock: str = "2007-07-{day:02d} {hour:02d}:00") -> str:
    """A week of hours, all alike; a cell "hour" is the hour of the day."""
    rows = []
    for day in range(1, 8):
        for hour in range(24):
            row = [clock.format(day=day, hour=hour), *(str(hour if cell == "hour" else cell) for cell in cells)]
            rows.append(",".join(row))
    return "\n".join([head, *rows]) + "\n"


def july(folder: Path, text: str, head: str = "", weather: str = "") -> Climate:
    write(folder / "w.csv", text)
    toml = f'[climate]\nname = "c"\n{head}[weather]\nfile = "w.csv"\nmonth = 7\n{weather}'
    return load_climate(write(folder / "c.toml", toml))


@pytest.mark.parametrize(
    ("head", "cells"),
    [
        ("time,temperature (F),RH (%),wind speed (km/h),pressure (kPa)", (50, 40, 36, 95)),
        (
            "time,air temperature [\u00b0F],relative_humidity [0-1],wind_speed [mph],pressure_hpa",
            (50, 0.4, 22.3694, 950),
        ),
        ("time,T2m (K),RH,WS10m,SP", (283.15, 40, 10, 95000)),
        ("time,temp_air_c,humidity_pct,wind speed m/s,surface pressure [mbar]", (10, 40, 10, 950)),
    ],
)
def test_every_column_of_weather_is_read_in_the_unit_its_header_names(
    tmp_path: Path, head: str, cells: tuple[float, ...]
) -> None:
    """10 degC, 40 %, 36 km/h and 95 kPa, said in four ways (1 mile is 1609.344 m)."""
    climate = july(tmp_path, year(head, *cells))
    np.testing.assert_allclose(climate.ambient_k, 283.15)
    np.testing.assert_allclose(climate.humidity, 0.4)
    np.testing.assert_allclose(climate.wind_m_s, 10.0, rtol=1e-5)
    np.testing.assert_allclose(climate.pressure_pa, 95000.0)
    assert climate.notes == ()


def test_weather_in_a_strange_unit_is_refused_and_a_damaged_degree_sign_is_not(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        july(tmp_path, year("time,temperature (Re),wind speed (Bft)", 10, 3))
    assert [line.split(", which")[0] for line in caught.value.faults] == [
        f'{tmp_path / "w.csv"}:1: the column "temperature (Re)" has the unit "re"',
        f'{tmp_path / "w.csv"}:1: the column "wind speed (Bft)" has the unit "bft"',
    ]
    assert "known: kmh" in caught.value.faults[1] and caught.value.remedy
    (tmp_path / "w.csv").write_bytes(year("time,temperature (\u00b0F)", 50).encode("cp1252"))
    np.testing.assert_allclose(load_climate(tmp_path / "c.toml").ambient_k, 283.15)


def test_the_climate_gives_what_its_weather_lacks(tmp_path: Path) -> None:
    bare, head = year("time,t2m", 20), "humidity_pct = 90\nwind_kmh = 40\naltitude_m = 0\n"
    given = july(tmp_path, bare, head)
    np.testing.assert_allclose(given.humidity, 0.9)
    np.testing.assert_allclose(given.wind_m_s, 40 / 3.6)
    assert given.notes == ()
    assumed = july(tmp_path, bare)
    np.testing.assert_allclose([assumed.humidity[0], assumed.wind_m_s[0]], [0.5, 1.5])
    assert [" ".join(note.split()[2:4]) for note in assumed.notes] == ["no humidity:", "no wind:", "no pressure:"]
    whole = july(tmp_path, year("time,t2m,rh,ws10m,sp", 20, 60, 2, 98000), head)
    np.testing.assert_allclose([whole.humidity[0], whole.wind_m_s[0], whole.pressure_pa[0]], [0.6, 2.0, 101325.0])
    assert [note.split(" is left out")[0] for note in whole.notes] == ["climate.humidity_pct", "climate.wind_kmh"]
    assert check_file(tmp_path / "c.toml").notes == whole.notes


@pytest.mark.parametrize(("head", "clock"), [("time(UTC)", ""), ("time_utc", ""), ("time", "Z")])
def test_hours_in_utc_are_noted_and_moved_to_the_local_clock(tmp_path: Path, head: str, clock: str) -> None:
    text = year(head + ",T2m,RH,WS10m,SP", "hour", 60, 2, 98000, clock="2007-07-{day:02d}T{hour:02d}:00" + clock)
    as_it_is = july(tmp_path, text)
    np.testing.assert_allclose(as_it_is.ambient_k, 273.15 + np.arange(24))
    assert len(as_it_is.notes) == 1 and "weather.utc_offset_h" in as_it_is.notes[0]
    assert any("utc_offset_h" in note for note in check_file(tmp_path / "w.csv").notes)
    ahead = july(tmp_path, text, weather="hour = 14\nutc_offset_h = 5.5\n")
    assert ahead.notes == ()
    np.testing.assert_allclose(ahead.at(np.array([0.0])).ambient_k - 273.15, 8.5)  # 14:00 there is 8:30 UTC
    np.testing.assert_allclose(july(tmp_path, text, weather="utc_offset_h = -3\n").ambient_k[20] - 273.15, 23.0)


def test_an_epw_file_has_its_own_clock(tmp_path: Path) -> None:
    toml = '[climate]\nname = "c"\n[weather]\nfile = "w.epw"\nmonth = 7\nutc_offset_h = 1\n'
    with pytest.raises(BadInput, match="utc_offset_h is for a file in UTC"):
        load_climate(write(tmp_path / "c.toml", toml))
