"""Pieces of the inner loop written out for the compiler instruction by instruction: sweeps over the cells of a hose or
an exchanger, and table look-ups of eight lanes at a time.

Left to the compiler a loop over cells is not always unrolled in time to be vectorised, look-ups never are, and one
vector of lanes waits for its own results from cell to cell. A sweep is written once: its rows compute (plain Python) or
emit code (compiled).
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
    LINK,
    OMEGA,
    SPEED,
    SPEED_ROWS,
    SPEED_SHARE,
    TEMP_COLUMNS,
    TORQUE_C,
    VOLTS_RATIO,
)  # fmt: skip

TOGETHER = 8  # lanes looked up at a time; every batch is a multiple of it wide


def lanes_at_once(width: int) -> int:
    """Lanes a sweep takes side by side: two of the machine's vectors, so that one works while the other waits."""
    if UNCOMPILED:
        return 1
    import llvmlite.binding as llvm

    features = llvm.get_host_cpu_features()
    return min(width, 16 if features.get("avx512f") else 8)


def swept(body: Callable[[Any, Any, Any], None], width: int) -> Any:
    """`body(rows, x, p)` made a function (S, n, X, o, P) for `lanes_at_once(width)` lanes from n on: `rows[r]` are
    those lanes of row r of S, `x[k]` is X[o + k] and `p[k]` is P[k]. The body is ordinary arithmetic; where it is to
    be compiled it runs once, on numbers that write down what is done to them, and its loops are thereby unrolled.
    """
    if UNCOMPILED:
        return lambda S, n, X, o, P: body(PlainRows(S, n, width), X[o:], P)
    from numba import types
    from numba.extending import intrinsic

    count = lanes_at_once(width)

    def build(context: Any, builder: Any, signature: Any, arguments: Sequence[Any]) -> Any:
        s, x, p = (context.make_array(signature.args[k])(context, builder, arguments[k]).data for k in (0, 2, 4))
        zero = arguments[3].type(0)
        writer = Writer(builder, count)
        body(WrittenRows(writer, s, arguments[1], width), Given(writer, x, arguments[3]), Given(writer, p, zero))
        return context.get_dummy_value()

    @intrinsic  # type: ignore[untyped-decorator]
    def written(typing: Any, S: Any, n: Any, X: Any, o: Any, P: Any) -> Any:
        return types.void(S, types.intp, X, types.intp, P), build

    return written


class PlainRows:
    """Rows of one lane, computed with at once."""

    def __init__(self, state: Any, lane: int, width: int) -> None:
        self.state, self.lane, self.width = state, lane, width

    def __getitem__(self, row: int) -> float:
        return float(self.state[row * self.width + self.lane])

    def __setitem__(self, row: int, value: float) -> None:
        self.state[row * self.width + self.lane] = value

    def fma(self, a: float, b: float, c: float) -> float:
        """The value a * b + c."""
        return a * b + c

    def least(self, a: float, b: float) -> float:
        """The smaller."""
        return min(a, b)

    def most(self, a: float, b: float) -> float:
        """The larger."""
        return max(a, b)


class Writer:
    """Emits instructions on vectors of lanes."""

    def __init__(self, builder: Any, count: int) -> None:
        from llvmlite import ir

        self.ir, self.builder, self.count = ir, builder, count
        self.kind = ir.VectorType(ir.DoubleType(), count)

    def number(self, value: Any) -> Number:
        """A Python number, or one already there, as a number in all lanes."""
        return value if isinstance(value, Number) else Number(self, self.ir.Constant(self.kind, [value] * self.count))

    def all_lanes(self, value: Any) -> Number:
        """A single computed number in all lanes."""
        index = self.ir.IntType(32)
        alone = self.builder.insert_element(self.ir.Constant(self.kind, self.ir.Undefined), value, index(0))
        mask = self.ir.Constant(self.ir.VectorType(index, self.count), [0] * self.count)
        return Number(self, self.builder.shuffle_vector(alone, alone, mask))

    def fma(self, a: Any, b: Any, c: Any) -> Any:
        """The instruction a * b + c on vectors of any length, rounded once; strict floating point forbids the
        compiler to fuse by itself, so written out it is the same in every lane and at every width.
        """
        name = f"llvm.fma.v{a.type.count}f64"
        function = self.builder.module.globals.get(name) or self.ir.Function(
            self.builder.module, self.ir.FunctionType(a.type, [a.type] * 3), name
        )
        return self.builder.call(function, [a, b, c])


