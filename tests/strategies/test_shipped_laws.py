"""What each shipped law does, asked tick by tick without a car."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import pytest

from arena.contest import floor_law, foresight_law
from arena.garage import replayed_duty
from arena.strategies import shipped
from arena.strategies.base import LANES
from arena.strategies.contract import ask, cells_of


def asked(name: str, rows: Sequence[Sequence[float]], **settings: float) -> list[float]:
    """Duties of a shipped strategy over rows of its senses, without a time: that is put in at 10 Hz."""
    strategy = shipped()[name]
    made = strategy.make_settings(settings)
    cells, memory, out = cells_of(strategy, made), strategy.memory, []
    for tick, row in enumerate(rows):
        senses = (*row, 0.1 * tick) if "time_s" in strategy.senses else tuple(row)
        duty, memory = ask(strategy, senses, made, memory, cells)
        out.append(duty)
    return out


def test_the_switch_knows_off_and_full_only_and_holds_its_hysteresis() -> None:
    rows = [(iat,) for iat in (30.0, 36.0, 35.9, 33.0, 32.1, 31.9, 35.9, 36.0)]
    assert asked("hysteresis-switch", rows, on_c=36, hysteresis_k=4, starts_per_hour=600)[:5] == [0, 1, 1, 1, 1]
    long = [(31.9,)] * 61
    assert asked("hysteresis-switch", rows[:2] + long, on_c=36, hysteresis_k=4, starts_per_hour=600)[-1] == 0.0


@pytest.mark.parametrize("limit", [6, 30, 120])
def test_the_switch_keeps_to_its_starts_an_hour_and_never_holds_back_a_start(limit: int) -> None:
    hours = 2
    rows = [(40.0 if tick // 10 % 2 else 20.0,) for tick in range(hours * 36000)]  # hot and cold every other second
    duties = asked("hysteresis-switch", rows, on_c=36, hysteresis_k=4, starts_per_hour=limit)
    starts = sum(a == 0.0 and b > 0.0 for a, b in itertools.pairwise(duties))
    assert 0.8 * limit * hours <= starts <= limit * hours
    assert all(duty == 1.0 for duty, (iat,) in zip(duties, rows, strict=True) if iat >= 36.0)


def test_three_speeds_come_one_after_the_other_and_go_back_the_same_way() -> None:
    up = [(float(iat),) for iat in range(25, 51)]
    duties = asked("three-speed", up, low_on_c=30, middle_on_c=38, full_on_c=45, hysteresis_k=3)
    assert [duties[iat - 25] for iat in (29, 30, 37, 38, 44, 45)] == [0.0, 0.5, 0.5, 0.75, 0.75, 1.0]
    down = asked("three-speed", up + up[::-1], low_on_c=30, middle_on_c=38, full_on_c=45, hysteresis_k=3)[26:]
    assert [down[50 - iat] for iat in (42, 41, 35, 34, 27, 26)] == [1.0, 0.75, 0.75, 0.5, 0.5, 0.0]


def test_three_speeds_are_put_in_order_whatever_is_typed() -> None:
    made = shipped()["three-speed"].make_settings(
        {"low_on_c": 50, "middle_on_c": 30, "full_on_c": 40, "low_ohm": 1.0, "middle_ohm": 2.0}
    )
    assert made.low_on_c <= made.middle_on_c <= made.full_on_c
    assert made.middle_ohm <= made.low_ohm


def test_pi_brings_a_lagging_charge_to_its_target() -> None:
    strategy = shipped()["pi-forward"]
    made = strategy.make_settings({"target_c": 34, "gain_pct_k": 4, "reset_s": 60})
    memory, iat = strategy.memory, 34.0
    seen = []
    for tick in range(18000):  # a charge that settles 25 K over ambient without a pump and 5 K with it, in 40 s
        duty, memory = ask(strategy, (iat, 0.0, 0.1 * tick), made, memory)
        iat += 0.1 / 40.0 * (20.0 + 25.0 - 20.0 * duty - iat)
        seen.append(iat)
    assert abs(sum(seen[-6000:]) / 6000 - 34.0) < 0.3


def test_pi_does_not_wind_up() -> None:
    hot, cool = [(60.0, 0.0)] * 6000, [(33.0, 0.0)] * 300
    duties = asked("pi-forward", hot + cool, target_c=34, gain_pct_k=4, reset_s=30)
    assert duties[5999] == 1.0
    back = next(k for k, duty in enumerate(duties[6000:]) if duty < 1.0)
    assert back < 10, f"a second under the target after ten minutes over it, and still full after {0.1 * back:.0f} s"
    cold, warm = [(5.0, 0.0)] * 6000, [(40.0, 0.0)] * 300
    duties = asked("pi-forward", cold + warm, target_c=34, gain_pct_k=8, reset_s=30)
    assert duties[5999] == 0.0
    assert duties[6000] > 0.0


def test_pi_opens_up_with_the_throttle_before_the_probe_has_moved() -> None:
    rows = [(35.0, 20.0)] * 20 + [(35.0, 100.0)] * 2
    duties = asked("pi-forward", rows, target_c=34, gain_pct_k=4, reset_s=300, forward_pct=50, gate_pct=40)
    assert duties[19] == 0.0
    assert duties[20] >= 0.5
    still = asked("pi-forward", rows, target_c=34, gain_pct_k=4, reset_s=300, forward_pct=0, gate_pct=40)
    assert still[20] == 0.0


def test_pi_on_cold_charge_stays_off_with_the_throttle_open() -> None:
    assert set(asked("pi-forward", [(5.0, 100.0)] * 600)) == {0.0}


def test_the_reserve_is_kept_until_called_for_then_full_then_settles() -> None:
    rows = [(36.0, 10.0)] * 50 + [(36.0, 90.0)] * 50 + [(36.0, 10.0)] * 150
    duties = asked("reserve-keeper", rows, call_pct=50, least_c=34, settle_s=10, settle_pct=40, guard_c=50)
    assert set(duties[:50]) == {0.0}
    assert set(duties[50:100]) == {1.0}
    assert set(duties[100:199]) == {0.4}
    assert set(duties[201:]) == {0.0}


def test_the_reserve_is_not_spent_on_cold_charge_and_the_guard_runs_without_a_call() -> None:
    assert set(asked("reserve-keeper", [(20.0, 100.0)] * 20, least_c=34)) == {0.0}
    rows = [(iat, 0.0) for iat in (40.0, 50.0, 48.0, 46.0, 70.0)]
    duties = asked("reserve-keeper", rows, guard_c=50, guard_span_k=10, hysteresis_k=3, settle_pct=40)
    assert duties == pytest.approx([0.0, 0.4, 0.4, 0.0, 1.0])


def test_always_on_is_full_and_always_off_is_off() -> None:
    assert asked("always-on", [()]) == [1.0]
    assert asked("always-off", [()]) == [0.0]


def test_a_table_with_a_lowest_duty_is_off_below_it_and_stays_on_down_to_the_hysteresis() -> None:
    law, settings, memory = floor_law, floor_law.Settings(35.0, 5.0), floor_law.Memory(0.0)
    flat = [2.0, 2.0, 20.0, 60.0, 0.0, 100.0, 0.0, 0.0, 0.8, 0.8]  # duty rises from 0 at 20 to 0.8 at 60 degC
    cells = [0.0] * (LANES * len(flat))
    cells[::LANES] = flat
    out = []
    for iat in (30.0, 37.0, 38.0, 36.0, 35.1, 34.9, 36.0, 38.0, 60.0):  # table: 0.20 .34 .36 .32 .302 .298 .32 .36 .80
        duty, memory = law.duty(law.Sensed(iat, 50.0), settings, memory, cells, 0)
        out.append(duty)
    assert out == pytest.approx([0.0, 0.0, 0.36, 0.35, 0.35, 0.0, 0.0, 0.36, 0.80])
    assert law.duty(law.Sensed(10.0, 50.0), law.Settings(0.0, 5.0), law.Memory(1.0), cells, 0)[0] == 0.0


def test_a_schedule_and_a_log_are_played_as_they_were_written_down() -> None:
    schedule = [0.0, 0.0, 0.1, 0.2, 0.3]
    cells = [0.0] * (LANES * len(schedule))
    cells[::LANES] = schedule
    asked_for = [
        foresight_law.duty(
            foresight_law.Sensed(0.1 * tick), foresight_law.Settings(), foresight_law.Memory(), cells, 0
        )[0]
        for tick in range(3)
    ]
    assert asked_for == [0.1, 0.2, 0.3]
    law = replayed_duty.STRATEGY.law
    assert law(replayed_duty.Sensed(35.0), replayed_duty.Settings(), replayed_duty.Memory())[0] == pytest.approx(0.35)


@pytest.mark.parametrize("every", [1, 10, 20, 50])
def test_the_integral_grows_with_time_however_seldom_the_law_is_asked(every: int) -> None:
    """2 K over the target for 100 s with a reset time of 100 s: as much again as the gain gives at once, 8 %."""
    strategy = shipped()["pi-forward"]
    made = strategy.make_settings({"target_c": 40, "gain_pct_k": 4, "reset_s": 100, "forward_pct": 0})
    memory = strategy.memory
    for tick in range(0, 1001, every):
        _, memory = ask(strategy, (42.0, 0.0, 0.1 * tick), made, memory, None)
    assert memory.integral == pytest.approx(0.08, rel=1e-9)
