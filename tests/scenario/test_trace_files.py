"""Recorded CSV files: units from headers, what is tolerated, and what is refused with row and column."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from arena.errors import BadInput
from arena.scenario.drive import load_drive
from arena.scenario.log_columns import ColumnSpec
from arena.scenario.log_csv import read_log
from arena.scenario.quantities import mend, split_header
from arena.scenario.trace_csv import read_trace

PLAIN = "time_s,speed_kmh\n0,0\n1,36\n2,72\n"


def csv(folder: Path, text: str | bytes, name: str = "t.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def fault(path: Path, columns: dict[str, str | ColumnSpec] | None = None) -> str:
    with pytest.raises(BadInput) as caught:
        read_trace(path, columns)
    assert caught.value.remedy
    assert path.name in caught.value.faults[0]
    return caught.value.faults[0]


@pytest.mark.parametrize(
    ("head", "metres_a_second"),
    [
        ("zeit,geschwindigkeit", 10.0),
        ("cycSecs,cycMps", 36.0),
        ("elapsed seconds,wheel mph", 16.09344),
        ("Sekunden;v [m/s]", 36.0),
        ("time,obd value", 10.0),
        ("x,speed_kmh", 10.0),
        ("sample (ms),v (kph)", 10.0),
    ],
)
def test_two_columns_of_any_name_are_time_and_speed(tmp_path: Path, head: str, metres_a_second: float) -> None:
    mark, step = (";" if ";" in head else ","), 1000 if "ms)" in head else 1
    path = csv(tmp_path, "\n".join([head, *(f"{step * t}{mark}36" for t in range(5))]) + "\n")
    trace, notes = read_trace(path)
    np.testing.assert_allclose(trace.time_s, np.arange(5.0))
    np.testing.assert_allclose(trace.speed_m_s, metres_a_second)
    assert any("one of only two columns" in note for note in notes)


def test_a_known_column_is_never_taken_for_speed(tmp_path: Path) -> None:
    assert "no column for speed_kmh" in fault(csv(tmp_path, "time_s,iat_c\n0,20\n1,21\n"))
    log = read_log(csv(tmp_path, "time_s,iat_c\n0,20\n1,21\n"))
    assert set(log.values) == {"iat"}


def test_time_and_speed_alone_make_a_drive_that_starts_warm(tmp_path: Path) -> None:
    drive = load_drive(csv(tmp_path, PLAIN))
    assert (drive.name, drive.start) == ("t", "warm")
    trace = drive.traces[drive.file.phase[0].file]  # type: ignore[union-attr]
    np.testing.assert_allclose(trace.speed_m_s, [0.0, 10.0, 20.0])


@pytest.mark.parametrize(
    ("text", "metres_a_second"),
    [
        ("Time [s],Vehicle Speed [mph]\n0,0\n1,22.369362920544\n", 10.0),
        ("time;speed (m/s)\n0;0\n1;10\n", 10.0),
        ("time;speed_kmh\n0;0\n1;36,0\n", 10.0),
        ("Time (ms),GPS Speed (km/h)\n0,0\n1000,36\n", 10.0),
        ("clock,VSS\n10:00:00.000,0\n10:00:01.000,36\n", 10.0),
        ("time_s,speed_kmh,note\n5,0,a\n6,36,b\n", 10.0),
        ("0,0\n1,36\n", 10.0),
        ("time,speed\ns,km/h\n0,0\n1,36\n", 10.0),
        ("time,speed (m/s)\n2024-05-01T10:00:00Z,0\n2024-05-01T10:00:01Z,10\n", 10.0),
        ("time,speed (m/s)\n59:59.5,0\n60:00.5,10\n", 10.0),
        ("time,speed (m/s)\n11:59:59 am,0\n12:00:00 pm,10\n", 10.0),
        ("timestamp,speed (m/s)\n1700000000000,0\n1700000001000,10\n", 10.0),
        ('"Time","Speed (km/h)"\n"0","0"\n"1","36"\n', 10.0),
        ("# a remark\ntime_s,speed_kmh\n0,0\n\n1,36\n", 10.0),
    ],
)
def test_speed_is_read_whatever_the_logger_calls_it(tmp_path: Path, text: str, metres_a_second: float) -> None:
    trace, _ = read_trace(csv(tmp_path, text))
    np.testing.assert_allclose(trace.time_s, [0.0, 1.0])
    assert trace.speed_m_s[1] == pytest.approx(metres_a_second)


@pytest.mark.parametrize(
    ("header", "value", "kilopascal"),
    [
        ("MAP [kPa]", 200, 200),
        ("MAP [psi]", 29.007547546, 200),
        ("MAP [bar]", 2, 200),
        ("Boost [psi]", 14.503773773, 201.325),
        ("Boost (kPa gauge)", 100, 201.325),
        ("Manifold Absolute Pressure (hPa)", 2000, 200),
        ("map_kpa", 200, 200),
    ],
)
def test_manifold_pressure_in_any_unit(tmp_path: Path, header: str, value: float, kilopascal: float) -> None:
    text = f"time_s,speed_kmh,rpm,{header}\n0,50,2000,{value}\n1,50,2000,{value}\n"
    trace, _ = read_trace(csv(tmp_path, text))
    assert trace.map_pa is not None
    assert trace.map_pa[0] / 1e3 == pytest.approx(kilopascal, abs=0.01)


@pytest.mark.parametrize(
    ("columns", "kilopascal"),
    [
        ({}, 201.325),
        ({"map_kpa": "Boost"}, 201.325),
        ({"map_kpa": "Boost [psi]"}, 201.325),
        ({"map_kpa": ColumnSpec(header="Boost", unit="psi")}, 201.325),
        ({"map_kpa": ColumnSpec(header="Boost", unit="psi gauge")}, 201.325),
        ({"map_kpa": ColumnSpec(header="Boost", unit="psi abs")}, 100.0),
    ],
)
def test_boost_is_gauge_whoever_named_its_column(
    tmp_path: Path, columns: dict[str, str | ColumnSpec], kilopascal: float
) -> None:
    path = csv(tmp_path, "time_s,speed_kmh,rpm,Boost [psi]\n0,50,2000,14.503773773\n1,50,2000,14.503773773\n")
    log = read_log(path, columns)
    assert log.values["map"][0] / 1e3 == pytest.approx(kilopascal, abs=0.01)
    given = columns.get("map_kpa")
    said = isinstance(given, ColumnSpec) and given.unit != "psi"
    assert (
        any(
            'taken as gauge, over 101.3 kPa; if it is absolute, give map_kpa the unit "psi abs"' in n for n in log.notes
        )
        != said
    )


def test_temperatures_in_fahrenheit_are_converted_and_unmarked_ones_refused(tmp_path: Path) -> None:
    log = read_log(csv(tmp_path, "time_s,IAT [°F]\n0,86\n1,86\n"))
    assert log.values["iat"][0] == pytest.approx(303.15)
    with pytest.raises(BadInput) as caught:
        read_log(csv(tmp_path, "time_s,IAT\n0,100\n1,104\n2,104\n"))
    assert 'column "IAT"' in caught.value.faults[0] and "degF" in caught.value.faults[0]
    assert "[degF]" in caught.value.remedy


def test_the_remedy_for_an_unmarked_unit_works(tmp_path: Path) -> None:
    path = csv(tmp_path, "time_s,IAT,Speed\n0,104,60\n1,104,60\n")
    log = read_log(path, {"iat_c": "IAT [degF]", "speed_kmh": "Speed [mph]"})
    assert log.values["iat"][0] == pytest.approx(313.15)
    assert log.values["speed"][0] == pytest.approx(26.8224)


def test_a_pressure_that_must_be_psi_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read_log(csv(tmp_path, "time_s,MAP\n0,14.5\n1,29\n"))
    assert 'column "MAP"' in caught.value.faults[0] and "psi" in caught.value.faults[0]


def test_a_doubly_encoded_degree_sign_is_mended() -> None:
    assert mend("Intake Air Temperature [Â°C]") == "Intake Air Temperature [°C]"
    assert mend("Temp [Ã\u0082Â°C]".replace("Ã\u0082", "Ã‚")) == "Temp [°C]"
    assert split_header("Intake Air Temperature [Â°C]") == ("intake air temperature", "°c")
    assert split_header("speed_mph") == ("speed", "mph")


def test_empty_fields_at_the_start_and_repeats_are_tolerated(tmp_path: Path) -> None:
    text = "time_s,speed_kmh,rpm,map_kpa\n0,,,\n1,36,,\n2,36,900,\n3,36,900,98\n4,,,99\n4,40,900,99\n5,,,\n"
    path = csv(tmp_path, text)
    trace, notes = read_trace(path)
    np.testing.assert_allclose(trace.time_s, [0.0, 1.0, 2.0])
    np.testing.assert_allclose(trace.speed_m_s * 3.6, [36.0, 40.0, 40.0])
    assert any("rows repeat a time" in note for note in notes)


def test_a_gap_is_named_in_the_notes(tmp_path: Path) -> None:
    _, notes = read_trace(csv(tmp_path, "time_s,speed_kmh\n0,10\n1,10\n9,10\n"))
    assert any("t.csv:4" in note and "gap of 8.0 s" in note for note in notes)


def test_clock_time_runs_over_midnight(tmp_path: Path) -> None:
    trace, _ = read_trace(csv(tmp_path, "time,speed_kmh\n23:59:59.5,10\n00:00:00.5,10\n00:00:01.5,10\n"))
    np.testing.assert_allclose(trace.time_s, [0.0, 1.0, 2.0])


def test_the_slope_comes_from_altitude(tmp_path: Path) -> None:
    rows = "".join(f"{t},36,{100 + 0.5 * t}\n" for t in range(60))  # 10 m/s, rising 0.5 m a second: 5 %
    trace, notes = read_trace(csv(tmp_path, "time_s,speed_kmh,altitude_m\n" + rows))
    assert trace.grade is not None
    np.testing.assert_allclose(trace.grade, 0.05, atol=1e-9)
    assert any("altitude" in note for note in notes)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time_s,speed_kmh\n0,0\n2,10\n1,20\n", ["t.csv:4", "time runs backwards", "time_s", '"1" after "2"']),
        ("time_s,speed_kmh\n0,0\n1,nan\n2,3\n", ["t.csv:3", '"speed_kmh"', '"nan"', "finite"]),
        ("time_s,speed_kmh\n0,0\n1,inf\n2,3\n", ["t.csv:3", '"speed_kmh"', "finite"]),
        ("time_s,speed_kmh\n0,0\n1,fast\n2,3\n", ["t.csv:3", '"speed_kmh"', '"fast"', "not a number"]),
        ("time_s,speed_kmh\n0,0\n,10\n2,3\n", ["t.csv:3", '"time_s"', "empty"]),
        ("time_s,speed_kmh\n0,0\nnan,10\n2,3\n", ["t.csv:3", '"time_s"', "finite"]),
        ("time_s,speed_kmh\n0,0\n1,2,3\n2,3\n", ["t.csv:3", "3 fields where the header has 2"]),
        ("time_s,speed_kmh\n0,0\n1,900\n2,3\n", ["t.csv:3", '"speed_kmh"', '"900"', "cannot be right"]),
        ("time_s,speed_kmh\n0,0\n1,-20\n2,3\n", ["t.csv:3", '"speed_kmh"', "cannot be right"]),
        ("time_s,rpm\n0,0\n1,900\n", ["t.csv:1", "no column for speed_kmh", '"rpm"']),
        ("speed_kmh,rpm\n0,0\n1,900\n", ["t.csv:1", "no column for time_s"]),
        ("time_s,speed_kmh\n0,0\n", ["t.csv", "one row of data", "at least 2"]),
        ("time_s,speed_kmh\n", ["t.csv", "no row of data"]),
        ("", ["t.csv", "the file is empty"]),
        ("1,2,3\n4,5,6\n", ["t.csv:1", "no header row"]),
        ("time_s,speed_kmh\n1,2\n1,3\n1,4\n", ["t.csv", "does not advance"]),
        ("time_s,speed_kmh\n1,\n2,\n", ["t.csv", '"speed_kmh" is empty all the way down']),
        ("time,speed_kmh\n10:61:00,2\n10:62:00,3\n", ["t.csv:2", "no time of day"]),
        ('time_s,speed_kmh\n0,0\n1,"5\n2,3\n3,4\n', ["t.csv:3", "quotation mark"]),
        ("time_s,speed_kmh,boost\n0,0,5\n1,3,6\n", ["t.csv", '"boost" names no unit', "gauge or absolute"]),
        (b"\xff\xfet\x00", ["t.csv", "UTF-16"]),
        (b"time_s,speed_kmh\n0,0\n1,\x00\n", ["t.csv:3", "zero bytes"]),
        ("time_s,speed_kmh,throttle_pct\n0,0,20\n1,3,140\n", ["t.csv:3", '"throttle_pct"', "cannot be right"]),
    ],
)
def test_a_bad_trace_is_refused_with_row_and_column(tmp_path: Path, text: str | bytes, words: list[str]) -> None:
    said = fault(csv(tmp_path, text))
    assert all(word in said for word in words), said


def test_a_giant_file_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    with path.open("wb") as file:
        file.truncate(1_000_000_000)
    assert "over the limit of 50 MB" in fault(path)


def test_a_trace_too_long_for_a_drive_is_refused(tmp_path: Path) -> None:
    path = csv(tmp_path, "time_s,speed_kmh\n0,50\n10000000,50\n")
    with pytest.raises(BadInput, match="over the limit of 200000 s"):
        load_drive(path)


class TestMapping:
    """The columns of a drive file: our name -> header, or a beginning of it that fits only one, with rescaling."""

    TEXT = "Clock,GPS km/h,Pedal D,Pedal E\n0,10,14.1,0\n1,10,57.05,0\n2,10,100,0\n"

    def test_rescaling_and_prefix(self, tmp_path: Path) -> None:
        columns = {
            "time_s": "Cl",
            "speed_kmh": "GPS",
            "pedal_pct": ColumnSpec.model_validate({"header": "Pedal D", "from": (14.1, 100.0), "to": (0.0, 100.0)}),
        }
        trace, _ = read_trace(csv(tmp_path, self.TEXT), columns)
        assert trace.pedal is not None
        np.testing.assert_allclose(trace.pedal, [0.0, 0.5, 1.0])

    @pytest.mark.parametrize(
        ("columns", "words"),
        [
            ({"speed_kmh": "Pedal"}, ["columns.speed_kmh", "fits 2 headers", "Pedal D, Pedal E"]),
            ({"speed_kmh": "GPS mh"}, ["columns.speed_kmh", "not in the file", 'did you mean "GPS km/h"']),
            ({"sped_kmh": "GPS"}, ["columns.sped_kmh", "not a column of ours", 'did you mean "speed_kmh"']),
            ({"speed_kmh": ColumnSpec(header="GPS", unit="knots")}, ["columns.speed_kmh", '"knots"', "mph"]),
            (
                {"pedal_pct": ColumnSpec.model_validate({"header": "Pedal D", "from": (1, 2)})},
                ["only one of from and to"],
            ),
        ],
    )
    def test_faults(self, tmp_path: Path, columns: dict[str, str | ColumnSpec], words: list[str]) -> None:
        said = fault(csv(tmp_path, self.TEXT), columns)
        assert all(word in said for word in words), said

    def test_in_a_drive_file_the_fault_names_the_drive_file(self, tmp_path: Path) -> None:
        csv(tmp_path, self.TEXT)
        drive = csv(
            tmp_path,
            '[drive]\nname = "x"\n[[phase]]\ndo = "trace"\nfile = "t.csv"\n[phase.columns]\nspeed_kmh = "Speed"\n',
            "x.toml",
        )
        with pytest.raises(BadInput) as caught:
            load_drive(drive)
        assert "x.toml:7: phase[1].columns.speed_kmh" in caught.value.faults[0]


def test_the_digest_follows_the_trace(tmp_path: Path) -> None:
    first = load_drive(csv(tmp_path, PLAIN)).digest
    assert load_drive(csv(tmp_path, PLAIN.replace("72", "73"))).digest != first
    assert load_drive(csv(tmp_path, PLAIN.replace("\n", "\r\n"))).digest == first


def test_our_own_trace_reads_back_as_a_log(tmp_path: Path) -> None:
    names = (
        "time_s,phase,speed_kmh,pedal_pct,throttle_pct,rpm,map_kpa,air_flow_g_s,ambient_c,bay_c,charger_out_c,iat_c,probe_c,"
        "core_metal_c,coolant_into_core_c,coolant_out_of_core_c,coolant_into_front_c,coolant_out_of_front_c,tank_c,duty_pct,"
        "supply_v,pump_v,pump_a,pump_rpm,flow_l_min,pump_w,resistor_w,heat_from_air_w,heat_to_outside_w"
    )
    row = "cruise,72,10,12,2000,120,30,20,45,60,31,32,30,25,26,26,25,25,50,13.8,7,2,3000,8,14,0,500,500"
    log = read_log(csv(tmp_path, f"{names}\n0.0,{row}\n0.1,{row}\n"))
    got = {key: float(values[0]) for key, values in log.values.items()}
    expected = {
        "speed": 20.0, "pedal": 0.1, "throttle": 0.12, "rpm": 2000.0, "map": 120e3, "air_flow": 0.03, "ambient": 293.15,
        "bay": 318.15, "charger_out": 333.15, "iat": 304.15, "core_metal": 303.15, "loop_coolant": 298.15,
        "coolant_out_of_core": 299.15, "duty": 0.5, "supply": 13.8, "pump_voltage": 7.0, "pump_current": 2.0,
        "flow": 8 / 60000,
    }  # fmt: skip
    assert got == pytest.approx(expected)


ENGINE = "time_s,rpm,map_kpa,throttle_pct\n" + "".join(f"{t},2000,90,20\n" for t in range(20))


def test_engine_speed_and_pressure_do_without_a_speed(tmp_path: Path) -> None:
    trace, _ = read_trace(csv(tmp_path, ENGINE))
    assert trace.speed_m_s is None and trace.gear is None and trace.rpm is not None
    said, _ = read_trace(csv(tmp_path, ENGINE.replace("throttle_pct", "Gear").replace(",20\n", ",4\n")))
    assert said.gear is not None and said.gear[0] == 4.0
    letters, _ = read_trace(csv(tmp_path, ENGINE.replace("throttle_pct", "Gear").replace(",20\n", ",D\n")))
    assert letters.gear is None


def test_a_speed_for_the_whole_recording_is_given_with_its_phase(tmp_path: Path) -> None:
    csv(tmp_path, ENGINE)
    text = '[drive]\nname = "dyno"\n[[phase]]\ndo = "trace"\nfile = "t.csv"\nspeed_kmh = 36\n'
    drive = load_drive(csv(tmp_path, text, "d.toml"))
    np.testing.assert_allclose(drive.traces["t.csv"].road_speed_m_s, 10.0)
    twice = text + '[[phase]]\ndo = "trace"\nfile = "t.csv"\nspeed_kmh = 0\n'
    with pytest.raises(BadInput, match=r"phase\[2\].speed_kmh"):
        load_drive(csv(tmp_path, twice, "d.toml"))
    csv(tmp_path, ENGINE.replace("throttle_pct", "speed_kmh"))
    with pytest.raises(BadInput, match="has a speed of its own"):
        load_drive(csv(tmp_path, text, "d.toml"))


def test_neither_speed_nor_an_engine_to_play_is_refused(tmp_path: Path) -> None:
    said = fault(csv(tmp_path, ENGINE.replace("rpm", "oil")))
    assert "no column for speed_kmh, nor for rpm" in said and '"oil"' in said
