"""Health: flow or none is told from a short log with its evidence. Plan: safe pieces that leave less open."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import garage_builders as make
import pytest

from arena.garage import plan
from arena.garage.health import check_health
from arena.report.garage_text import show_health, show_plan

Conforms = Callable[[str, Any], None]


def stepped(folder: Path, flow_share: float) -> Path:
    """A log of the plan's first piece, pump off then full, on the base car with its flow scaled."""
    return make.write_log(folder / "step.csv", make.stepped(plan.PIECES[0], flow_share), 1)


def test_a_sound_loop_is_called_sound_and_a_dead_one_dead(
    tmp_path: Path, conforms: Conforms, capsys: pytest.CaptureFixture[str]
) -> None:
    sound = check_health(stepped(tmp_path, 1.0))
    assert sound.flow == "flows as it should" and sound.probe == "in order"
    assert sound.low is not None and sound.high is not None and sound.low <= 1.0 <= sound.high + 0.02
    assert any("pump on at" in line for line in sound.evidence)
    dead = check_health(stepped(tmp_path, 0.0))
    assert dead.flow == "no flow" and dead.cannot_tell
    for found in (sound, dead):
        conforms("health", found.document())
        show_health(found)
        printed = capsys.readouterr().out
        assert f"coolant  {found.flow}" in printed and f"probe    {found.probe}" in printed
        assert all(line in printed for line in (*found.evidence, *found.cannot_tell)), "a pipe wraps nothing"


def test_without_a_pump_switched_nothing_is_said(always_full: Path) -> None:
    found = check_health(always_full)
    assert found.flow == found.probe == "cannot tell"
    assert "pump off" in found.cannot_tell[0]


def test_no_piece_boosts_with_the_pump_off() -> None:
    for piece in plan.PIECES:
        for step in piece.steps:
            assert not ("pull" in step.toml and step.duty < 1.0)


def test_a_plan_leaves_less_open_and_names_its_pump_states(
    conforms: Conforms, capsys: pytest.CaptureFixture[str]
) -> None:
    pieces = plan.PIECES[:3]
    advice = plan.plan_drive("invented-2200", pieces=pieces)
    assert advice.pieces
    assert all(after <= before for before, after in zip(advice.open_before, advice.open_after, strict=True))
    assert min(advice.open_after) < 0.5
    assert all("pump" in step.say for piece in advice.pieces for step in piece.steps)
    assert any("pump off" in line for line in advice.cautions)
    conforms("plan", advice.document())
    show_plan(advice)
    printed = capsys.readouterr().out
    assert f"a drive of about {advice.minutes:.0f} minutes" in printed
    assert all(piece.say in printed for piece in advice.pieces)
    assert all(text in printed for text in (*advice.cautions, *(key for key, _ in advice.names)))


def test_a_worn_pump_is_seen_against_the_fitted_car(tmp_path: Path) -> None:
    worn = check_health(stepped(tmp_path, 0.5))
    assert worn.flow == "weak"
    assert worn.low is not None and worn.high is not None and worn.low < 0.56 and worn.high < 0.8
    assert pytest.approx(0.5, abs=0.1) == worn.share


def test_air_in_the_loop_is_told_by_little_flow_at_little_current(tmp_path: Path) -> None:
    ill = make.Ill(flow_share=0.1, current_share=0.5)
    found = check_health(make.ill_log(tmp_path / "air.csv", ill, plan.PIECES[0], 3, exact=False))
    assert found.flow == "hardly flows: air-bound" and found.probe == "in order"
    assert any("49 % of its rated" in line for line in found.evidence)


def test_a_probe_that_reads_the_bay_is_called_misplaced(tmp_path: Path) -> None:
    ill = make.Ill(metal_share=0.4)
    found = check_health(make.ill_log(tmp_path / "probe.csv", ill, plan.PIECES[0], 3, exact=False))
    assert found.probe == "suspect" and found.flow == "flows as it should"
    assert any("follows the bay" in line for line in found.evidence)


def test_a_probe_before_the_core_looks_like_no_flow_and_that_is_said(tmp_path: Path) -> None:
    ill = make.Ill(reads="before the core")
    found = check_health(make.ill_log(tmp_path / "early.csv", ill, plan.PIECES[0], 3, exact=False))
    assert found.flow == "no flow" and found.probe == "cannot tell"
    assert any("the probe sits before the core" in line for line in found.cannot_tell)
