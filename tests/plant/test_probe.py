"""What the probe formulas promise: share of the boss, exact lags."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arena.errors import BadInput
from arena.plant import probe


@given(st.floats(1e-3, 50.0), st.floats(1e-3, 5.0), st.integers(2, 20))
def test_many_small_steps_are_one_large_one(tau: float, step: float, parts: int) -> None:
    """Exact update: cutting a step of constant input changes nothing."""
    left = (1.0 - probe.update_factor(step / parts, tau)) ** parts
    assert 1.0 - left == pytest.approx(probe.update_factor(step, tau), abs=1e-9)


def test_no_time_constant_follows_at_once_and_no_time_moves_nothing() -> None:
    assert probe.update_factor(0.1, 0.0) == 1.0
    assert probe.update_factor(0.0, 4.0) == 0.0
    assert probe.update_factor(0.1, np.array([0.0, 4.0])).shape == (2,)


@given(st.floats(0.0, 0.3), st.floats(1.0, 3.0))
def test_more_air_is_never_slower_nor_nearer_the_boss(flow: float, more: float) -> None:
    assert probe.lag_s(4.0, 0.020, flow * more) <= probe.lag_s(4.0, 0.020, flow)
    assert probe.boss_share(0.15, flow * more) <= probe.boss_share(0.15, flow)


def test_still_air_has_a_finite_lag_and_reads_the_boss() -> None:
    assert probe.lag_s(4.0, 0.020, 0.0) == pytest.approx(4.0 * 20.0**0.5)
    assert probe.boss_share(0.15, 0.0) == 1.0
    assert probe.boss_share(0.0, 0.0) == 0.0


def test_boss_share_is_as_given_at_idle_and_fades_as_one_over_flow() -> None:
    assert probe.boss_share(0.15, probe.IDLE_KG_S) == pytest.approx(0.15)
    fast = probe.boss_share(0.15, np.array([0.1, 0.2]))
    assert fast[0] / fast[1] == pytest.approx(2.0, rel=0.01)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: probe.update_factor(-0.1, 1.0), "step_s"),
        (lambda: probe.update_factor(0.1, float("nan")), "tau_s"),
        (lambda: probe.lag_s(4.0, 0.0, 0.1), "tau_ref_kg_s"),
        (lambda: probe.boss_share(1.0, 0.1), "share_at_idle"),
    ],
)
def test_impossible_probes_are_refused_by_name(call, named: str) -> None:
    with pytest.raises(BadInput, match=named):
        call()
