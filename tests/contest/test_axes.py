"""Axes of a duty table: units, which way the temperature goes, the least running duty; how flat the score is around."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from arena.contest.aims import FLAT, PAIRS, Aim, aim_name, flat_span, frames_of
from arena.contest.axes import SENSES, Axes, Axis, axes_starter, default_axes, load_axes, metric
from arena.contest.comparing import Interval
from arena.errors import BadInput
from arena.plant.numbers import CarNumbers
from arena.scenario.derived import sure_duty


@pytest.mark.parametrize(
    ("heading", "given", "wanted"),
    [
        ("iat_f", 113.0, 45.0), ("coolant_f", 14.0, -10.0), ("ambient_f", 32.0, 0.0),
        ("map_psi", 14.695949, 101.325),  # one standard atmosphere
        ("speed_mph", 62.137119, 100.0),  # NIST SP 811, appendix B: 1 mi/h is 1.609344 km/h
        ("iat_c", 45.0, 45.0), ("map_kpa", 101.325, 101.325), ("throttle_pct", 50.0, 50.0), ("rpm", 3000.0, 3000.0),
    ],
)  # fmt: skip
def test_us_breakpoints_in_metric_units(heading: str, given: float, wanted: float) -> None:
    assert metric(heading, given) == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize(
    ("down", "across", "heat"),
    [("iat", "throttle", 0), ("throttle", "iat", 1), ("iat", "coolant", 0), ("coolant", "iat", 1),
     ("coolant", "map", 0), ("map", "coolant", 1)],
)  # fmt: skip
def test_the_pump_answers_to_the_charge_temperature_or_to_the_coolants(down: str, across: str, heat: int) -> None:
    axes = default_axes(down, across)
    assert axes.name == f"{down} by {across}"
    assert axes.heat == heat and axes.turned().heat == 1 - heat
    assert axes.turned().turned() == axes
    assert axes.shape == (len(SENSES[down].default), len(SENSES[across].default)) == axes.turned().shape[::-1]


@pytest.mark.parametrize(
    ("lowest", "step", "floor"),
    [(0.35, 0.01, 0.35), (0.351, 0.01, 0.36), (0.35, 0.1, 0.4), (0.3, 0.1, 0.3), (0.99, 0.25, 1.0), (1.0, 0.01, 1.0)],
)
def test_the_floor_is_the_next_duty_the_output_can_hold(lowest: float, step: float, floor: float) -> None:
    axes = replace(default_axes(), lowest_running=lowest, duty_step=step)
    assert axes.floor() == pytest.approx(floor, abs=1e-12)


def test_the_lowest_running_duty_comes_from_the_car_unless_it_is_given() -> None:
    car = CarNumbers()
    made = default_axes().for_car(car)
    assert made.lowest_running == sure_duty(car) and made.lowest_why
    given = replace(default_axes(), lowest_running=0.5)
    assert given.for_car(car) is given and not given.lowest_why


def test_an_axes_file_says_all_that_it_holds(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    text = axes_starter().replace("duty_step_pct = 1 ", "duty_step_pct = 5 ").replace("# lowest_pct", "lowest_pct")
    text = text.replace("hysteresis_pct = 10", "hysteresis_pct = 8").replace('"off"  ', '"as-read"  ')
    path.write_text(text, encoding="utf-8")
    made = load_axes(path)
    assert (made.duty_step, made.lowest_running, made.hysteresis) == pytest.approx((0.05, 0.35, 0.08))
    assert (made.reading, made.name, made.path) == ("as-read", "my-table", path)


@pytest.mark.parametrize(
    ("points", "fault"),
    [("[-40, 150]", ""), ("[-40.5, 150]", "reach beyond -40..150"), ("[-40, 150.5]", "reach beyond -40..150")],
)
def test_breakpoints_reach_to_the_ends_of_what_is_likely(tmp_path: Path, points: str, fault: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(axes_starter().replace("[10, 20, 25, 30, 35, 40, 45, 50, 55, 60]", points), encoding="utf-8")
    if not fault:
        assert load_axes(path).down.points == (-40.0, 150.0)
        return
    with pytest.raises(BadInput, match=fault):
        load_axes(path)


def test_a_hysteresis_as_large_as_the_lowest_duty_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    for lowest, fits in ((10, False), (11, True)):
        path.write_text(axes_starter().replace("# lowest_pct = 35", f"lowest_pct = {lowest}"), encoding="utf-8")
        if fits:
            assert load_axes(path).lowest_running == pytest.approx(0.11)
        else:
            with pytest.raises(BadInput, match="must be below"):
                load_axes(path)


def test_pairs_beside_the_one_given_have_the_same_output() -> None:
    mine = Axes("mine", Axis("throttle_pct", (0.0, 50.0)), Axis("iat_c", (20.0, 40.0)), 0.05, 0.4, 0.02, "as-read")
    frames = frames_of(mine)
    assert list(frames) == ["throttle by iat", *(f"{a} by {b}" for a, b in PAIRS if b != "throttle")]
    assert frames["throttle by iat"] is mine
    for name, axes in list(frames.items())[1:]:
        assert (axes.name, axes.duty_step, axes.lowest_running, axes.hysteresis, axes.reading) == (
            name, 0.05, 0.4, 0.02, "as-read",
        )  # fmt: skip
        assert (axes.down.sense.name, axes.across.sense.name) == tuple(name.split(" by "))


def aim(target: float, limit: float, high: float, failed: int = 0) -> Aim:
    nothing = Interval(0.0, 0.0, 0.0)
    return Aim(target, limit, nothing, Interval(0.5 * high, 0.0, high), nothing, nothing, failed, 0.0)


def test_a_target_is_flat_whose_difference_is_surely_small() -> None:
    assert aim(30.0, 45.0, 0.99 * FLAT).flat and not aim(30.0, 45.0, 1.01 * FLAT).flat
    assert not aim(30.0, 45.0, 0.0, failed=1).flat
    assert aim_name(30.0, 45.0) == "target 30, limit 45" and aim_name(29.5, 44.25) == "target 29.5, limit 44.25"


@pytest.mark.parametrize(
    ("flat", "wanted"),
    [
        ((1, 1, 1, 1, 1), (26.0, 34.0)),
        ((0, 1, 1, 1, 0), (28.0, 32.0)),
        ((1, 0, 1, 0, 1), (30.0, 30.0)),  # what is flat beyond a slope is no part of the same plain
        ((0, 0, 0, 1, 1), (30.0, 34.0)),  # the season's own is flat by definition
        ((1, 1, 0, 0, 0), (26.0, 30.0)),
    ],
)
def test_the_plain_reaches_from_the_seasons_own_as_far_as_it_is_flat(flat: Any, wanted: tuple[float, float]) -> None:
    targets = (26.0, 28.0, 30.0, 32.0, 34.0)
    aims = [aim(t, 45.0, 0.0 if f else 1.0) for t, f in zip(targets, flat, strict=True)]
    aims += [aim(30.0, 40.0, 0.0), aim(30.0, 50.0, 1.0), aim(26.0, 50.0, 0.0)]
    found = flat_span(aims[::-1], 30.0, 45.0)
    assert found == {"target_c": wanted, "limit_c": (40.0, 45.0)}
