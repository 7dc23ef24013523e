"""The wiring command: worked motor and resistor points, standard values, closed energy balances, cautions, refusals."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner
from wiring_builders import WORKED_CAR, ask, car_file, worked

from arena.cli import app
from arena.errors import BadInput
from arena.garage.bench_pump import BenchPump, Load, mean_squares
from arena.garage.conductors import AMPACITY_A, FUSES_A, ampacity_a, lead_advice
from arena.garage.standard_values import E12, E24, combinations, nearest, neighbours
from arena.garage.wiring import CAUTIONS, advise
from arena.garage.wiring_reasons import REASONS
from arena.plant.electrics import CLASS_5_OHM_KM, pwm_steady
from arena.plant.numbers import CarNumbers
from arena.scenario.car import load_car

# Motor 12 V, 0.6 ohm, 0.018 V s/rad, load 0.004 + 4e-7 w2 N m: closed-form quadratic, equal to a root finder to 1e-13.
RESISTOR = {  # series ohm: rad/s, rpm, A, motor V, resistor W, supply W
    0.0: (485.011, 4631.5, 5.44968, 12.000, 0.0, 65.396),
    0.5: (416.972, 3981.8, 4.08591, 9.9570, 8.3473, 49.031),
    1.0: (372.632, 3558.4, 3.30789, 8.6921, 10.9421, 39.695),
    2.0: (315.353, 3011.4, 2.43217, 7.1357, 11.8309, 29.186),
}
IDEAL_PWM = {0.75: (383.596, 3.49213, 31.429), 0.5: (271.375, 1.85876, 11.153), 0.25: (143.917, 0.68249, 2.048)}


def test_worked_resistor_points_through_the_command(tmp_path: Path) -> None:
    found = worked(tmp_path, *(x for r in RESISTOR for x in ("--resistor-ohm", str(r))))
    mine = [c for c in found["dropping"]["choices"] if c["row"] == "yours"]
    assert [c["combination"]["ohm"] for c in mine] == list(RESISTOR)
    for choice, (w, rpm, amps, volts, resistor, supply) in zip(mine, RESISTOR.values(), strict=True):
        (p,) = choice["points"]
        assert p["supply_v"] == 12.0
        assert (p["speed_rad_s"], p["current_a"], p["motor_v"]) == pytest.approx((w, amps, volts), rel=2e-6, abs=5e-5)
        assert (p["speed_rpm"], p["resistor_w"], p["supply_w"]) == pytest.approx((rpm, resistor, supply), rel=2e-5)


def test_worked_standstill_and_no_load_through_the_command(tmp_path: Path) -> None:
    motor = worked(tmp_path)["motor"]
    assert motor["stall_current_a"] == pytest.approx([20.0], rel=1e-12)
    assert motor["stall_nm"] == pytest.approx(0.36, rel=1e-12)
    assert motor["no_load_rpm"] * 2 * math.pi / 60 == pytest.approx(666.67, abs=0.005)


def test_worked_pwm_points_through_the_command(tmp_path: Path) -> None:
    found = worked(tmp_path, *(x for d in IDEAL_PWM for x in ("--duty-pct", str(100 * d))))
    for row, (w, amps, watts) in zip(found["pulsing"]["rows"], IDEAL_PWM.values(), strict=True):
        smooth = (row["smooth_rpm"] * 2 * math.pi / 60, row["smooth_a"], row["smooth_supply_w"])
        assert smooth == pytest.approx((w, amps, watts), rel=1e-5, abs=6e-4)  # rows printed to 3 decimals
        # At 20 kHz and 50 mH hardly any ripple is left, and the row with ripple comes to the same.
        assert row["point"]["continuous"] is True
        rippled = (row["point"]["speed_rpm"] * 2 * math.pi / 60, row["point"]["current_a"], row["point"]["supply_w"])
        assert rippled == pytest.approx((w, amps, watts), rel=3e-4, abs=6e-4)


def test_worked_points_are_printed(tmp_path: Path) -> None:
    car = car_file(tmp_path, WORKED_CAR)
    text = ask("wiring", "--car", str(car), "--load-nm", "0.004,4e-7", "--at-v", "12", "--resistor-ohm", "1")
    row = next(line.split() for line in text.splitlines() if line.strip().startswith("1 ohm"))
    assert row == ["1", "ohm", "12", "V", "372.632", "3558.4", "3.30789", "8.6921", "10.9421", "39.695", "39.695"]


def test_the_same_motor_without_an_option_by_the_car_file_alone(tmp_path: Path) -> None:
    # With a loop whose loss goes with flow squared, hydraulic torque is c w2; the efficiency sets c.
    base = WORKED_CAR + "friction_nm = 0.004\nbreakaway_nm = 0.004\nsystem_exponent = 2\n"
    free = BenchPump(load_car(car_file(tmp_path, base)).numbers())
    share = (free.torque_nm(400.0) - 0.004) / 400.0**2 / 4e-7
    efficiency = free.car.pump.peak_hydraulic_efficiency * share
    car = load_car(car_file(tmp_path, base + f"hydraulic_efficiency = {efficiency!r}\n")).numbers()
    found = advise(car, supplies_v=(12.0,), mine_ohm=(1.0,), flow_l_min=4.0)
    assert found.dropping is not None
    point = found.dropping.choices[0].points[0]
    assert (point.speed_rad_s, point.current_a, point.resistor_w) == pytest.approx(
        (372.632, 3.30789, 10.9421), rel=1e-4
    )


@settings(max_examples=25, deadline=None)
@given(
    resistance=st.floats(0.3, 1.5),
    ke=st.floats(0.012, 0.035),
    brush=st.floats(0.0, 1.5),
    friction=st.floats(0.004, 0.02),
    lead=st.floats(0.0, 0.2),
    series=st.floats(0.0, 5.0),
    duty=st.floats(0.05, 1.0),
    hz=st.floats(50.0, 20000.0),
    volts=st.floats(9.0, 15.0),
)
def test_watts_close_in_every_row(
    resistance: float, ke: float, brush: float, friction: float, lead: float, series: float, duty: float, hz: float,
    volts: float,
) -> None:  # fmt: skip
    pump = BenchPump(changed(resistance_ohm=resistance, ke_v_s=ke, brush_v=brush, lead_ohm=lead), Load(friction, 4e-7))
    direct, pulsed = pump.at(volts, series), pump.pwm(volts, duty, hz)
    for p in (direct, pulsed):
        assert abs(p.balance_w) < 1e-6 * max(p.supply_w, 1.0)
    assert direct.supply_w == pytest.approx(volts * direct.current_a)
    spent = direct.resistor_w + direct.lead_w + direct.winding_w + direct.brush_w + direct.shaft_w
    assert spent == pytest.approx(direct.supply_w, rel=1e-6, abs=1e-9)
    assert pulsed.supply_a <= pulsed.current_a * (1 + 1e-12) and pulsed.rms_a >= pulsed.current_a * (1 - 1e-12)


def test_mean_square_against_a_worked_ripple_and_a_numeric_period() -> None:
    # Closed-form rows, confirmed by exact-exponential simulation: 12 V, 0.6 ohm, 0.2 mH, 1 kHz, half duty.
    for emf, hz, rms in ((0.0, 1000.0, 10.738), (4.0, 20000.0, 3.34035)):
        found = pwm_steady(12.0, emf, 0.6, 0.2e-3, hz, 0.5)
        assert math.sqrt(mean_squares(12.0, emf, 0.6, 0.2e-3, hz, 0.5, found)[0]) == pytest.approx(rms, rel=5e-5)
    resting = pwm_steady(12.0, 4.0, 0.6, 0.2e-3, 1000.0, 0.5)
    whole, drawn = mean_squares(12.0, 4.0, 0.6, 0.2e-3, 1000.0, 0.5, resting)
    current, square, on, steps = 0.0, 0.0, 0.0, 200_000
    for k in range(steps):
        volts = 12.0 if k < steps // 2 else 0.0
        after = current + (volts - 4.0 - 0.6 * current) / 0.2e-3 * (1e-3 / steps)
        after = max(after, 0.0)
        square += (0.5 * (current + after)) ** 2 / steps
        on += (0.5 * (current + after)) ** 2 / steps if k < steps // 2 else 0.0
        current = after
    assert (whole, drawn) == pytest.approx((square, on), rel=1e-4)


def test_solved_resistor_gives_the_wanted_flow() -> None:
    found = advise(CarNumbers(), flow_l_min=9.0)
    assert found.dropping is not None
    for w in found.dropping.wanted:
        assert w.point is not None and w.point.flow_l_min == pytest.approx(9.0, abs=1e-6)
    ohms = [w.ohm for w in found.dropping.wanted if w.ohm is not None]
    assert ohms == sorted(ohms) and len(ohms) == 3
    for c in found.dropping.choices:
        assert c.combination.ohm == pytest.approx(ohms[1], rel=0.25) or c.row == "starts"
        assert c.rating_w is not None and c.surface_stall_c is not None and c.surface_stall_c <= 250.0
        assert c.shorted_w >= c.stall_w >= max(p.resistor_w for p in c.points)


def test_a_resistor_too_large_to_start_through_is_said() -> None:
    found = advise(CarNumbers(), flow_l_min=6.0).dropping
    assert found is not None
    singles = {c.row: c for c in found.choices if c.combination.how == "single"}
    assert not singles["E12"].starts and singles["starts"].starts
    assert singles["starts"].combination.ohm <= found.most_ohm_that_starts < singles["E12"].combination.ohm
    pump = BenchPump(CarNumbers())
    assert pump.stall_a(12.6, found.most_ohm_that_starts) == pytest.approx(pump.start_a)
    assert "STARTING" in ask("wiring")


def test_preferred_numbers_follow_their_rule() -> None:
    # IEC 60063: E24 is 10^(k/24) rounded to two digits, but for 2.7 to 4.7 and 8.2, which are a step off by tradition.
    rounded = [round(10 ** (k / 24), 1) for k in range(24)]
    off = {2.6: 2.7, 2.9: 3.0, 3.2: 3.3, 3.5: 3.6, 3.8: 3.9, 4.2: 4.3, 4.6: 4.7, 8.3: 8.2}
    assert tuple(off.get(v, v) for v in rounded) == E24
    assert E12 == (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)


@given(st.floats(0.11, 90.0))
def test_nearest_value_has_no_nearer_one(ohm: float) -> None:
    every = [v * 10.0**d for v in E24 for d in range(-2, 3)]
    best = min(every, key=lambda v: abs(math.log(v / ohm)))
    assert nearest(ohm, "E24") == pytest.approx(best) or abs(math.log(nearest(ohm, "E24") / ohm)) == pytest.approx(
        abs(math.log(best / ohm))
    )
    low, high = neighbours(ohm, "E12")
    assert low <= ohm * (1 + 1e-8) and high >= ohm * (1 - 1e-8)


@pytest.mark.parametrize("how", ["series", "parallel"])
def test_pairs_come_to_what_they_say(how: Any) -> None:
    for ohm in (0.35, 1.73, 6.4, 40.0):
        (best,) = combinations(ohm, "E24", how, 1)
        a, b = best.parts_ohm
        assert best.ohm == pytest.approx(a + b if how == "series" else 1 / (1 / a + 1 / b))
        assert abs(best.ohm / ohm - 1.0) < abs(nearest(ohm, "E24") / ohm - 1.0) + 2e-3
        watts = (a, b) if how == "series" else (1 / a, 1 / b)
        assert best.hotter_share == pytest.approx(max(watts) / sum(watts))


def test_conductors_of_iec_60228() -> None:
    # IEC 60228 class 5, plain copper, 20 degC, ohm/km, as printed by two cable makers.
    assert CLASS_5_OHM_KM == {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}
    found = lead_advice(3.0, 6.0, 20.0, 13.8, 60.0)
    row = next(s for s in found.sizes if s.area_mm2 == 1.5)
    assert 6.0 * row.ohm_20c == pytest.approx(0.4788, abs=5e-5)  # 1.5 mm2, 2 x 3 m, 6 A at 20 degC
    assert row.drop_v == pytest.approx(0.4788 * (1 + 0.00393 * (row.wire_c - 20.0)))


def test_ampacity_rule_meets_the_tables_own_factors() -> None:
    # Factors of the same table for a 70 degC conductor in hotter air, IEC 60204-1, from memory: 0.82 at 50, 0.58 at 60.
    for air, factor in ((50.0, 0.82), (60.0, 0.58)):
        assert math.sqrt((70.0 - air) / 30.0) == pytest.approx(factor, abs=0.006)
    assert all(ampacity_a(a, 130.0) == 0.0 for a in AMPACITY_A)
    assert ampacity_a(1.5, 60.0) > ampacity_a(1.5, 90.0)


@given(st.floats(0.5, 12.0), st.floats(1.2, 8.0), st.floats(0.5, 8.0))
def test_fuse_outlives_running_and_conductor_outlives_fuse(running: float, ratio: float, length: float) -> None:
    found = lead_advice(length, running, running * ratio, 14.4, 85.0)
    if found.fuse_a is not None:
        assert found.fuse_a in FUSES_A and found.fuse_a >= running / 0.75 - 1e-9
        held = found.stall_a >= 1.6 * found.fuse_a - 1e-9
        assert held or any("held" in note for note in found.notes)
    if found.area_mm2 is not None:
        used = next(s for s in found.sizes if s.area_mm2 == found.area_mm2)
        assert used.drop_v <= found.drop_limit_v and used.ampacity_a >= (found.fuse_a or running)
        smaller = [s for s in found.sizes if s.area_mm2 < found.area_mm2]
        assert all(s.drop_v > found.drop_limit_v or s.ampacity_a < (found.fuse_a or running) for s in smaller)


def test_frequency_window() -> None:
    pulses = advise(CarNumbers(), flow_l_min=6.0).pulsing
    assert pulses is not None and pulses.continuous_hz is not None and pulses.flow_duty is not None
    for row in pulses.frequencies:
        assert row.continuous == (row.hz >= pulses.continuous_hz)
    ripple = [row.ripple_a for row in pulses.frequencies]
    assert ripple == sorted(ripple, reverse=True)
    assert [r.heard for r in pulses.frequencies] == [r.hz < 20000.0 for r in pulses.frequencies]
    pump = BenchPump(CarNumbers())
    assert pump.pwm(13.8, pulses.flow_duty, 1000.0).flow_l_min == pytest.approx(6.0, abs=1e-3)
    assert pump.pwm(13.8, pulses.flow_duty * 0.99, 1000.0).flow_l_min < 6.0


def test_start_and_stall_duty_are_where_the_pump_starts_and_stops() -> None:
    pump = BenchPump(CarNumbers())
    for volts in (12.6, 14.4):
        start, stall = pump.start_duty(volts, 1000.0), pump.stall_duty(volts, 1000.0)
        assert start is not None and stall is not None and stall < start
        assert pump.pwm(volts, start + 1e-4, 1000.0).starts and not pump.pwm(volts, start - 1e-4, 1000.0).starts
        assert pump.pwm(volts, stall + 1e-3, 1000.0).speed_rpm > 0.0
        assert pump.pwm(volts, stall - 1e-3, 1000.0).speed_rpm == 0.0


def test_cautions_stand_in_every_output(tmp_path: Path) -> None:
    text, document = ask("wiring"), json.loads(ask("wiring", "--json"))
    drawing = tmp_path / "w.svg"
    ask("wiring", "--sketch", str(drawing))
    for caution in CAUTIONS:
        assert caution in text and caution in document["cautions"] and caution in svg_words(drawing)
    for word in ("hot and under pressure", "start a fire", "flyback", "run dry", "boil", "cylinders", "only when cold",
                 "must mean full pump", "no knock protection", "while driving", "road-worthiness"):  # fmt: skip
        assert word in " ".join(CAUTIONS)


def test_every_number_has_a_formula_and_a_source(conforms: Callable[[str, Any], None]) -> None:
    names: set[str] = set()

    def walk(value: Any, name: str) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(inner, key)
        elif isinstance(value, list):
            for inner in value:
                walk(inner, name)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            names.add(name)

    for extra in ((), ("--resistor-ohm", "1"), ("--flow-l-min", "12")):
        document = json.loads(ask("wiring", "--json", *extra))
        conforms("wiring", document)
        document.pop("explain"), document.pop("schema")
        walk(document, "")
    assert names - set(REASONS) == set() and len(names) > 60
    text = ask("wiring", "--explain")
    assert all(f"{name} = {REASONS[name].formula} [{REASONS[name].source}]" in text for name in names)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("friction_nm = 0.39\nbreakaway_nm = 0.4", "never turns"),
        ("rated_speed_rpm = 9000", "not below the speed without load"),
        ("max_head_kpa = 200\nmax_flow_l_min = 200", "water power"),
    ],
)
def test_a_pump_that_cannot_be_is_refused_with_the_reason(tmp_path: Path, line: str, reason: str) -> None:
    car = car_file(tmp_path, f'[car]\nname = "odd"\n[pump]\n{line}\n')
    found = CliRunner().invoke(app, ["wiring", "--car", str(car)])
    assert isinstance(found.exception, BadInput) and reason in " ".join(found.exception.faults)
    assert all(fault.startswith("odd: ") for fault in found.exception.faults)


@pytest.mark.parametrize(
    "options",
    [
        ("--flow-l-min", "40"),
        ("--flow-l-min", "nan"),
        ("--length-m", "0"),
        ("--at-v", "1"),
        ("--at-v", "13", "--at-v", "13"),
        ("--resistor-ohm", "-1"),
        ("--duty-pct", "120"),
        ("--bay-c", "300"),
        ("--load-nm", "heavy"),
        ("--load-nm", "-1,0"),
        ("--sketch", "/nowhere/at/all.svg"),
    ],
)
def test_odd_options_are_refused_naming_the_option(options: tuple[str, ...]) -> None:
    found = CliRunner().invoke(app, ["wiring", *options])
    assert isinstance(found.exception, BadInput) and options[0] in found.exception.faults[0] and found.exception.remedy
    assert found.stdout == ""


def test_signal_pump_gets_no_resistor_and_its_safe_level(tmp_path: Path) -> None:
    head = '[car]\nname = "s"\n[pump]\nkind = "signal"\nsignal_duty_pct = [0, 10, 90, 100]\n'
    car = load_car(car_file(tmp_path, f"{head}signal_speed_pct = [0, 0, 100, 100]\n")).numbers()
    for speeds, word in (
        ((0.0, 0.0, 1.0, 1.0), "HIGH = FULL"),
        ((1.0, 1.0, 0.0, 0.0), "LOW = FULL"),
        ((0.0, 1.0, 0.0, 0.0), "NEITHER"),
    ):
        found = advise(replace(car, pump=replace(car.pump, signal_speed=speeds)))
        assert found.dropping is None and found.pulsing is None and len(found.signal) == 11
        assert [f.kind for f in found.fail_on] == ["signal"] and word in found.fail_on[0].polarity
        assert found.fail_on[0].rests_full == (word != "NEITHER")
    flows = [r.flow_l_min for r in found.signal]
    assert max(flows) > 10.0 and flows[0] == 0.0
    assert found.signal_still == ((0.0, 0.0), (0.9, 1.0))


def test_each_arrangement_says_what_each_failure_does() -> None:
    for arrangement in advise(CarNumbers()).fail_on:
        events = " ".join(c.event for c in arrangement.cases)
        for word in ("resets", "cranking", "broken", "key off", "run-on"):
            assert word in events
        assert next(c for c in arrangement.cases if "resets" in c.event).pump == "FULL"
        assert arrangement.polarity and arrangement.not_covered


def test_sketch_is_a_drawing_with_the_values(tmp_path: Path) -> None:
    drawing = tmp_path / "wiring.svg"
    ask("wiring", "--sketch", str(drawing))
    words = svg_words(drawing)
    advice = advise(load_car("invented-2200").numbers())
    assert f"F1 {advice.leads.fuse_a:g} A" in words and f"{advice.leads.area_mm2:g} mm2 copper" in words
    assert "HOT" in words and "flyback" in words and "K1" in words
    assert list(tmp_path.iterdir()) == [drawing]
    first = drawing.read_bytes()
    ask("wiring", "--sketch", str(drawing))
    assert drawing.read_bytes() == first


@pytest.mark.parametrize(("speeds", "full"), [("[0, 100]", True), ("[0, 60]", False)])
def test_a_sketch_promises_full_pump_only_where_the_wiring_gives_it(tmp_path: Path, speeds: str, full: bool) -> None:
    head = '[car]\nname = "s"\n[pump]\nkind = "signal"\nsignal_duty_pct = [0, 100]\n'
    car, drawing = car_file(tmp_path, f"{head}signal_speed_pct = {speeds}\n"), tmp_path / "signal.svg"
    printed = ask("wiring", "--car", str(car), "--sketch", str(drawing))
    words = drawing.read_text(encoding="utf-8")
    assert ("lets go means full pump" in words) == full == ("\nFAIL-ON WIRING: " in printed)
    assert ("lets go does NOT mean full pump" in words) == (not full) == ("WIRING, NOT FAIL-ON: " in printed)
    assert "every failure" not in words


def changed(**values: float) -> CarNumbers:
    base = CarNumbers()
    lead = values.pop("lead_ohm", base.supply.lead_ohm)
    return replace(base, pump=replace(base.pump, **values), supply=replace(base.supply, lead_ohm=lead))


def svg_words(path: Path) -> str:
    root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
    return "\n".join(t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}text"))


def test_flow_rises_with_duty_at_every_supply() -> None:
    pulses = advise(CarNumbers()).pulsing
    assert pulses is not None
    table = np.array([row.flows_l_min for row in pulses.rows])
    assert (np.diff(table, axis=0) >= -1e-9).all() and (np.diff(table, axis=1) >= -1e-9).all()
