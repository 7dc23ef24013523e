"""Duty tables read as a reference library reads them, whatever their size, within, at and beyond their breakpoints."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from arena.contest.duty_table import strategy_of
from arena.contest.laws import PROMISES, callable_of, duties, interpreted_law, law_of
from arena.strategies.base import bilinear, load_strategy
from arena.strategies.contract import cells_of
from arena.strategies.starter import strategy_starter


def written(rng: np.random.Generator, shape: tuple[int, int], path):  # type: ignore[no-untyped-def]
    """A table file of this shape with uneven breakpoints, and the same as SciPy's interpolator."""
    axes = [np.cumsum(rng.uniform(0.2, 9.0, n)).round(3) - 20.0 for n in shape]
    cells = rng.uniform(0.0, 100.0, shape).round(3)
    rows = [",".join(map(str, [y, *row])) for y, row in zip(axes[0], cells, strict=True)]
    path.write_text("\n".join(["iat_c\\throttle_pct," + ",".join(map(str, axes[1])), *rows]), encoding="utf-8")
    return strategy_of(path), RegularGridInterpolator(axes, 0.01 * cells), axes


@pytest.mark.parametrize("shape", [(2, 2), (2, 9), (3, 17), (10, 8), (18, 33), (64, 64)])
def test_reads_as_scipy_does(shape: tuple[int, int], tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Against scipy.interpolate.RegularGridInterpolator, values held to the axes; interpreted and compiled."""
    rng = np.random.default_rng(sum(shape))
    strategy, reference, axes = written(rng, shape, tmp_path / "mine.csv")
    near = [np.concatenate([a, a, rng.uniform(a[0] - 5.0, a[-1] + 5.0, 150)]) for a in axes]
    asked = np.array([rng.permutation(n)[:150] if len(n) >= 150 else n for n in near]).T
    held = np.clip(asked, [a[0] for a in axes], [a[-1] for a in axes])
    expected = reference(held)
    cells = cells_of(strategy, strategy.make_settings({}))
    assert np.abs([bilinear(cells, 0, y, x) for y, x in asked] - expected).max() < 1e-12
    compiled = law_of(strategy)
    assert compiled.compiled
    inside = asked[np.abs(asked[:, 0] - 50.0) < 80.0]  # what a probe that has not failed can read
    fast, plain = (
        duties(strategy, callable_of(law.batch), {}, inside.tolist()) for law in (compiled, interpreted_law(strategy))
    )
    assert fast == plain, "the same arithmetic, to the last bit"
    assert len(fast) > 50 and max(fast) > 0.5


def test_a_law_that_calls_itself_competes_all_the_same(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Functions are inlined into the loop over lanes; one that calls itself cannot be."""
    text = strategy_starter("counting").replace(
        "def duty(", "def halved(x: float) -> float:\n    return x if x < 1.0 else halved(0.5 * x)\n\n\ndef duty("
    )
    text = text.replace("return 0.01 * settings.low_pct", "return halved(0.01 * settings.low_pct + 4.0 * running)")
    (tmp_path / "counting.py").write_text(text, encoding="utf-8")
    strategy = load_strategy(tmp_path / "counting.py")
    assert [fault for check in PROMISES.values() for fault in check(strategy)] == []
