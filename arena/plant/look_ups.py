"""Table look-ups of the inner loop, eight lanes at a time, written out for the compiler instruction by instruction.

Rows of a table are read whole, lane by lane, and turned so that lanes lie side by side; left to the compiler, look-ups
are never vectorised. Each stands beside the same in plain Python.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from arena.plant.jit import UNCOMPILED
from arena.plant.layout import (
    AMPS_RATIO,
    APPLIED,
    CORE_E,
    CORE_G,
    DUTY_ROWS,
    FLOW,
    FLOW_C,
    FLOW_ROWS,
    FRONT_E,
    FRONT_G,
    LANES,
    LINK,
    OMEGA,
    SPEED,
    SPEED_ROWS,
    SPEED_SHARE,
    TEMP_COLUMNS,
    TORQUE_C,
    VOLTS_RATIO,
)  # fmt: skip
from arena.plant.rows import Writer

TOGETHER = 8  # lanes looked up at a time; every batch is a multiple of it wide


def duty_look_up() -> Any:
    """`look_up(S, n, table, ())` for lanes n..n+7: what pulse-width modulation makes of a duty, and a pump's own
    controller of its signal. A rotor at rest has no back EMF and so another voltage: the table's fourth column.
    """
    top, turning = DUTY_ROWS - 1.000001, 1.0  # rad/s

    def plain(S: Any, n: int, table: Any, numbers: Any) -> None:
        for lane in range(n, n + TOGETHER):
            d, u = _split(S[APPLIED * LANES + lane] * (DUTY_ROWS - 1.000001), top)
            found = [_between(u, table[4 * d + k], table[4 * d + 4 + k]) for k in range(4)]
            S[VOLTS_RATIO * LANES + lane] = found[0] if S[OMEGA * LANES + lane] > turning else found[3]
            S[AMPS_RATIO * LANES + lane] = found[1]
            S[SPEED_SHARE * LANES + lane] = found[2]

    def emit(lanes: Any, table: Any, numbers: Any) -> None:
        d, u = lanes.split(lanes.times(lanes.load(APPLIED), lanes.number(top)), top)
        place, found = lanes.scaled(d, 4), []
        for lane in range(TOGETHER):
            at = lanes.pick(place, lane)
            found.append(lanes.between(lanes.spread(u, lane), lanes.four(table, at), lanes.four(table, at, 4)))
        moving, amps, share, at_rest = lanes.transposed(found)
        lanes.store(VOLTS_RATIO, lanes.above(lanes.load(OMEGA), turning, moving, at_rest))
        lanes.store(AMPS_RATIO, amps)
        lanes.store(SPEED_SHARE, share)

    return _looked_up(plain, emit)


def flow_look_up() -> Any:
    """`look_up(S, n, table, (per_speed, per_temp, temp_0))` for lanes n..n+7: coolant flow and hydraulic torque at this
    speed and coolant temperature.
    """
    x_top, y_top, row = TEMP_COLUMNS - 1.000001, SPEED_ROWS - 1.000001, 2 * TEMP_COLUMNS

    def plain(S: Any, n: int, table: Any, numbers: Any) -> None:
        per_speed, per_temp, temp_0 = numbers
        for lane in range(n, n + TOGETHER):
            j, v = _split((S[LINK * LANES + lane] - temp_0) * per_temp, x_top)
            i, u = _split(S[SPEED * LANES + lane] * per_speed, y_top)
            near = i * row + 2 * j
            four = [_between(u, table[near + k], table[near + row + k]) for k in range(4)]
            S[FLOW * LANES + lane] = _between(v, four[0], four[2])
            S[TORQUE_C * LANES + lane] = _between(v, four[1], four[3])

    def emit(lanes: Any, table: Any, numbers: Any) -> None:
        per_speed, per_temp, temp_0 = numbers
        warmer = lanes.less(lanes.load(LINK), lanes.same(temp_0))
        j, v = lanes.split(lanes.times(warmer, lanes.same(per_temp)), x_top)
        i, u = lanes.split(lanes.times(lanes.load(SPEED), lanes.same(per_speed)), y_top)
        place = lanes.sum(lanes.scaled(i, row), lanes.scaled(j, 2))
        found = []
        for lane in range(TOGETHER):
            at = lanes.pick(place, lane)
            found.append(lanes.between(lanes.spread(u, lane), lanes.four(table, at), lanes.four(table, at, row)))
        four = lanes.transposed(found)
        lanes.store(FLOW, lanes.between(v, four[0], four[2]))
        lanes.store(TORQUE_C, lanes.between(v, four[1], four[3]))

    return _looked_up(plain, emit)


def exchanger_look_up() -> Any:
    """`look_up(S, n, table, (per_flow, volume_c))` for lanes n..n+7: flow capacity and the coolant-side conductances at
    this flow; `volume_c` heat capacity per volume.
    """
    top, rows = FLOW_ROWS - 1.000001, (CORE_G, CORE_E, FRONT_G, FRONT_E)

    def plain(S: Any, n: int, table: Any, numbers: Any) -> None:
        per_flow, volume_c = numbers
        for lane in range(n, n + TOGETHER):
            S[FLOW_C * LANES + lane] = S[FLOW * LANES + lane] * volume_c
            i, u = _split(S[FLOW * LANES + lane] * per_flow, top)
            for k, row in enumerate(rows):
                S[row * LANES + lane] = _between(u, table[4 * i + k], table[4 * i + 4 + k])

    def emit(lanes: Any, table: Any, numbers: Any) -> None:
        per_flow, volume_c = numbers
        flow = lanes.load(FLOW)
        lanes.store(FLOW_C, lanes.times(flow, lanes.same(volume_c)))
        i, u = lanes.split(lanes.times(flow, lanes.same(per_flow)), top)
        place, found = lanes.scaled(i, 4), []
        for lane in range(TOGETHER):
            at = lanes.pick(place, lane)
            found.append(lanes.between(lanes.spread(u, lane), lanes.four(table, at), lanes.four(table, at, 4)))
        for row, value in zip(rows, lanes.transposed(found), strict=True):
            lanes.store(row, value)

    return _looked_up(plain, emit)


def _split(place: float, top: float) -> tuple[int, float]:
    """Whole part and rest of a place in a table, held within it."""
    held = min(max(place, 0.0), top)
    return int(held), held - int(held)


def _between(share: float, low: float, high: float) -> float:
    return low + share * (high - low)


class Lanes:
    """Eight lanes of the rows as vectors, code emitted for what is asked."""

    def __init__(self, builder: Any, data: Any, first: Any) -> None:
        from llvmlite import ir

        self.ir, self.builder, self.data, self.first = ir, builder, data, first
        self.doubles, self.wholes = (ir.VectorType(t, TOGETHER) for t in (ir.DoubleType(), ir.IntType(64)))

    def _place(self, row: int) -> Any:
        offset = self.builder.add(self.first, self.first.type(row * LANES), flags=["nsw"])
        place = self.builder.gep(self.data, [offset], inbounds=True)
        return self.builder.bitcast(place, self.ir.PointerType(self.doubles))

    def load(self, row: int) -> Any:
        """Row `row` of the eight."""
        return self.builder.load(self._place(row), align=8)

    def store(self, row: int, value: Any) -> None:
        """Put eight values into row `row`."""
        self.builder.store(value, self._place(row), align=8)

    def number(self, value: float) -> Any:
        """A constant in all eight."""
        return self.ir.Constant(self.doubles, [value] * TOGETHER)

    def same(self, value: Any) -> Any:
        """A computed number in all eight."""
        return self._shuffled(self._alone(value, self.doubles), self._alone(value, self.doubles), (0,) * TOGETHER)

    def _alone(self, value: Any, kind: Any) -> Any:
        nothing = self.ir.Constant(kind, self.ir.Undefined)
        return self.builder.insert_element(nothing, value, self.ir.Constant(self.ir.IntType(32), 0))

    def _shuffled(self, a: Any, b: Any, order: Sequence[int]) -> Any:
        mask = self.ir.Constant(self.ir.VectorType(self.ir.IntType(32), len(order)), list(order))
        return self.builder.shuffle_vector(a, b, mask)

    def times(self, a: Any, b: Any) -> Any:
        """The product."""
        return self.builder.fmul(a, b)

    def less(self, a: Any, b: Any) -> Any:
        """The difference a - b."""
        return self.builder.fsub(a, b)

    def sum(self, a: Any, b: Any) -> Any:
        """The sum of whole numbers."""
        return self.builder.add(a, b)

    def scaled(self, whole: Any, factor: int) -> Any:
        """Whole numbers times a constant."""
        return self.builder.mul(whole, self.ir.Constant(self.wholes, [factor] * TOGETHER))

    def split(self, place: Any, top: float) -> tuple[Any, Any]:
        """Whole part and rest of places in a table, held within it; what is no number counts as 0."""
        low, high = self.number(0.0), self.number(top)
        held = self.builder.select(self.builder.fcmp_ordered(">", place, low), place, low)
        held = self.builder.select(self.builder.fcmp_ordered("<", held, high), held, high)
        whole = self.builder.fptosi(held, self.wholes)
        return whole, self.builder.fsub(held, self.builder.sitofp(whole, self.doubles))

    def pick(self, whole: Any, lane: int) -> Any:
        """The whole number of one lane."""
        return self.builder.extract_element(whole, self.ir.Constant(self.ir.IntType(32), lane))

    def four(self, table: Any, at: Any, further: int = 0) -> Any:
        """Four neighbours in a table."""
        place = self.builder.gep(table, [self.builder.add(at, at.type(further))], inbounds=True)
        kind = self.ir.PointerType(self.ir.VectorType(self.ir.DoubleType(), 4))
        return self.builder.load(self.builder.bitcast(place, kind), align=8)

    def above(self, value: Any, limit: float, yes: Any, no: Any) -> Any:
        """Of two vectors the first where `value` is above a limit, else the second."""
        return self.builder.select(self.builder.fcmp_ordered(">", value, self.number(limit)), yes, no)

    def spread(self, values: Any, lane: int) -> Any:
        """The number of one lane, four times."""
        return self._shuffled(values, values, (lane,) * 4)

    def between(self, share: Any, low: Any, high: Any) -> Any:
        """Linear interpolation."""
        return Writer(self.builder, TOGETHER).fma(share, self.builder.fsub(high, low), low)

    def transposed(self, found: Sequence[Any]) -> list[Any]:
        """Four neighbours of each of eight lanes as four vectors of lanes."""
        pairs = [self._shuffled(found[k], found[k + 4], range(8)) for k in range(4)]
        out = []
        for odd in (0, 1):
            left, right = (
                self._shuffled(pairs[k], pairs[k + 1], [j + odd + shift for j in (0, 2, 4, 6) for shift in (0, 8)])
                for k in (0, 2)
            )
            out.append([self._shuffled(left, right, [k + s for s in (0, 1, 8, 9, 4, 5, 12, 13)]) for k in (0, 2)])
        return [out[0][0], out[1][0], out[0][1], out[1][1]]


def _looked_up(plain: Callable[..., None], emit: Callable[..., None]) -> Any:
    """A look-up as a function (S, n, table, numbers), plain or emitted."""
    if UNCOMPILED:
        return plain
    from numba import types
    from numba.core import cgutils
    from numba.extending import intrinsic

    def build(context: Any, builder: Any, signature: Any, arguments: Sequence[Any]) -> Any:
        data, table = (context.make_array(signature.args[k])(context, builder, arguments[k]).data for k in (0, 2))
        emit(Lanes(builder, data, arguments[1]), table, cgutils.unpack_tuple(builder, arguments[3]))
        return context.get_dummy_value()

    @intrinsic  # type: ignore[untyped-decorator]
    def written(typing: Any, S: Any, n: Any, table: Any, numbers: Any) -> Any:
        return types.void(S, types.intp, table, numbers), build

    return written