class Number:
    """A number in each lane that writes down what is done to it."""

    def __init__(self, writer: Writer, value: Any) -> None:
        self.writer, self.value = writer, value

    def _with(self, operation: str, left: Any, right: Any) -> Number:
        w = self.writer
        return Number(w, getattr(w.builder, operation)(w.number(left).value, w.number(right).value))

    def __add__(self, other: Any) -> Number:
        return self._with("fadd", self, other)

    def __radd__(self, other: Any) -> Number:
        return self._with("fadd", other, self)

    def __sub__(self, other: Any) -> Number:
        return self._with("fsub", self, other)

    def __rsub__(self, other: Any) -> Number:
        return self._with("fsub", other, self)

    def __mul__(self, other: Any) -> Number:
        return self._with("fmul", self, other)

    def __rmul__(self, other: Any) -> Number:
        return self._with("fmul", other, self)

    def __rtruediv__(self, other: Any) -> Number:
        return self._with("fdiv", other, self)


class Given:
    """Numbers all lanes share, read from a flat array."""

    def __init__(self, writer: Writer, data: Any, first: Any) -> None:
        self.writer, self.data, self.first = writer, data, first

    def __getitem__(self, place: int) -> Number:
        builder = self.writer.builder
        at = builder.gep(self.data, [builder.add(self.first, self.first.type(place))], inbounds=True)
        return self.writer.all_lanes(builder.load(at))


class WrittenRows:
    """Rows of several lanes, code emitted for what is asked; the same operations as `PlainRows`."""

    def __init__(self, writer: Writer, data: Any, first: Any, width: int) -> None:
        self.writer, self.data, self.first, self.width = writer, data, first, width

    def _place(self, row: int) -> Any:
        builder = self.writer.builder
        offset = builder.add(self.first, self.first.type(row * self.width), flags=["nsw"])
        place = builder.gep(self.data, [offset], inbounds=True)
        return builder.bitcast(place, self.writer.ir.PointerType(self.writer.kind))

    def __getitem__(self, row: int) -> Number:
        return Number(self.writer, self.writer.builder.load(self._place(row), align=8))

    def __setitem__(self, row: int, value: Any) -> None:
        self.writer.builder.store(self.writer.number(value).value, self._place(row), align=8)

    def fma(self, a: Any, b: Any, c: Any) -> Number:
        """The value a * b + c, rounded once."""
        w = self.writer
        return Number(w, w.fma(*(w.number(v).value for v in (a, b, c))))

    def least(self, a: Any, b: Any) -> Number:
        """The smaller."""
        return self._chosen("<", a, b)

    def most(self, a: Any, b: Any) -> Number:
        """The larger."""
        return self._chosen(">", a, b)

    def _chosen(self, than: str, given: Any, other: Any) -> Number:
        builder, a, b = self.writer.builder, self.writer.number(given).value, self.writer.number(other).value
        return Number(self.writer, builder.select(builder.fcmp_ordered(than, b, a), b, a))


# --- look-ups: rows of a table read whole, lane by lane, and turned so that lanes lie side by side ----------------


def duty_look_up(width: int) -> Any:
    """`look_up(S, n, table, ())` for lanes n..n+7: what pulse-width modulation makes of a duty, and a pump's own
    controller of its signal. A rotor at rest has no back EMF and so another voltage: the table's fourth column.
    """
    top, turning = DUTY_ROWS - 1.000001, 1.0  # rad/s

    def plain(S: Any, n: int, table: Any, numbers: Any) -> None:
        for lane in range(n, n + TOGETHER):
            d, u = _split(S[APPLIED * width + lane] * (DUTY_ROWS - 1.000001), top)
            found = [_between(u, table[4 * d + k], table[4 * d + 4 + k]) for k in range(4)]
            S[VOLTS_RATIO * width + lane] = found[0] if S[OMEGA * width + lane] > turning else found[3]
            S[AMPS_RATIO * width + lane] = found[1]
            S[SPEED_SHARE * width + lane] = found[2]

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

    return _looked_up(plain, emit, width)


