"""Once round the coolant loop in one tick: link, hose, core, hose, front exchanger, hose and back to the link.

Ordinary arithmetic on a few lanes side by side; see rows.swept for what `rows`, `x` and `p` are. Equations: the head of
kernel.py and docs/model.md.
"""

from __future__ import annotations

from typing import Any

from arena.plant.layout import (
    CORE_AT,
    CORE_CELLS,
    CORE_COLDEST,
    CORE_E,
    CORE_G,
    CORE_HOTTEST,
    CORE_IN,
    CORE_METAL,
    CORE_OUT,
    CORE_SUM,
    FLOW_C,
    FRONT_AT,
    FRONT_CELLS,
    FRONT_E,
    FRONT_G,
    FRONT_IN,
    FRONT_OUT,
    FRONT_SUM,
    HEAT_AIR,
    HEAT_BAY,
    HEAT_OUT,
    HOSE_1,
    HOSE_1_AT,
    HOSE_2,
    HOSE_2_AT,
    HOSE_3,
    HOSE_3_AT,
    IAT,
    INFLOW,
    LINK,
    LINK_OLD,
    LINK_OUT,
    P_CORE_BAY,
    P_CORE_M,
    P_CORE_W,
    P_FRONT_M,
    P_FRONT_W,
    P_HOSE_1_UA,
    P_HOSE_1_W,
    P_HOSE_2_UA,
    P_HOSE_2_W,
    P_HOSE_3_UA,
    P_HOSE_3_W,
    P_LINK_UA,
    P_LINK_W,
    P_SIDE_SHARE,
    P_SIDE_UA,
    P_SIDE_W,
    SIDE,
    TICK_S,
    X_BAY,
    X_CORE_A,
    X_CORE_R,
    X_FRONT_A,
    X_FRONT_R,
    X_HOSE_T,
    X_IAT0,
    X_IAT1,
    X_TANK_T,
)  # fmt: skip


def pair_weights(g: Any, e: Any, f: Any, air: Any, heat: Any, cm: Any, cw: Any) -> Any:
    """Coefficients of a metal/coolant pair from old metal, old coolant, inflow and 1: four of the new metal, four of
    old and new coolant together (which, as twice the mean, is what flows on).

    `g`, `e`, `f` conductance, carry-over and flow capacity (W/K), `air` what ties a metal cell to given temperatures
    (W/K), `heat` those temperatures times it (W), `cm` and `cw` twice the heat capacities over the tick.
    """
    a1 = cm + air + g
    a2 = cw + g + e
    back = g - f + e
    twice = 2.0 / (a1 * a2 - g * back)
    half, gives = 0.5 * twice, twice * g
    metal = (twice * a2 * cm - 1.0, twice * back * cw, half * (a2 * (f - e) + back * e), twice * a2 * heat)
    return (*metal, gives * cm, twice * a1 * cw, half * (a1 * e + g * (f - e)), gives * heat)


def pair_cells(rows: Any, metal_at: int, cells: int, weights: Any) -> tuple[Any, Any, Any]:
    """Pairs in the direction of flow, from INFLOW to INFLOW; sum of the new metal, coldest metal, hottest coolant.

    Along the flow temperatures mostly go one way: the extremes are of the first, the last and every fourth cell.
    """
    a, b, c, d, e, f, g, h = weights
    inflow, total, coldest, hottest = rows[INFLOW], 0.0, 1e9, 0.0
    for k in range(cells):
        m, w = rows[metal_at + k], rows[metal_at + cells + k]
        metal = rows.fma(c, inflow, rows.fma(a, m, rows.fma(b, w, d)))
        inflow = rows.fma(g, inflow, rows.fma(e, m, rows.fma(f, w, h)))
        water = inflow - w
        rows[metal_at + k] = metal
        rows[metal_at + cells + k] = water
        total = total + metal
        if k % 4 == 0 or k == cells - 1:
            coldest, hottest = rows.least(coldest, metal), rows.most(hottest, water)
    rows[INFLOW] = inflow
    return total, coldest, hottest


def hose_cells(rows: Any, first: int, cells: int, cw: Any, ua: Any, around: Any) -> None:
    """Hose cells from INFLOW to INFLOW, and the heat taken from around them."""
    twice = 2.0 / (cw + rows[FLOW_C] + ua)
    a, b, c = twice * cw, 0.5 * twice * rows[FLOW_C], twice * ua * around
    inflow, total = rows[INFLOW], 0.0
    for k in range(first, first + cells):
        w = rows[k]
        inflow = rows.fma(b, inflow, rows.fma(a, w, c))
        rows[k] = inflow - w
        total = total + inflow
    rows[INFLOW] = inflow
    rows[HEAT_BAY] += ua * TICK_S * (cells * around - 0.5 * total)


