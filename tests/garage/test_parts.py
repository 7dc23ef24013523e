"""What parts buy: each part changes what it says, differences are paired and honest, absolutes stand first."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from typer.testing import CliRunner

from arena.cli import app
from arena.contest.run import Contestant
from arena.contest.tournament import make_plan
from arena.contest.worlds import Plan
from arena.errors import BadInput
from arena.garage.part_figures import Change, PartsResult, _absolute, interval, verdict
from arena.garage.part_list import PARTS, PRESENT, Part, both, fits, second_pump
from arena.garage.part_rig import TRIED, around, rig_of, tuned_on
from arena.garage.parts import what_parts_buy
from arena.garage.sensitivity import changed, ranges, sensitivity
from arena.garage.wiring import BenchPump
from arena.plant.numbers import CarNumbers
from arena.report.garage_pictures import write_parts
from arena.report.parts_text import parts_document, sensitivity_document, show_parts, show_sensitivity
from arena.strategies import shipped

SEASON = """[season]
name = "short"
summary = "hills and cold starts, for tests"
source = "invented"
target_c = 30
limit_c = 45
band_k = 3
[prices]
tracking_per_k_h = 0.1
wear_per_h = 0.04
energy_per_kwh = 0.95
[[outing]]
drive = "cold-start"
climate = "winter"
per_year = 50
[[outing]]
drive = "hill-pulls"
climate = "hot"
per_year = 20
"""
BY_NAME = {p.name: p for p in PARTS}
FEW = tuple(BY_NAME[n] for n in ("front-50", "core-50", "second-pump", "glycol-25"))


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    path = tmp_path_factory.mktemp("season") / "short.toml"
    path.write_text(SEASON, encoding="utf-8")
    return make_plan(str(path), "invented-2200", 1, 0.1)


@pytest.fixture(scope="module")
def found(plan: Plan) -> PartsResult:
    return what_parts_buy(plan, parts=FEW, strategies=("proportional",), replicates=3, pairs=1, pump_life_h=3000.0)


@pytest.mark.parametrize("part", PARTS, ids=lambda p: p.name)
def test_a_part_changes_something_and_nothing_it_should_not(part: Part) -> None:
    car = CarNumbers()
    after = part.change(car)
    assert after != car and part.assumed
    assert (after.engine, after.body, after.supply, after.control) == (car.engine, car.body, car.supply, car.control)
    assert PRESENT.change(car) == car


def test_parts_of_the_issue_are_all_there() -> None:
    grown = {n: BY_NAME[n].change(CarNumbers()) for n in BY_NAME}
    assert grown["front-25"].front.face_m2 == pytest.approx(0.15 * 1.25)
    assert grown["front-50"].front.air_ha_w_k == pytest.approx(900 * 1.5)
    litres = [grown[f"coolant-{n}"].loop.tank_m3 - 2e-3 for n in (1, 2, 4)]
    assert litres == pytest.approx([1e-3, 2e-3, 4e-3])
    assert grown["fast-probe"].probe.tau_s == 2.0 and grown["fan"].front.fan_m_s == pytest.approx(2.5)
    assert (
        grown["hose-foam"].loop.hose_ua_w_m_k < 0.85
        and grown["pipe-foam"].core.pipe_ua_w_k < 1.5
        and grown["glycol-50"].loop.glycol_volume_fraction == 0.5
    )
    bare = replace(CarNumbers(), loop=replace(CarNumbers().loop, tank="none", tank_m3=0.0))
    assert BY_NAME["coolant-2"].change(bare).loop.extra_m3 == pytest.approx(2e-3)


def test_second_pump_is_two_like_motors_side_by_side_and_two_heads_one_behind_the_other() -> None:
    # On a loop of double the loss two pumps in series run as one on the single loop: same flow, twice the current.
    one = replace(CarNumbers(), supply=replace(CarNumbers().supply, lead_ohm=0.0))
    stiff = replace(one, pump=replace(one.pump, system_pa=2.0 * one.pump.system_pa))
    single, double = BenchPump(one).at(13.8), BenchPump(second_pump(stiff)).at(13.8)
    assert double.flow_l_min == pytest.approx(single.flow_l_min, rel=2e-3)
    assert double.current_a == pytest.approx(2.0 * single.current_a, rel=2e-3)
    assert double.speed_rpm == pytest.approx(single.speed_rpm, rel=2e-3)


def test_antifreeze_that_would_freeze_or_is_there_already_is_left_out(plan: Plan) -> None:
    car = CarNumbers()
    assert "freezes at" in fits(BY_NAME["glycol-25"], car, 253.15)
    assert fits(BY_NAME["glycol-25"], car, 270.0) == ""
    half = replace(car, loop=replace(car.loop, glycol_volume_fraction=0.5))
    assert "already" in fits(BY_NAME["glycol-50"], half, 270.0)


def test_absolutes_come_first_and_add_up(found: PartsResult, capsys: pytest.CaptureFixture[str]) -> None:
    on, best, off = found.absolutes
    assert (on.contestant, best.contestant, off.contestant) == ("always-on", "best: proportional", "always-off")
    assert off.figures["pump_hours"] == 0.0 and off.years == (math.inf, math.inf, math.inf)
    assert on.figures["pump_hours"] > best.figures["pump_hours"] > 0.0
    assert on.years is not None and on.years[1] <= on.years[0] <= on.years[2]
    assert on.years[0] == pytest.approx(3000.0 / on.figures["wear_hours"])
    money = [a.tracking_money + a.wear_money + a.energy_money for a in found.absolutes]
    assert money[1] - money[0] == pytest.approx(found.control.mean) == pytest.approx(best.cost.mean)
    assert best.tracking_money == pytest.approx(0.1 * best.figures["tracking_k_h"])
    show_parts(found)
    text = capsys.readouterr().out
    assert text.index("A YEAR ON PRESENT HARDWARE") < text.index("WHAT BUYS MOST") < text.index("CHANGE IN FIGURES")
    assert "A dropping resistor gets hot" in text and not re.search(r"(?<![+])-0[.]00\b", text)
    assert found.verdict in text and "3000 h lasts" in text


def test_ranking_is_by_cost_with_paired_intervals(found: PartsResult) -> None:
    costs = [r.cost for r in found.results]
    assert costs == sorted(costs) and {r.part.name for r in found.results} == {p.name for p in FEW}
    base = found.absolutes[1].tracking_money + found.absolutes[1].wear_money + found.absolutes[1].energy_money
    for r in [*found.results, *found.pairs]:
        change = r.changes["cost"]
        assert change.low <= change.mean <= change.high and not r.failed
        assert r.cost - base == pytest.approx(change.mean, abs=1e-9)
        assert r.left_alone is not None and set(r.changes) >= {"hot_boost_k_h", "boost_p95_c", "fuel_ml", "wear_hours"}
    by_name = {r.part.name: r for r in found.results}
    # A larger core takes more heat out of the charge on boost; two pumps wear twice.
    assert by_name["core-50"].changes["boost_p95_c"].high < 0.0
    assert by_name["second-pump"].changes["fuel_ml"].mean > 0.0
    (pair,) = found.pairs
    assert "second-pump" not in pair.part.name and pair.part.family == "pair"


def test_the_same_plan_gives_the_same_numbers_on_one_worker_and_two(plan: Plan) -> None:
    def one(workers: int) -> str:
        result = what_parts_buy(
            plan, parts=FEW[:1], strategies=("proportional",), replicates=2, pairs=0, workers=workers
        )
        return json.dumps({**parts_document(result), "seconds": 0})

    assert one(1) == one(2)


def test_another_way_of_finding_the_best_control_can_be_plugged_in(plan: Plan) -> None:
    asked: list[str] = []

    def always_full(rig: object, part: Part, starts: object) -> tuple[Contestant, float]:
        asked.append(part.name)
        return Contestant("always-on", shipped()["always-on"]), 1.0

    result = what_parts_buy(
        plan, parts=FEW[:2], strategies=("proportional",), replicates=2, pairs=0, refine=always_full
    )
    assert asked == ["present", "front-50", "core-50"]
    assert result.control.mean == 0.0 and "no control is worth fitting" in result.verdict


def test_second_tuning_is_never_worse_than_the_present_cars_settings(plan: Plan) -> None:
    from arena.contest.pool import pool_of
    from arena.garage.part_rig import scores

    start = Contestant("proportional", shipped()["proportional"])
    with pool_of(1) as pool:
        rig = rig_of(plan, 1_000_000, pool)
        best, cost = tuned_on(rig, BY_NAME["core-50"], [start])
        (left,) = scores(rig, BY_NAME["core-50"], [start])
        (again,) = scores(rig, BY_NAME["core-50"], [best])
    assert cost <= left and again == pytest.approx(cost, rel=1e-12)


def test_candidates_lie_within_their_ranges_and_begin_with_the_start() -> None:
    starts = [Contestant(n, shipped()[n]) for n in ("proportional", "gated-table")]
    made = around(starts, 3)
    assert len(made) <= TRIED and [c.settings for c in around(starts, 3)] == [c.settings for c in made]
    assert dict(made[0].settings) == shipped()["proportional"].defaults()
    for c in made:
        for s in c.strategy.settings:
            assert s.low <= c.settings[s.name] <= s.high


def test_interval_is_students() -> None:
    # Student's t, 2 degrees of freedom, 97.5 %: 4.303 (tables).
    change = interval(np.array([1.0, 2.0, 3.0]))
    assert (change.mean, change.high - change.mean) == pytest.approx((2.0, 4.303 / 3**0.5), rel=1e-3)
    assert math.isnan(interval(np.array([1.0])).low)


def test_own_price_and_life_set_the_price_of_wear(plan: Plan) -> None:
    result = what_parts_buy(
        plan, parts=(), strategies=("proportional",), replicates=1, pairs=0, pump_life_h=1000.0, pump_price=500.0
    )
    on = result.absolutes[0]
    assert result.prices["wear_per_h"] == 0.5 and on.wear_money == pytest.approx(0.5 * on.figures["wear_hours"])
    assert verdict(result).startswith("Control: ") and "Hardware" not in verdict(result)
    said = verdict(result)
    assert "(no interval; " in said and said.endswith(
        "One world gives no interval: whether that is more than chance cannot be told."
    )
    assert "nan" not in said and "one world gives no interval" in result.notes


def test_one_world_gives_no_interval_and_no_certainty(found: PartsResult) -> None:
    def alone(change: Change) -> Change:
        return Change(change.mean, math.nan, math.nan)

    results = tuple(replace(r, changes={n: alone(c) for n, c in r.changes.items()}) for r in found.results)
    said = verdict(replace(found, control=alone(found.control), results=results))
    top = found.results[0]
    assert (
        f"in the one world played most was bought by {top.part.words}, {-top.changes['cost'].mean:.1f} a year" in said
    )
    assert "nan" not in said and "no control is worth fitting" not in said and "Worth it" not in said


def test_a_failed_reference_is_no_sound_year(
    found: PartsResult, plan: Plan, capsys: pytest.CaptureFixture[str], conforms: Callable[[str, object], None]
) -> None:
    table = found.tables["present"]
    reasons = table.failed.copy()
    reasons[3, 0, 0] = "coolant boiled in the core"
    off = _absolute(plan, replace(table, failed=reasons), 3, "always-off", np.ones(3), 3000.0)
    assert off.failed == "coolant boiled in the core" and not any(a.failed for a in found.absolutes)
    broken = replace(found, absolutes=(*found.absolutes[:2], off))
    show_parts(broken)
    printed = capsys.readouterr().out
    row = next(line for line in printed.splitlines() if line.startswith("always-off "))
    assert row.split() == ["always-off", "FAILED", *"-" * 7], "no figure of a year that was not driven to its end"
    assert "always-off FAILED: coolant boiled in the core." in printed and "always-off: a pump rated" not in printed
    assert verdict(broken) == verdict(found), "what control buys is from always-on to the best"
    document = parts_document(broken)
    conforms("parts", document)
    assert [a["failed"] for a in document["absolutes"]] == [None, None, "coolant boiled in the core"]
    first = replace(found.absolutes[0], failed="pump ran dry")
    broken = replace(found, absolutes=(first, *found.absolutes[1:]))
    assert verdict(broken).startswith("Control: what it saves cannot be told, since always-on FAILED: pump ran dry.")
    assert "than control buys" in verdict(found) and "than control buys" not in verdict(broken)
    show_parts(broken)
    assert re.search(r"control itself, from always-on +FAILED .* pump ran dry", capsys.readouterr().out)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--replicates", "0"), "--replicates"), (("--pump-life-h", "0"), "--pump-life-h"),
        (("--pump-price", "9"), "needs --pump-life-h"), (("--sensitivity", "--spread", "0"), "--sensitivity"),
        (("no-such-season",), "no-such-season"),
    ],
)  # fmt: skip
def test_odd_options_are_refused(options: tuple[str, ...], words: str) -> None:
    got = CliRunner().invoke(app, ["parts", *options])
    assert isinstance(got.exception, BadInput) and words in got.exception.faults[0] and got.stdout == ""


def test_plot_and_document(found: PartsResult, tmp_path: Path, conforms: Callable[[str, object], None]) -> None:
    write_parts(found, tmp_path / "parts.svg")
    root = ElementTree.parse(tmp_path / "parts.svg").getroot()
    words = [t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}text")]
    for r in [*found.results, *found.pairs]:
        assert r.part.words in words
    document = json.loads(json.dumps(parts_document(found)))
    conforms("parts", document)
    assert [p["name"] for p in document["parts"]] == [r.part.name for r in found.results]
    assert document["parts"][0]["changes"]["hot_boost_k_h"].keys() == {"change", "low", "high"}


def test_sensitivity_varies_what_the_worlds_vary(plan: Plan) -> None:
    bounds = ranges(plan)
    assert len(bounds) == 17 and all(low < high for _, low, high in bounds)
    middle = np.array([0.5 * (low + high) for _, low, high in bounds])
    same = changed(plan.car.numbers(), bounds, middle)
    assert same.core.air_ha_w_k == pytest.approx(plan.car.numbers().core.air_ha_w_k)
    top = changed(plan.car.numbers(), bounds, np.array([high for *_, high in bounds]))
    assert top.charger.efficiency > same.charger.efficiency and top.engine == same.engine


def test_sensitivity_gives_shares_with_intervals(
    plan: Plan, conforms: Callable[[str, object], None], capsys: pytest.CaptureFixture[str]
) -> None:
    best = Contestant("proportional", shipped()["proportional"])
    got = sensitivity(plan, best, workers=1, samples=2)
    assert sensitivity(plan, best, workers=2, samples=2) == got
    conforms("parts#/properties/sensitivity", sensitivity_document(got))
    assert got.cars == 2 * 19 and set(got.outings) == {"cold-start/winter", "hill-pulls/hot"}
    for answer in got.answers:
        totals = [s.total for s in got.shares[answer]]
        assert totals == sorted(totals, reverse=True) and len(totals) == 17
        assert got.deviations[answer] > 0.0
    show_sensitivity(got)
    printed = capsys.readouterr().out
    assert all(f"{a}: {got.means[a]:.1f} money a year" in printed for a in got.answers)
    assert all(got.shares[a][0].name in printed for a in got.answers) and f"({got.cars} cars" in printed


def test_a_pair_is_both() -> None:
    pair = both(BY_NAME["front-50"], BY_NAME["second-pump"])
    car = CarNumbers()
    assert pair.change(car) == second_pump(BY_NAME["front-50"].change(car)) and pair.pumps == 2
    assert pair.name == "front-50+second-pump"


def test_help_has_an_example() -> None:
    for command in ("parts", "wiring"):
        assert "Example: arena" in CliRunner().invoke(app, [command, "--help"]).stdout
