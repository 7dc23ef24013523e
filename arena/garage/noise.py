"""What is left of a reading after the best prediction: white noise, something slow, what happened between polls.

Slow errors (a model's, a day's) hang together over tens of seconds; taken for independent they would make intervals far
too narrow. Sizes are chosen where they explain best what is seen, the car's unknown numbers included (evidence).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SLOW_S = (3.0, 60.0)  # span of the slow part's time constant
MOST_TRIES = 60
SWING_S = 240.0  # the plant is told by swings of minutes: two with the pump off, two with it full
MOST_MODES = 250  # directions taken out of a fit one by one; lesser ones count as noise of the readings they touch
MOST_CELLS = 10_000_000  # of their matrix: an hours-long log has fewer


@dataclass(frozen=True)
class Noise:
    """Standard deviations of the white and the slow part (K), the slow one's time constant, weights.

    `off`: directions (readings, m) of whitened readings, orthonormal, that something unseen moves by an unknown amount,
    and what share (m,) of a movement along each is left to be believed.
    """

    white_k: float
    slow_k: float
    slow_s: float
    weight: Floats
    off: tuple[Floats, Floats] | None = None

    @property
    def size_k(self) -> float:
        """Both parts together, K."""
        return float(np.hypot(self.white_k, self.slow_k))


@dataclass
class Unseen:
    """What may have happened between polls: `modes` (readings, m), each by an unknown amount N(0, 1), K; of lesser
    ones only how far they may move each reading, `rest_k` (readings,).
    """

    modes: Floats
    rest_k: Floats

    @classmethod
    def none(cls, readings: int) -> Unseen:
        """Nothing unseen."""
        return cls(np.zeros((readings, 0)), np.zeros(readings))

    def add(self, more: Sequence[Floats]) -> None:
        """Take in modes (readings,); the least leave for the rest where there are too many."""
        if not more:
            return
        every = np.column_stack([self.modes, *more])
        most = max(min(MOST_MODES, MOST_CELLS // len(every)), 1)
        order = np.argsort(-np.sum(every**2, axis=0), kind="stable")
        self.modes, lesser = every[:, order[:most]], every[:, order[most:]]
        self.rest_k = np.sqrt(self.rest_k**2 + np.sum(lesser**2, axis=1))


def whiten(rows: Floats, time_s: Floats, noise: Noise) -> Floats:
    """Rows (readings, n) in time order made independent, each of size 1: innovations of white noise over a slow drift.

    The drift is a first-order process; the filter is Kalman's for one state, the same for every column.
    """
    y = _apart(rows, time_s, noise)
    if noise.off is not None:
        axes, left = noise.off
        y = y - axes @ ((1.0 - left)[:, None] * (axes.T @ y))
    return y


def _apart(rows: Floats, time_s: Floats, noise: Noise) -> Floats:
    y = rows * noise.weight[:, None]
    if noise.slow_k <= 0.0:
        return y / noise.white_k
    keep = np.exp(-np.diff(time_s, prepend=time_s[0]) / noise.slow_s)
    slow2, white2 = noise.slow_k**2, noise.white_k**2
    gain, root = np.empty(len(y)), np.empty(len(y))
    spread = slow2
    for t in range(len(y)):
        spread = slow2 + keep[t] ** 2 * (spread - slow2)
        total = spread + white2
        gain[t], root[t] = spread / total, 1.0 / np.sqrt(total)
        spread *= 1.0 - gain[t]
    return _filter(y, keep, gain, root)


def _filter(y: Floats, keep: Floats, gain: Floats, root: Floats) -> Floats:
    out = np.empty_like(y)
    level = np.zeros(y.shape[1])
    for t in range(len(y)):
        level = keep[t] * level
        fresh = y[t] - level
        out[t] = root[t] * fresh
        level = level + gain[t] * fresh
    return out


def choose_noise(
    residual: Floats, known: Floats, time_s: Floats, floor_k: float, unseen: Unseen, left_k: Floats | None = None
) -> Noise:
    """The noise that explains best a residual (readings,) whose systematic part is `known` (readings, n) x N(0, 1).

    `known`: the Jacobian in spreads; `residual`: what the starting car leaves, in a straight line from the fit;
    what looks like something `unseen` is not believed; `left_k`: what the best car so far leaves, by which stray
    readings are known. Never less white noise than the reading's step.
    """
    from scipy.optimize import minimize

    known = np.column_stack([known, unseen.modes])
    scale = np.hypot(1.0, unseen.rest_k / floor_k)
    left = residual if left_k is None else left_k
    scaled = np.abs(left - np.median(left)) / np.hypot(scale, np.linalg.norm(unseen.modes, axis=1) / floor_k)
    usual = max(1.4826 * float(np.median(scaled)), floor_k)
    weight = np.minimum(1.0, 5.0 * usual / np.maximum(scaled, 1e-9)) / scale

    def made(x: Floats) -> Noise:
        white = floor_k * float(np.exp(np.clip(x[0], 0.0, 4.0)))
        slow = floor_k * float(np.exp(np.clip(x[1], -4.0, 5.0)))
        tau = float(np.exp(np.clip(x[2], np.log(SLOW_S[0]), np.log(SLOW_S[1]))))
        return Noise(white, slow, tau, weight)

    def surprise(x: Floats) -> float:
        noise = made(x)
        rows = whiten(np.column_stack([residual, known]), time_s, noise)
        r, m = rows[:, 0], rows[:, 1:]
        inner = m.T @ m + np.eye(m.shape[1])
        factor = np.linalg.cholesky(inner)
        along = np.linalg.solve(factor, m.T @ r)
        scale = 2.0 * float(np.sum(np.log(np.diag(factor))))
        return float(r @ r - along @ along) + scale + _log_size(time_s, noise)

    first = np.array([0.3, 0.0, np.log(20.0)])
    found = minimize(
        surprise, first, method="Nelder-Mead",
        options={"maxfev": MOST_TRIES, "initial_simplex": first + np.vstack([np.zeros(3), 0.7 * np.eye(3)])},
    )  # fmt: skip
    return without(plain(made(np.asarray(found.x)), float(np.median(np.diff(time_s)))), unseen.modes, time_s)


def without(noise: Noise, modes: Floats, time_s: Floats) -> Noise:
    """The noise with unseen modes (readings, m) besides: directions they move, and the share of these left."""
    if modes.shape[1] == 0:
        return noise
    axes, sizes, _ = np.linalg.svd(_apart(modes, time_s, noise), full_matrices=False)
    told = sizes > 0.1
    return replace(noise, off=(axes[:, told], 1.0 / np.sqrt(1.0 + sizes[told] ** 2)))


def plain(noise: Noise, spacing_s: float) -> Noise:
    """White noise that leaves as much doubt about swings of a few minutes as this noise does.

    Discounting slow errors by a filter makes a fit live on the fast ones, which on synthetic logs were the wrong ones:
    inputs are polled, and the plant is not the car. Least squares with as few facts as there are independent stretches
    came nearest the truth there, and predicted best.
    """
    turned = 2.0 * np.pi * noise.slow_s / SWING_S
    stretch = max(2.0 * noise.slow_s / max(spacing_s, 1e-3) / (1.0 + turned**2), 1.0)
    return Noise(float(np.sqrt(noise.white_k**2 + stretch * noise.slow_k**2)), 0.0, noise.slow_s, noise.weight)


def _log_size(time_s: Floats, noise: Noise) -> float:
    """Logarithm of the determinant of the noise's covariance."""
    keep = np.exp(-np.diff(time_s, prepend=time_s[0]) / noise.slow_s)
    slow2, white2 = noise.slow_k**2, noise.white_k**2
    spread, total = slow2, 0.0
    for k in keep:
        spread = slow2 + k**2 * (spread - slow2)
        all_of_it = spread + white2
        total += float(np.log(all_of_it))
        spread -= spread**2 / all_of_it
    return total