def leave_link(rows: Any) -> None:
    """The link's extrapolated outflow."""
    link = rows[LINK]
    out = 1.5 * link - 0.5 * rows[LINK_OLD]
    rows[LINK_OLD] = link
    rows[LINK_OUT] = out
    rows[INFLOW] = 2.0 * out


def core(rows: Any, x: Any, p: Any) -> None:
    """The core's pairs; charge temperature, heat from air and bay."""
    air_ua, bay_ua, heat = x[X_CORE_A], p[P_CORE_BAY], x[X_CORE_R]
    weights = pair_weights(rows[CORE_G], rows[CORE_E], rows[FLOW_C], air_ua + bay_ua, heat, p[P_CORE_M], p[P_CORE_W])
    rows[CORE_IN] = 0.5 * rows[INFLOW]
    new, coldest, hottest = pair_cells(rows, CORE_AT, CORE_CELLS, weights)
    total = 0.5 * (rows[CORE_SUM] + new)
    bay_heat = bay_ua * x[X_BAY] * CORE_CELLS
    rows[CORE_OUT] = 0.5 * rows[INFLOW]
    rows[CORE_SUM] = new
    rows[CORE_COLDEST] = coldest
    rows[CORE_HOTTEST] = hottest
    rows[HEAT_AIR] += TICK_S * (heat * CORE_CELLS - bay_heat - air_ua * total)
    rows[HEAT_BAY] += TICK_S * (bay_heat - bay_ua * total)
    mean = total * (1.0 / CORE_CELLS)
    rows[CORE_METAL] = mean
    rows[IAT] = x[X_IAT0] + x[X_IAT1] * mean


def front(rows: Any, x: Any, p: Any) -> None:
    """The front exchanger's pairs; heat to the outside."""
    air_ua, heat = x[X_FRONT_A], x[X_FRONT_R]
    weights = pair_weights(rows[FRONT_G], rows[FRONT_E], rows[FLOW_C], air_ua, heat, p[P_FRONT_M], p[P_FRONT_W])
    rows[FRONT_IN] = 0.5 * rows[INFLOW]
    new, _, _ = pair_cells(rows, FRONT_AT, FRONT_CELLS, weights)
    total = 0.5 * (rows[FRONT_SUM] + new)
    rows[FRONT_OUT] = 0.5 * rows[INFLOW]
    rows[FRONT_SUM] = new
    rows[HEAT_OUT] += TICK_S * (air_ua * total - heat * FRONT_CELLS)


def close(rows: Any, x: Any, p: Any) -> None:
    """The link cell and a side-branch tank, solved as a pair; the link's outflow is the extrapolated one."""
    link_w, side_w, link_ua, side_ua, tank_t = p[P_LINK_W], p[P_SIDE_W], p[P_LINK_UA], p[P_SIDE_UA], x[X_TANK_T]
    f, link, side = rows[FLOW_C], rows[LINK], rows[SIDE]
    branch = p[P_SIDE_SHARE] * f
    a1 = link_w + link_ua + branch
    a2 = side_w + side_ua + branch
    r1 = link_w * link + f * (0.5 * rows[INFLOW] - rows[LINK_OUT]) + link_ua * tank_t
    r2 = side_w * side + side_ua * tank_t
    inverse = 1.0 / (a1 * a2 - branch * branch)
    mean_link = (a2 * r1 + branch * r2) * inverse
    mean_side = (a1 * r2 + branch * r1) * inverse
    rows[LINK] = 2.0 * mean_link - link
    rows[SIDE] = 2.0 * mean_side - side
    taken = link_ua * (tank_t - mean_link) + side_ua * (tank_t - mean_side)
    rows[HEAT_BAY] += TICK_S * taken


def hose_1(rows: Any, x: Any, p: Any) -> None:
    """Link to core."""
    hose_cells(rows, HOSE_1_AT, HOSE_1, p[P_HOSE_1_W], p[P_HOSE_1_UA], x[X_HOSE_T])


def hose_2(rows: Any, x: Any, p: Any) -> None:
    """Core to front."""
    hose_cells(rows, HOSE_2_AT, HOSE_2, p[P_HOSE_2_W], p[P_HOSE_2_UA], x[X_HOSE_T])


def hose_3(rows: Any, x: Any, p: Any) -> None:
    """Front to link."""
    hose_cells(rows, HOSE_3_AT, HOSE_3, p[P_HOSE_3_W], p[P_HOSE_3_UA], x[X_HOSE_T])


def leave_and_hose_1(rows: Any, x: Any, p: Any) -> None:
    """Out of the link, to the core."""
    leave_link(rows)
    hose_1(rows, x, p)


def hose_3_and_close(rows: Any, x: Any, p: Any) -> None:
    """From the front exchanger back into the link."""
    hose_3(rows, x, p)
    close(rows, x, p)
