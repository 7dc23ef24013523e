"""Colours of the page: told apart by colour-blind eyes, and readable on their ground."""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
import pytest

from arena.report.page import TEMPLATES, _shade
from arena.report.shades import luminance

# Machado, Oliveira, Fernandes 2009 (IEEE TVCG 15(6)), severity 1.0, linear RGB; from memory
EYES = {
    "usual": np.eye(3),
    "no red cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}
FIRST = 5  # as many contestants as a page shows when it opens


def colours(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z0-9]+): (#[0-9a-f]{6})", block))


def shades() -> dict[str, dict[str, str]]:
    text = (TEMPLATES / "page.css").read_text(encoding="utf-8")
    light, *rest = text.split(':root[data-shade="dark"] {')
    return {"light": colours(light.split("@media")[0]), "dark": colours(rest[0].split("}")[0])}


def channels(colour: str) -> list[int]:
    return list(bytes.fromhex(colour.removeprefix("#")))


def contrast(a: str, b: str) -> float:
    one, two = sorted((luminance(channels(a)), luminance(channels(b))))
    return (two + 0.05) / (one + 0.05)


def lab(linear: np.ndarray) -> np.ndarray:
    """CIE L*a*b* of linear sRGB, D65 (IEC 61966-2-1; CIE 15)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = to_xyz @ np.clip(linear, 0.0, 1.0) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def linear(colour: str) -> np.ndarray:
    c = np.array(channels(colour)) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def least_difference(seen: list[np.ndarray]) -> float:
    return min(float(np.linalg.norm(a - b)) for a, b in combinations(seen, 2))


@pytest.mark.parametrize("shade", ["light", "dark"])
@pytest.mark.parametrize("eye", EYES)
def test_first_lines_are_told_apart(shade: str, eye: str) -> None:
    found = shades()[shade]
    seen = [lab(EYES[eye] @ linear(found[f"k{k}"])) for k in range(8)]
    assert least_difference(seen[:FIRST]) > 12.0  # 2.3 is a just noticeable difference (common practice)
    assert least_difference(seen) > 7.0


@pytest.mark.parametrize("shade", ["light", "dark"])
def test_lines_and_words_stand_out_from_the_paper(shade: str) -> None:
    found = shades()[shade]
    for name in [f"k{k}" for k in range(8)]:
        assert contrast(found[name], found["paper"]) >= 4.5, name  # the keys are letters on these colours
    for name in ("tracking", "wear", "energy", "target", "limit"):
        assert contrast(found[name], found["paper"]) >= 2.5, name
    for name in ("ink", "soft", "mark", "warn"):
        assert contrast(found[name], found["paper"]) >= 4.5, name


def test_every_cell_of_a_duty_table_is_readable() -> None:
    for duty in np.linspace(-5.0, 105.0, 221):
        cell = _shade(float(duty))
        assert contrast(cell["back"], cell["ink"]) >= 4.5
