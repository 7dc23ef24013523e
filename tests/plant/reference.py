"""An independent integration of the plant's heat balance: the same cells, another way of moving them on.

The kernel moves each pair by the implicit midpoint rule; here the ordinary differential equations themselves are
handed to scipy's DOP853, restarted at every tick, or moved by their power series. Pump flow is replayed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.plant import layout as at
from arena.plant.compile import CompiledOuting

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class History:
    """Charge temperature by the reference, (ticks, lanes), K; `state` is every cell at the end, (lanes, cells)."""

    iat_mean_k: Floats  # mean over the tick, as the kernel gives it
    iat_end_k: Floats  # at the end of the tick
    state: Floats
    link_k: Floats  # link cell at the end of the tick


class Ring:
    """The plant's cells as differential equations: coolant in a ring in the direction of flow, metal beside it.

    Coolant cell with inflow u:  C c' = E u - (G + E) c + G m + UA (T - c), where a hose has G = 0, E = F.
    Metal cell:  C m' = (F - E) u + (G - F + E) c - (G + A) m + R.
    State: ring of coolant (link, hose 1, core, hose 2, front, hose 3), metal (core, front), side tank.
    """

    def __init__(self, outing: CompiledOuting, exact_tables: bool = True) -> None:
        p, half = outing.P, 0.5 * at.TICK_S
        self.outing, self.exact = outing, exact_tables
        sizes = (1, at.HOSE_1, at.CORE_CELLS, at.HOSE_2, at.FRONT_CELLS, at.HOSE_3)
        ends = np.cumsum(sizes)
        self.ring = int(ends[-1])
        self.core = slice(int(ends[1]), int(ends[2]))
        self.front = slice(int(ends[3]), int(ends[4]))
        self.core_metal = slice(self.ring, self.ring + at.CORE_CELLS)
        self.front_metal = slice(self.ring + at.CORE_CELLS, self.ring + at.CORE_CELLS + at.FRONT_CELLS)
        self.side = self.front_metal.stop
        self.cells = self.side + 1
        heat = (at.P_LINK_W, at.P_HOSE_1_W, at.P_CORE_W, at.P_HOSE_2_W, at.P_FRONT_W, at.P_HOSE_3_W)
        loss = (at.P_LINK_UA, at.P_HOSE_1_UA, None, at.P_HOSE_2_UA, None, at.P_HOSE_3_UA)
        self.capacity = np.concatenate(
            [np.repeat([half * p[h] for h in heat], sizes),
             np.repeat([half * p[at.P_CORE_M], half * p[at.P_FRONT_M]], (at.CORE_CELLS, at.FRONT_CELLS)),
             [half * p[at.P_SIDE_W]]]
        )  # fmt: skip
        self.loss = np.repeat([0.0 if k is None else p[k] for k in loss], sizes)
        self.hose = np.repeat([k is not None for k in loss], sizes)
        self.share = p[at.P_SIDE_SHARE]

    def conductances(self, flow: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Core G, core E, front G, front E at flows of shape (lanes,); G from the table, E from its equation."""
        table = self.outing.exchanger_table.reshape(at.FLOW_ROWS, 4)
        axis = np.arange(at.FLOW_ROWS) * self.outing.P[at.P_FLOW_STEP]
        g1, e1, g2, e2 = (np.interp(flow, axis, table[:, k]) for k in range(4))
        if self.exact:
            f = np.maximum(flow * self.outing.volume_heat, 1e-12)
            e1, e2 = (g / np.expm1(np.minimum(g / f, 700.0)) for g in (g1, g2))
        return g1, e1, g2, e2

    def set_tick(self, tick: int, flow: Floats) -> None:
        """Coefficients that hold during this tick, for flows of shape (lanes,)."""
        x, p = self.outing.X[tick], self.outing.P
        lanes = len(flow)
        f = (flow * self.outing.volume_heat)[:, None]
        g1, e1, g2, e2 = (v[:, None] for v in self.conductances(flow))
        g = np.zeros((lanes, self.ring))
        e = np.repeat(f, self.ring, axis=1)
        g[:, self.core], e[:, self.core], g[:, self.front], e[:, self.front] = g1, e1, g2, e2
        around = np.where(np.arange(self.ring) == 0, x[at.X_TANK_T], x[at.X_HOSE_T])
        metal_g = np.concatenate([g[:, self.core], g[:, self.front]], axis=1)
        metal_e = np.concatenate([e[:, self.core], e[:, self.front]], axis=1)
        air = np.repeat([x[at.X_CORE_A] + p[at.P_CORE_BAY], x[at.X_FRONT_A]], (at.CORE_CELLS, at.FRONT_CELLS))
        given = np.repeat([x[at.X_CORE_R], x[at.X_FRONT_R]], (at.CORE_CELLS, at.FRONT_CELLS))
        branch = self.share * f[:, 0]
        ring, metal = self.capacity[: self.ring], self.capacity[self.ring : self.side]
        self.from_inflow, self.from_metal = e / ring, g / ring
        self.from_self = (g + e + self.loss) / ring
        self.ring_given = self.loss * around / ring
        self.metal_from_in, self.metal_from_out = (f - metal_e) / metal, (metal_g - f + metal_e) / metal
        self.metal_from_self, self.metal_given = (metal_g + air) / metal, given / metal
        self.branch_link, self.branch_side = branch / self.capacity[0], branch / self.capacity[self.side]
        self.side_loss = p[at.P_SIDE_UA] / self.capacity[self.side]
        self.side_given = self.side_loss * x[at.X_TANK_T]

    def slope(self, y: Floats, with_given: float = 1.0) -> Floats:
        """Rate of change of every cell, K/s; y of shape (lanes, cells). `with_given` 0 leaves the linear part."""
        ring, metal, side = y[:, : self.ring], y[:, self.ring : self.side], y[:, self.side]
        inflow = np.empty_like(ring)
        inflow[:, 0], inflow[:, 1:] = ring[:, -1], ring[:, :-1]
        out = np.empty_like(y)
        rate = out[:, : self.ring]
        np.multiply(self.from_inflow, inflow, out=rate)
        rate -= self.from_self * ring
        rate += with_given * self.ring_given
        rate[:, self.core] += self.from_metal[:, self.core] * metal[:, : at.CORE_CELLS]
        rate[:, self.front] += self.from_metal[:, self.front] * metal[:, at.CORE_CELLS :]
        rate[:, 0] += self.branch_link * (side - ring[:, 0])
        wet_in = np.concatenate([inflow[:, self.core], inflow[:, self.front]], axis=1)
        wet = np.concatenate([ring[:, self.core], ring[:, self.front]], axis=1)
        out[:, self.ring : self.side] = (
            self.metal_from_in * wet_in + self.metal_from_out * wet - self.metal_from_self * metal
            + with_given * self.metal_given
        )  # fmt: skip
        out[:, self.side] = (
            self.branch_side * (ring[:, 0] - side) - self.side_loss * side + with_given * self.side_given
        )
        return out


