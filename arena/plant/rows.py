"""Sweeps over the cells of a hose or an exchanger, written out for the compiler instruction by instruction.

Left to the compiler a loop over cells is not always unrolled in time to be vectorised, and one vector of lanes waits
for its own results from cell to cell. A sweep is written once: its rows compute (plain Python) or emit code (compiled).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from arena.plant.jit import UNCOMPILED
from arena.plant.layout import LANES, X_COLUMNS


def lanes_at_once() -> tuple[int, int]:
    """Lanes a sweep takes side by side, of a hose and of an exchanger: two of the machine's vectors, so that one works
    while the other waits; one in an exchanger where there are sixteen registers, which its coefficients fill.
    """
    if UNCOMPILED:
        return 1, 1
    import llvmlite.binding as llvm

    return (16, 16) if llvm.get_host_cpu_features().get("avx512f") else (8, 4)


def swept(*bodies: tuple[Callable[[Any, Any, Any], None], int]) -> Any:
    """Bodies `body(rows, x, p)`, each with how many lanes it takes at once, made a function (S, X, o, P, used) that
    runs them one after another on each few of the first `used` lanes: `rows[r]` are those lanes of row r of S, `x[k]`
    is X[o + k], `x.tick` the number of the tick and `p[k]` is P[k].

    A body is ordinary arithmetic, with `rows.where` for what differs from lane to lane; where it is to be compiled it
    runs once, on numbers that write down what is done to them, and its loops are thereby unrolled.
    """
    widest = max(count for _, count in bodies)
    if UNCOMPILED:

        def plain(S: Any, X: Any, o: int, P: Any, used: int) -> None:
            for lane in range(used):
                for body, _ in bodies:
                    body(PlainRows(S, lane), PlainTick(X, o), P)

        return plain
    from numba import types
    from numba.core.cgutils import for_range_slice
    from numba.extending import intrinsic

    def build(context: Any, builder: Any, signature: Any, arguments: Sequence[Any]) -> Any:
        s, x, p = (context.make_array(signature.args[k])(context, builder, arguments[k]).data for k in (0, 1, 3))
        o, used = arguments[2], arguments[4]
        whole = used.type
        with for_range_slice(builder, whole(0), used, whole(widest), whole) as (first, _):
            for body, count in bodies:
                writer = Writer(builder, count)
                given = GivenTick(writer, x, o), Given(writer, p, whole(0))
                for more in range(0, widest, count):
                    body(WrittenRows(writer, s, builder.add(first, whole(more))), *given)
        return context.get_dummy_value()

    @intrinsic  # type: ignore[untyped-decorator]
    def written(typing: Any, S: Any, X: Any, o: Any, P: Any, used: Any) -> Any:
        return types.void(S, X, types.intp, P, types.intp), build

    return written


class PlainRows:
    """Rows of one lane, computed with at once."""

    def __init__(self, state: Any, lane: int) -> None:
        self.state, self.lane = state, lane

    def __getitem__(self, row: int) -> float:
        return float(self.state[row * LANES + self.lane])

    def __setitem__(self, row: int, value: float) -> None:
        self.state[row * LANES + self.lane] = value

    def fma(self, a: float, b: float, c: float) -> float:
        """The value a * b + c."""
        return a * b + c

    def least(self, a: float, b: float) -> float:
        """The smaller."""
        return min(a, b)

    def most(self, a: float, b: float) -> float:
        """The larger."""
        return max(a, b)

    def where(self, condition: bool, yes: float, no: float) -> float:
        """Of two numbers the first where the condition holds, else the second."""
        return yes if condition else no

    def floor(self, a: float) -> float:
        """The whole number below."""
        return float(np.floor(a))

    def root(self, a: float) -> float:
        """Square root; of what is below 0 it is no number."""
        return float(np.sqrt(a))


class PlainTick:
    """What is given for one tick, computed with at once."""

    def __init__(self, data: Any, first: int) -> None:
        self.data, self.first, self.tick = data, first, float(first // X_COLUMNS)

    def __getitem__(self, place: int) -> float:
        return float(self.data[self.first + place])


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
        compiler to fuse by itself, so written out it is the same in every lane and every batch.
        """
        return self.intrinsic("fma", a, b, c)

    def intrinsic(self, name: str, *given: Any) -> Any:
        """One of LLVM's own functions on vectors of any length: fma, sqrt, floor."""
        kind, name = given[0].type, f"llvm.{name}.v{given[0].type.count}f64"
        function = self.builder.module.globals.get(name) or self.ir.Function(
            self.builder.module, self.ir.FunctionType(kind, [kind] * len(given)), name
        )
        return self.builder.call(function, given)


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

    def __truediv__(self, other: Any) -> Number:
        return self._with("fdiv", self, other)

    def __rtruediv__(self, other: Any) -> Number:
        return self._with("fdiv", other, self)

    def _compared(self, than: str, other: Any) -> Condition:
        return Condition(
            self.writer, self.writer.builder.fcmp_ordered(than, self.value, self.writer.number(other).value)
        )

    def __lt__(self, other: Any) -> Condition:
        return self._compared("<", other)

    def __le__(self, other: Any) -> Condition:
        return self._compared("<=", other)

    def __gt__(self, other: Any) -> Condition:
        return self._compared(">", other)

    def __ge__(self, other: Any) -> Condition:
        return self._compared(">=", other)


