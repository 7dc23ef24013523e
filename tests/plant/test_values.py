"""Roots of falling functions, many at once: closed forms, ends, kinks and cliffs."""

from __future__ import annotations

import numpy as np
import pytest

from arena.plant.values import falling_root


def test_roots_of_cubics_exponentials_and_straight_lines() -> None:
    at = np.array([[0.1, 1.0], [3.0, 9.9]])
    high = np.full(at.shape, 10.0)
    np.testing.assert_allclose(falling_root(lambda x: at**3 - x**3, high, 1e-13), at, rtol=1e-12)
    np.testing.assert_allclose(falling_root(lambda x: np.exp(-3.0 * x) - np.exp(-3.0 * at), high, 1e-13), at, rtol=1e-9)
    np.testing.assert_allclose(falling_root(lambda x: at - x, high, 1e-13), at, rtol=1e-14)


def test_each_element_has_its_own_end() -> None:
    """Never above 0: 0. Never below 0 up to the end: the end. A root at either end is that end."""
    high = np.array([1.0, 2.0, 3.0, 4.0])
    start = np.array([-1.0, 5.0, 0.0, 4.0])
    np.testing.assert_array_equal(falling_root(lambda x: start - x, high, 1e-12), [0.0, 2.0, 0.0, 4.0])


@pytest.mark.parametrize("kink", [0.3, 0.5, 0.999])
def test_a_kink_and_a_cliff_are_got_over(kink: float) -> None:
    high = np.ones(3)
    found = falling_root(lambda x: np.where(x < kink, 1e-6 * (kink - x), 1e3 * (kink - x)), high, 1e-14)
    np.testing.assert_allclose(found, kink, atol=1e-9)
    cliff = falling_root(lambda x: np.where(x < kink, 1.0, -1e4), high, 1e-14)
    np.testing.assert_allclose(cliff, kink, atol=1e-9)