def by_dop853(ring: Ring, y: Floats, rtol: float = 1e-8) -> tuple[Floats, Floats]:
    """One tick by scipy's DOP853: new state, and the mean of the core's metal over the tick, (lanes,)."""
    from scipy.integrate import solve_ivp

    lanes, cells = y.shape
    scale = at.TICK_S

    def rate(_: float, flat: Floats) -> Floats:
        state = flat[: lanes * cells].reshape(lanes, cells)
        mean = state[:, ring.core_metal].mean(axis=1) / scale
        return np.concatenate([ring.slope(state).ravel(), mean])

    found = solve_ivp(
        rate, (0.0, scale), np.concatenate([y.ravel(), np.zeros(lanes)]), method="DOP853", rtol=rtol, atol=1e-9,
        first_step=scale,
    )  # fmt: skip
    assert found.success, found.message
    last = found.y[:, -1]
    return last[: lanes * cells].reshape(lanes, cells), last[lanes * cells :]


def by_series(ring: Ring, y: Floats) -> tuple[Floats, Floats]:
    """One tick by the power series of the exact solution of the linear equations, summed until rounding."""
    h = at.TICK_S
    term = h * ring.slope(y)
    new, mean = y + term, y + 0.5 * term
    for k in range(2, 80):
        term = (h / k) * ring.slope(term, with_given=0.0)
        new += term
        mean += term / (k + 1)
        if np.abs(term).max() < 1e-13:
            return new, mean[:, ring.core_metal].mean(axis=1)
    raise AssertionError("the series does not settle: a tick far too long for these cells")


def integrate(
    outing: CompiledOuting, flow_m3_s: Floats, last: int | None = None, how: Any = by_dop853, exact_tables: bool = True
) -> History:
    """Play ticks 0..last-1 with the flows of shape (ticks, lanes) and record charge temperature.

    `how` is `by_dop853` or `by_series`; `exact_tables` takes the carry-over E from its equation, not from the table.
    """
    ticks = outing.ticks if last is None else last
    lanes = flow_m3_s.shape[1]
    ring = Ring(outing, exact_tables)
    y = np.full((lanes, ring.cells), outing.start_k)
    mean_k, end_k, link = (np.empty((ticks, lanes)) for _ in range(3))
    for tick in range(ticks):
        ring.set_tick(tick, flow_m3_s[tick])
        y, metal = how(ring, y)
        base, slope = outing.X[tick, at.X_IAT0], outing.X[tick, at.X_IAT1]
        mean_k[tick] = base + slope * metal
        end_k[tick] = base + slope * y[:, ring.core_metal].mean(axis=1)
        link[tick] = y[:, 0]
    return History(mean_k, end_k, y, link)
