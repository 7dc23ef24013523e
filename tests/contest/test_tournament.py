"""The tournament keeps its promises: same bytes, known answers, interruption, failures shown."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from arena.contest.pool import Progress
from arena.contest.run import Contestant, lay_out
from arena.contest.standings import YARDSTICK, costs, rank
from arena.contest.tournament import climate_standings, entrants, hold_tournament, make_plan, rank_season
from arena.contest.tune import GENERATION, at_bound, rounded
from arena.errors import BadInput
from arena.plant.layout import LANES
from arena.report.terminal import ties
from arena.strategies import shipped
from arena.strategies.base import Setting


def read(folder: Path) -> dict[str, bytes]:
    """Everything whose bytes are promised."""
    names = [
        "standings.csv",
        "runs.csv",
        *(f"{d}/{p.name}" for d in ("settings", "tables", "tuning") for p in (folder / d).glob("*")),
    ]
    return {n: (folder / n).read_bytes() for n in sorted(names)}


@pytest.fixture(scope="module")
def whole(small_season: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("whole") / "r"
    hold_tournament(small_season, strategies=("two-speed", "proportional"), trials=32, replicates=3, workers=1, out=out)
    return out


def test_same_bytes_with_two_workers(small_season: Path, whole: Path, tmp_path: Path) -> None:
    hold_tournament(
        small_season, strategies=("two-speed", "proportional"), trials=32, replicates=3, workers=2, out=tmp_path / "r"
    )
    assert read(whole) == read(tmp_path / "r")


def test_another_seed_differs(small_season: Path, whole: Path, tmp_path: Path) -> None:
    hold_tournament(
        small_season, strategies=("two-speed", "proportional"), trials=0, replicates=3, seed=2, out=tmp_path / "r"
    )
    assert (whole / "runs.csv").read_bytes() != (tmp_path / "r" / "runs.csv").read_bytes()


def test_order_of_strategies_does_not_matter(small_season: Path) -> None:
    plan = make_plan(small_season)
    there = rank_season(plan, entrants(("two-speed", "proportional")), 2)
    back = rank_season(plan, entrants(("proportional", "two-speed")), 2)
    for line in there.standings.lines:
        assert line == back.standings.line(line.contestant)


def test_equal_budgets_and_tuning_never_worse_on_its_own_worlds(small_season: Path) -> None:
    result = hold_tournament(
        small_season, strategies=("two-speed", "proportional", "gated-table"), trials=32, replicates=2
    )
    assert set(result.train_scores) == {"two-speed", "proportional", "gated-table"}
    for name, score in result.train_scores.items():
        assert score <= result.default_train_scores[name]
        gap, fresh = result.gap(name), result.standings.line(name).score
        assert gap is not None
        assert fresh is not None
        assert gap == pytest.approx(fresh - score)


def test_the_yardstick_scores_one_and_always_off_has_no_place(small_season: Path) -> None:
    lines = rank_season(make_plan(small_season), entrants(), 2).standings.lines
    scores = {line.contestant: line for line in lines}
    assert scores[YARDSTICK].score == 1.0
    assert scores["always-off"].place is None
    assert not scores["always-off"].ranked


def test_a_handicapped_twin_ranks_below_and_a_copy_ties(small_season: Path) -> None:
    """20 % wasted energy: the runs of one contestant, its energy times 1.2; a copy is the same runs again."""
    plan = make_plan(small_season)
    strategy = shipped()["proportional"]
    names = ("proportional", "copy", "wasteful")
    found = rank_season(plan, [*entrants(("always-on",)), *(Contestant(n, strategy) for n in names)], 4)
    table = found.table
    wasted = table.values["energy_wh"].copy()
    wasted[table.index("wasteful")] *= 1.2
    standings = rank(replace(table, values={**table.values, "energy_wh": wasted}), plan.season, 1)
    line = standings.line("wasteful")
    assert line.place == 3
    assert line.tied_with == ()
    assert standings.line("copy").tied_with == ("proportional",)
    assert standings.line("copy").place == standings.line("proportional").place == 1
    (pair,) = ties(standings)  # told once, not from either side
    assert set(pair.split(":")[0].split(" = ")) == {"copy", "proportional"}
    shares = {(a, b): share for a, b, share in standings.beats}
    assert shares["proportional", "copy"] == 0.5
    assert shares["proportional", "wasteful"] == 1.0


def test_a_failed_run_is_failed_and_never_a_score(small_season: Path) -> None:
    plan = make_plan(small_season)
    found = rank_season(plan, entrants(("proportional",)), 2)
    failed = found.table.failed.copy()
    failed[found.table.index("proportional"), 0, 0] = "coolant boiled in the core"
    line = rank(replace(found.table, failed=failed), plan.season, 1).line("proportional")
    assert line.score is None
    assert line.place is None
    assert line.failed_runs == 1


def test_too_few_worlds_are_said_to_be_too_few(small_season: Path) -> None:
    assert any(
        "intervals" in n for n in rank_season(make_plan(small_season), entrants(("two-speed",)), 1).standings.notes
    )


def test_no_spread_narrows_the_intervals(small_season: Path) -> None:
    wide = rank_season(make_plan(small_season, spread=0.2), entrants(("proportional",)), 4).standings.line(
        "proportional"
    )
    narrow = rank_season(make_plan(small_season, spread=0.0), entrants(("proportional",)), 4).standings.line(
        "proportional"
    )
    assert wide.score_high is not None and wide.score_low is not None
    assert narrow.score_high is not None and narrow.score_low is not None
    assert wide.score_high - wide.score_low > narrow.score_high - narrow.score_low


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_killed_and_resumed_gives_the_same_bytes(small_season: Path, whole: Path, tmp_path: Path, share: float) -> None:
    """Interrupted after a share of its steps (2 generations, 3 worlds), then resumed."""
    steps = 0

    def stop_at(progress: Progress) -> None:
        nonlocal steps
        steps += 1
        if steps >= share * 5:
            raise KeyboardInterrupt

    out = tmp_path / "r"
    with pytest.raises(KeyboardInterrupt):
        hold_tournament(
            small_season, strategies=("two-speed", "proportional"), trials=32, replicates=3, out=out, tell=stop_at
        )
    assert not out.exists()
    again: list[Progress] = []
    hold_tournament(resume=out.with_name("r.partial"), tell=again.append)
    assert read(whole) == read(out)


def test_kill_9_leaves_a_partial_that_resumes(small_season: Path, whole: Path, tmp_path: Path) -> None:
    out = tmp_path / "r"
    words = ["tournament", str(small_season), "--strategy", "two-speed", "--strategy", "proportional", "--trials", "32"]
    child = subprocess.Popen(
        [sys.executable, "-m", "arena", *words, "--replicates", "3", "--out", str(out)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    until = time.monotonic() + 120
    partial = out.with_name("r.partial")
    while time.monotonic() < until and not list(partial.glob("tuning/*.json")):
        time.sleep(0.02)
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    assert partial.is_dir()
    hold_tournament(resume=partial)
    assert read(whole) == read(out)


def test_resume_refuses_changed_inputs(small_season: Path, tmp_path: Path) -> None:
    season = tmp_path / "s.toml"
    season.write_text(small_season.read_text(encoding="utf-8"), encoding="utf-8")

    def stop(progress: Progress) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        hold_tournament(season, strategies=("two-speed",), trials=0, replicates=2, out=tmp_path / "r", tell=stop)
    season.write_text(season.read_text(encoding="utf-8").replace("per_year = 20", "per_year = 21"), encoding="utf-8")
    with pytest.raises(BadInput, match="have changed"):
        hold_tournament(resume=tmp_path / "r.partial")


def test_an_existing_folder_is_never_written_over(small_season: Path, whole: Path) -> None:
    with pytest.raises(BadInput, match="already there"):
        hold_tournament(small_season, trials=0, out=whole)


def test_manifest_names_seed_versions_and_inputs(whole: Path) -> None:
    found = json.loads((whole / "manifest.json").read_text(encoding="utf-8"))
    assert found["request"]["seed"] == 1
    assert "numpy" in found["versions"]
    assert any(name.endswith("hill-pulls.toml") for name in found["files_sha256"])
    assert any(name.endswith("kit-2017-07-14.csv") for name in found["files_sha256"])


def test_lane_results_do_not_depend_on_the_width_of_the_batch(small_season: Path) -> None:
    plan = make_plan(small_season)
    some = [Contestant(f"p{k}", shipped()["proportional"], {"start_c": 28.0 + k}) for k in range(30)]
    few = rank_season(plan, [*entrants(("always-on",)), *some[:2]], 1).table
    many = rank_season(plan, [*entrants(("always-on",)), *some], 1).table
    for name in few.values:
        np.testing.assert_array_equal(few.values[name][few.index("p1")], many.values[name][many.index("p1")])


def test_settings_are_rounded_as_one_would_type_them() -> None:
    s = Setting("x", "degC", 10.0, 55.0, 30.0, "")
    assert rounded(s, 31.2374) == 31.2, "to the bit"
    assert rounded(Setting("x", "%", 0.0, 100.0, 30.0, ""), 53.3001) == 53.0
    assert rounded(Setting("x", "ohm", 0.05, 5.0, 1.0, ""), 0.123456) == 0.12
    assert rounded(s, 99.0) == 55.0
    assert at_bound(s, 10.2) == ["x at its lowest, 10 degC"]
    assert at_bound(s, 54.9) == ["x at its highest, 55 degC"]
    assert at_bound(s, 30.0) == at_bound(s, 10.5) == at_bound(s, 54.5) == [], "a hundredth of the range, 0.45, is near"


def test_generations_fill_the_lanes() -> None:
    assert LANES % GENERATION == 0
    with pytest.raises(ValueError, match="lanes"):
        lay_out([Contestant("p", shipped()["proportional"])] * (LANES + 1))


def test_entering_a_strategy_twice_is_refused() -> None:
    with pytest.raises(BadInput, match="twice"):
        entrants(("two-speed", "two-speed"))


def test_ctrl_c_is_answered_within_a_second(small_season: Path, tmp_path: Path) -> None:
    """While tuning, in a process of its own; what was finished stays in DIR.partial."""
    out = tmp_path / "r"
    child = subprocess.Popen(
        [sys.executable, "-m", "arena", "tournament", str(small_season), "--trials", "3200", "--out", str(out)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509  (run in the background, it is ignored)
    )  # fmt: skip
    until = time.monotonic() + 120
    while time.monotonic() < until and not list(out.with_name("r.partial").glob("tuning/*.json")):
        time.sleep(0.02)
    began = time.monotonic()
    child.send_signal(signal.SIGINT)
    stdout, stderr = child.communicate(timeout=30)
    took = time.monotonic() - began
    assert child.returncode == 130
    assert stdout == ""
    partial = out.with_name("r.partial")
    said = f"What was finished is kept in {partial}; go on with: arena tournament --resume {partial}"
    assert stderr.splitlines()[-2:] == ["interrupted", said]
    assert list(out.with_name("r.partial").glob("tuning/*.json"))
    assert took < 3.0, "a second on an idle machine; a busy one is given more"


def test_standings_of_one_climate_are_those_of_its_outings(small_season: Path) -> None:
    found = rank_season(make_plan(small_season), entrants(("two-speed", "proportional")), 3)
    each = climate_standings(found)
    assert list(each) == ["mild", "hot"]
    cost = costs(found.table, found.plan.season.prices, found.plan.season.wear).sum(axis=1)
    parts = [
        costs(found.table.only_entries(np.array(keep)), found.plan.season.prices, found.plan.season.wear).sum(axis=1)
        for keep in ([True, False], [False, True])
    ]
    np.testing.assert_allclose(parts[0] + parts[1], cost, rtol=1e-12)
    assert all(standings.line(YARDSTICK).score == 1.0 for standings in each.values() if standings)
    prices = replace(found.plan.season.prices, wear_per_h=0.0, energy_per_kwh=0.0)
    free = replace(found, plan=replace(found.plan, season=replace(found.plan.season, prices=prices)))
    free.table.values["tracking_k_h"][:, 1] = 0.0  # in the hot nobody is off the target
    mild, hot = climate_standings(free).values()
    assert mild is not None and hot is None, "where always-on costs nothing there is nothing to measure by"


def test_what_if_covers_every_price_and_the_corners_of_the_wear_law(small_season: Path) -> None:
    found = rank_season(make_plan(small_season), entrants(("two-speed", "proportional")), 2).standings.what_if
    words = [w.what for w in found]
    assert len(words) == 10
    assert {"tracking price halved", "wear price doubled", "energy price halved"} <= set(words)
    assert all(sorted(w.order) == sorted(found[0].order) for w in found)
    dear = next(w for w in found if w.what == "energy price doubled")
    cheap = next(w for w in found if w.what == "energy price halved")
    assert dear.scores != cheap.scores
