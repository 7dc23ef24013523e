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
from arena.plant.rows import Number, Writer, WrittenRows

TOGETHER = 8  # lanes looked up at a time; every batch is a multiple of it wide


def duty_look_up() -> Any:
    """`look_up(S, table, (0.0,), used)` for the first `used` lanes: what pulse-width modulation makes of a duty, and a
    pump's own controller of its signal. A rotor at rest has no back EMF and so another voltage: the fourth column.
    """
    top, turning = DUTY_ROWS - 1.000001, 1.0  # rad/s

    def plain(S: Any, n: int, table: Any, numbers: Any) -> None:
        for lane in range(n, n + TOGETHER):
            d, u = _split(S[APPLIED * LANES + lane] * (DUTY_ROWS - 1.000001), top)
            found = [_between(u, table[4 * d + k], table[4 * d + 4 + k]) for k in range(4)]
            S[VOLTS_RATIO * LANES + lane] = found[0] if S[OMEGA * LANES + lane] > turning else found[3]
            S[AMPS_RATIO * LANES + lane] = found[1]
            S[SPEED_SHARE * LANES + lane] = found[2]

    def emit(rows: TableRows, table: Any, numbers: Any) -> None:
        d, u = rows.split(rows[APPLIED] * top, top)
        moving, amps, share, at_rest = rows.four(table, rows.scaled(d, 4), 4, u)
        rows[VOLTS_RATIO] = rows.where(rows[OMEGA] > turning, moving, at_rest)
        rows[AMPS_RATIO] = amps
        rows[SPEED_SHARE] = share

    return _looked_up(plain, emit)


def flow_look_up() -> Any:
    """`look_up(S, table, (per_speed, per_temp, temp_0), used)` for the first `used` lanes: coolant flow and hydraulic
    torque at this speed and coolant temperature.
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

    def emit(rows: TableRows, table: Any, numbers: Any) -> None:
        per_speed, per_temp, temp_0 = (rows.writer.all_lanes(number) for number in numbers)
        j, v = rows.split((rows[LINK] - temp_0) * per_temp, x_top)
        i, u = rows.split(rows[SPEED] * per_speed, y_top)
        place = rows.writer.builder.add(rows.scaled(i, row), rows.scaled(j, 2))
        four = rows.four(table, place, row, u)
        rows[FLOW] = rows.between(v, four[0], four[2])
        rows[TORQUE_C] = rows.between(v, four[1], four[3])

    return _looked_up(plain, emit)


def exchanger_look_up() -> Any:
    """`look_up(S, table, (per_flow, volume_c), used)` for the first `used` lanes: flow capacity and the coolant-side
    conductances at this flow; `volume_c` heat capacity per volume.
    """
    top, found = FLOW_ROWS - 1.000001, (CORE_G, CORE_E, FRONT_G, FRONT_E)

    def plain(S: Any, n: int, table: Any, numbers: Any) -> None:
        per_flow, volume_c = numbers
        for lane in range(n, n + TOGETHER):
            S[FLOW_C * LANES + lane] = S[FLOW * LANES + lane] * volume_c
            i, u = _split(S[FLOW * LANES + lane] * per_flow, top)
            for k, row in enumerate(found):
                S[row * LANES + lane] = _between(u, table[4 * i + k], table[4 * i + 4 + k])

    def emit(rows: TableRows, table: Any, numbers: Any) -> None:
        per_flow, volume_c = (rows.writer.all_lanes(number) for number in numbers)
        flow = rows[FLOW]
        rows[FLOW_C] = flow * volume_c
        i, u = rows.split(flow * per_flow, top)
        for row, value in zip(found, rows.four(table, rows.scaled(i, 4), 4, u), strict=True):
            rows[row] = value

    return _looked_up(plain, emit)


def _split(place: float, top: float) -> tuple[int, float]:
    """Whole part and rest of a place in a table, held within it."""
    held = min(max(place, 0.0), top)
    return int(held), held - int(held)


def _between(share: float, low: float, high: float) -> float:
    return low + share * (high - low)


class TableRows(WrittenRows):
    """Rows of eight lanes, with what a look-up needs besides arithmetic; places in a table are whole numbers."""

    def __init__(self, builder: Any, data: Any, first: Any) -> None:
        from llvmlite import ir

        super().__init__(Writer(builder, TOGETHER), data, first)
        self.ir, self.builder, self.wholes = ir, builder, ir.VectorType(ir.IntType(64), TOGETHER)

    def split(self, place: Number, top: float) -> tuple[Any, Number]:
        """Whole part and rest of places in a table, held within it; what is no number counts as 0."""
        held = self.least(top, self.most(0.0, place))
        whole = self.builder.fptosi(held.value, self.wholes)
        return whole, held - Number(self.writer, self.builder.sitofp(whole, self.writer.kind))

    def scaled(self, whole: Any, factor: int) -> Any:
        """Whole numbers times a constant."""
        return self.builder.mul(whole, self.ir.Constant(self.wholes, [factor] * TOGETHER))

    def between(self, share: Number, low: Number, high: Number) -> Number:
        """Linear interpolation."""
        return self.fma(share, high - low, low)

    def four(self, table: Any, place: Any, further: int, share: Number) -> list[Number]:
        """Four neighbours in a table at each lane's place, interpolated towards the four `further` on."""
        found = []
        for lane in range(TOGETHER):
            at = self.builder.extract_element(place, self.ir.Constant(self.ir.IntType(32), lane))
            alone = self._shuffled(share.value, share.value, (lane,) * 4)
            low, high = self._read(table, at, 0), self._read(table, at, further)
            found.append(self.between(Number(self.writer, alone), low, high).value)
        return [Number(self.writer, value) for value in self._transposed(found)]

    def _read(self, table: Any, at: Any, further: int) -> Number:
        place = self.builder.gep(table, [self.builder.add(at, at.type(further))], inbounds=True)
        kind = self.ir.PointerType(self.ir.VectorType(self.ir.DoubleType(), 4))
        return Number(self.writer, self.builder.load(self.builder.bitcast(place, kind), align=8))

    def _shuffled(self, a: Any, b: Any, order: Sequence[int]) -> Any:
        mask = self.ir.Constant(self.ir.VectorType(self.ir.IntType(32), len(order)), list(order))
        return self.builder.shuffle_vector(a, b, mask)

    def _transposed(self, found: Sequence[Any]) -> list[Any]:
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
    """A look-up as a function (S, table, numbers, used), plain or emitted, of the first `used` lanes."""
    if UNCOMPILED:

        def looked_up(S: Any, table: Any, numbers: Any, used: int) -> None:
            for n in range(0, used, TOGETHER):
                plain(S, n, table, numbers)

        return looked_up
    from numba import types
    from numba.core import cgutils
    from numba.extending import intrinsic

    def build(context: Any, builder: Any, signature: Any, arguments: Sequence[Any]) -> Any:
        data, table = (context.make_array(signature.args[k])(context, builder, arguments[k]).data for k in (0, 1))
        numbers, used = cgutils.unpack_tuple(builder, arguments[2]), arguments[3]
        whole = used.type
        with cgutils.for_range_slice(builder, whole(0), used, whole(TOGETHER), whole) as (first, _):
            emit(TableRows(builder, data, first), table, numbers)
        return context.get_dummy_value()

    @intrinsic  # type: ignore[untyped-decorator]
    def written(typing: Any, S: Any, table: Any, numbers: Any, used: Any) -> Any:
        return types.void(S, table, numbers, types.intp), build

    return written