def flow_look_up(width: int) -> Any:
    """`look_up(S, n, table, (per_speed, per_temp, temp_0))` for lanes n..n+7: coolant flow and hydraulic torque at this
    speed and coolant temperature.
    """
    x_top, y_top, row = TEMP_COLUMNS - 1.000001, SPEED_ROWS - 1.000001, 2 * TEMP_COLUMNS

    def plain(S: Any, n: int, table: Any, numbers: Any) -> None:
        per_speed, per_temp, temp_0 = numbers
        for lane in range(n, n + TOGETHER):
            j, v = _split((S[LINK * width + lane] - temp_0) * per_temp, x_top)
            i, u = _split(S[SPEED * width + lane] * per_speed, y_top)
            near = i * row + 2 * j
            four = [_between(u, table[near + k], table[near + row + k]) for k in range(4)]
            S[FLOW * width + lane] = _between(v, four[0], four[2])
            S[TORQUE_C * width + lane] = _between(v, four[1], four[3])

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

    return _looked_up(plain, emit, width)


def exchanger_look_up(width: int) -> Any:
    """`look_up(S, n, table, (per_flow, volume_c))` for lanes n..n+7: flow capacity and the coolant-side conductances at
    this flow; `volume_c` heat capacity per volume.
    """
    top, rows = FLOW_ROWS - 1.000001, (CORE_G, CORE_E, FRONT_G, FRONT_E)

    def plain(S: Any, n: int, table: Any, numbers: Any) -> None:
        per_flow, volume_c = numbers
        for lane in range(n, n + TOGETHER):
            S[FLOW_C * width + lane] = S[FLOW * width + lane] * volume_c
            i, u = _split(S[FLOW * width + lane] * per_flow, top)
            for k, row in enumerate(rows):
                S[row * width + lane] = _between(u, table[4 * i + k], table[4 * i + 4 + k])

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

    return _looked_up(plain, emit, width)


def _split(place: float, top: float) -> tuple[int, float]:
    """Whole part and rest of a place in a table, held within it."""
    held = min(max(place, 0.0), top)
    return int(held), held - int(held)


def _between(share: float, low: float, high: float) -> float:
    return low + share * (high - low)


class Lanes:
    """Eight lanes of the rows as vectors, code emitted for what is asked."""

    def __init__(self, builder: Any, data: Any, first: Any, width: int) -> None:
        from llvmlite import ir

        self.ir, self.builder, self.data, self.first, self.width = ir, builder, data, first, width
        self.doubles, self.wholes = (ir.VectorType(t, TOGETHER) for t in (ir.DoubleType(), ir.IntType(64)))

    def _place(self, row: int) -> Any:
        offset = self.builder.add(self.first, self.first.type(row * self.width), flags=["nsw"])
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


def _looked_up(plain: Callable[..., None], emit: Callable[..., None], width: int) -> Any:
    """A look-up as a function (S, n, table, numbers), plain or emitted."""
    if UNCOMPILED:
        return plain
    from numba import types
    from numba.core import cgutils
    from numba.extending import intrinsic

    def build(context: Any, builder: Any, signature: Any, arguments: Sequence[Any]) -> Any:
        data, table = (context.make_array(signature.args[k])(context, builder, arguments[k]).data for k in (0, 2))
        emit(Lanes(builder, data, arguments[1], width), table, cgutils.unpack_tuple(builder, arguments[3]))
        return context.get_dummy_value()

    @intrinsic  # type: ignore[untyped-decorator]
    def written(typing: Any, S: Any, n: Any, table: Any, numbers: Any) -> Any:
        return types.void(S, types.intp, table, numbers), build

    return written