class Condition:
    """What holds or does not in each lane; what is no number compares as not."""

    def __init__(self, writer: Writer, value: Any) -> None:
        self.writer, self.value = writer, value

    def __and__(self, other: Condition) -> Condition:
        return Condition(self.writer, self.writer.builder.and_(self.value, other.value))

    def __or__(self, other: Condition) -> Condition:
        return Condition(self.writer, self.writer.builder.or_(self.value, other.value))


class Given:
    """Numbers all lanes share, read from a flat array."""

    def __init__(self, writer: Writer, data: Any, first: Any) -> None:
        self.writer, self.data, self.first = writer, data, first

    def __getitem__(self, place: int) -> Number:
        builder = self.writer.builder
        at = builder.gep(self.data, [builder.add(self.first, self.first.type(place))], inbounds=True)
        return self.writer.all_lanes(builder.load(at))


class GivenTick(Given):
    """The same for one tick, whose number it knows."""

    @property
    def tick(self) -> Number:
        """Number of the tick."""
        builder = self.writer.builder
        whole = builder.sdiv(self.first, self.first.type(X_COLUMNS))
        return self.writer.all_lanes(builder.sitofp(whole, self.writer.ir.DoubleType()))


class WrittenRows:
    """Rows of several lanes, code emitted for what is asked; the same operations as `PlainRows`."""

    def __init__(self, writer: Writer, data: Any, first: Any) -> None:
        self.writer, self.data, self.first = writer, data, first

    def _place(self, row: int) -> Any:
        builder = self.writer.builder
        offset = builder.add(self.first, self.first.type(row * LANES), flags=["nsw"])
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
        a, b = self.writer.number(a), self.writer.number(b)
        return self.where(b < a, b, a)

    def most(self, a: Any, b: Any) -> Number:
        """The larger."""
        a, b = self.writer.number(a), self.writer.number(b)
        return self.where(b > a, b, a)

    def where(self, condition: Condition, yes: Any, no: Any) -> Number:
        """Of two numbers the first where the condition holds, else the second."""
        first, second = (self.writer.number(value).value for value in (yes, no))
        return Number(self.writer, self.writer.builder.select(condition.value, first, second))

    def floor(self, a: Any) -> Number:
        """The whole number below."""
        return Number(self.writer, self.writer.intrinsic("floor", self.writer.number(a).value))

    def root(self, a: Any) -> Number:
        """Square root; of what is below 0 it is no number."""
        return Number(self.writer, self.writer.intrinsic("sqrt", self.writer.number(a).value))
