"""Eight numbers as one: the vector type in which the compiled kernel calculates.

A `Lanes` value holds one number of each of LANES members and stands in the machine's vector
registers, so that a formula is written once, as for one member, and runs for all of them. numba
turns loops into vector code only where it can prove much; here nothing has to be proved.
"""

# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

import operator
from typing import Any

from llvmlite import ir  # type: ignore[import-untyped]
from numba import extending, njit, types
from numba.core import cgutils
from numba.core.typing.templates import ConcreteTemplate, infer_global, signature
from numba.extending import lower_builtin, models, overload, register_model

intrinsic: Any = extending.intrinsic  # what it makes is called without its first argument

LANES = 8
WIDE = 8 * LANES  # bytes of one value

_DOUBLES = ir.VectorType(ir.DoubleType(), LANES)
_INTEGERS = ir.VectorType(ir.IntType(64), LANES)
_BITS = ir.VectorType(ir.IntType(1), LANES)


class _Vector(types.Type):
    """A numba type that is one vector of the machine."""


@register_model(_Vector)
class _VectorModel(models.PrimitiveModel):
    def __init__(self, manager, kind):
        super().__init__(manager, kind, {"Lanes": _DOUBLES, "Marks": _BITS}[kind.name])


lanes = _Vector("Lanes")
marks = _Vector("Marks")


def _spread(builder, value):
    """One number in every lane."""
    empty = ir.Constant(value.type if isinstance(value.type, ir.VectorType) else _DOUBLES, ir.Undefined)
    one = builder.insert_element(empty, value, ir.Constant(ir.IntType(32), 0))
    zeros = ir.Constant(ir.VectorType(ir.IntType(32), LANES), [0] * LANES)
    return builder.shuffle_vector(one, empty, zeros)


def _wide(builder, value):
    return value if isinstance(value.type, ir.VectorType) else _spread(builder, value)


def _teach(operation, result, emit, kinds=((lanes, lanes), (lanes, types.float64), (types.float64, lanes))):
    """Let numba know an operator of lanes, of lanes and a number, and of a number and lanes."""

    given = {"key": operation, "cases": [signature(result, *kind) for kind in kinds]}
    infer_global(operation)(type("Template", (ConcreteTemplate,), given))

    def lowered(_context, builder, _signature, args):
        return emit(builder, *(_wide(builder, arg) for arg in args))

    for kind in kinds:
        lower_builtin(operation, *kind)(lowered)


_teach(operator.add, lanes, lambda b, x, y: b.fadd(x, y))
_teach(operator.sub, lanes, lambda b, x, y: b.fsub(x, y))
_teach(operator.mul, lanes, lambda b, x, y: b.fmul(x, y))
_teach(operator.truediv, lanes, lambda b, x, y: b.fdiv(x, y))
_teach(operator.neg, lanes, lambda b, x: b.fneg(x), ((lanes,),))
for _name, _sign in (("lt", "<"), ("le", "<="), ("gt", ">"), ("ge", ">="), ("eq", "==")):
    _teach(getattr(operator, _name), marks, lambda b, x, y, s=_sign: b.fcmp_ordered(s, x, y))
_teach(operator.and_, marks, lambda b, x, y: b.and_(x, y), ((marks, marks),))
_teach(operator.or_, marks, lambda b, x, y: b.or_(x, y), ((marks, marks),))
_teach(operator.invert, marks, lambda b, x: b.not_(x), ((marks,),))


def _machine(builder, name, *args):
    """A vector instruction of LLVM by its name."""
    kind = ir.FunctionType(_DOUBLES, [_DOUBLES] * len(args))
    function = cgutils.get_or_insert_function(builder.module, kind, f"llvm.{name}.v{LANES}f64")
    return builder.call(function, args)


def _numeric(*given):
    return all(kind == lanes or isinstance(kind, (types.Float, types.Integer)) for kind in given)


def _function(name, count):
    """An intrinsic of `count` lanes or numbers that is one instruction of LLVM."""

    def codegen(context, builder, sig, args):
        parts = []
        for kind, value in zip(sig.args, args, strict=True):
            number = value if kind == lanes else context.cast(builder, value, kind, types.float64)
            parts.append(_wide(builder, number))
        return _machine(builder, name, *parts)

    if count == 1:

        @intrinsic
        def one(typing_context, x):
            return (lanes(x), codegen) if _numeric(x) else None

        return one
    if count == 2:

        @intrinsic
        def two(typing_context, x, y):
            return (lanes(x, y), codegen) if _numeric(x, y) else None

        return two

    @intrinsic
    def three(typing_context, x, y, z):
        return (lanes(x, y, z), codegen) if _numeric(x, y, z) else None

    return three


root = _function("sqrt", 1)
size_of = _function("fabs", 1)
nearest = _function("rint", 1)
below = _function("floor", 1)
fused = _function("fmuladd", 3)  # x y + z


@intrinsic
def where(typing_context, mark, yes, no):
    """`yes` in the marked lanes, `no` in the others."""

    def codegen(context, builder, sig, args):
        parts = [
            value if kind == lanes else context.cast(builder, value, kind, types.float64)
            for kind, value in zip(sig.args[1:], args[1:], strict=True)
        ]
        return builder.select(args[0], *(_wide(builder, part) for part in parts))

    return (lanes(mark, yes, no), codegen) if mark == marks and _numeric(yes, no) else None


def _chosen(sign):
    """An intrinsic that takes one of two; where the first is no number, the second."""

    @intrinsic
    def chosen(typing_context, x, y):
        def codegen(context, builder, sig, args):
            parts = [
                _wide(builder, value if kind == lanes else context.cast(builder, value, kind, types.float64))
                for kind, value in zip(sig.args, args, strict=True)
            ]
            return builder.select(builder.fcmp_ordered(sign, *parts), *parts)

        return (lanes(x, y), codegen) if _numeric(x, y) else None

    return chosen


largest = _chosen(">")
smallest = _chosen("<")


rows = types.CPointer(types.float64)  # rows of LANES numbers, or plain numbers, in memory


class _Count(types.Opaque):
    """A whole number that is known when the code is compiled."""

    def __init__(self, number):
        self.number = number
        super().__init__(name=f"Count({number})")


register_model(_Count)(models.OpaqueModel)


@intrinsic
def count_of(typing_context, entries):
    """The length of a tuple, known when the code is compiled; `len` gives the number."""

    def codegen(context, builder, sig, args):
        return context.get_dummy_value()

    return (_Count(len(entries))(entries), codegen)


@overload(len)
def _length(count):
    if isinstance(count, _Count):
        number = count.number
        return lambda count: number
    return None


@intrinsic
def rows_of(typing_context, array):
    """Where the numbers of an array begin; the array has to outlive it."""

    def codegen(context, builder, sig, args):
        return context.make_array(sig.args[0])(context, builder, args[0]).data

    fits = isinstance(array, types.Array) and array.dtype == types.float64 and array.layout == "C"
    return (rows(array), codegen) if fits else None


def _moved(context, builder, pointer, kind, index, *, numbers):
    """Pointer moved on by index times so many numbers."""
    index = context.cast(builder, index, kind, types.int64)
    return builder.gep(pointer, [builder.mul(index, ir.Constant(index.type, numbers))])


@intrinsic
def row(typing_context, pointer, index):
    """The rows from row `index` on."""

    def codegen(context, builder, sig, args):
        return _moved(context, builder, args[0], sig.args[1], args[1], numbers=LANES)

    return (rows(pointer, index), codegen) if pointer == rows else None


@intrinsic
def get(typing_context, pointer, index):
    """Row `index`."""

    def codegen(context, builder, sig, args):
        place = _moved(context, builder, args[0], sig.args[1], args[1], numbers=LANES)
        return builder.load(builder.bitcast(place, _DOUBLES.as_pointer()), align=8)

    return (lanes(pointer, index), codegen) if pointer == rows else None


@intrinsic
def put(typing_context, pointer, index, value):
    """Write row `index`."""

    def codegen(context, builder, sig, args):
        value = (
            args[2] if sig.args[2] == lanes else context.cast(builder, args[2], sig.args[2], types.float64)
        )
        place = _moved(context, builder, args[0], sig.args[1], args[1], numbers=LANES)
        builder.store(_wide(builder, value), builder.bitcast(place, _DOUBLES.as_pointer()), align=8)
        return context.get_dummy_value()

    return (types.void(pointer, index, value), codegen) if pointer == rows and _numeric(value) else None


@intrinsic
def number(typing_context, pointer, index):
    """One plain number of a row of plain numbers."""

    def codegen(context, builder, sig, args):
        return builder.load(_moved(context, builder, args[0], sig.args[1], args[1], numbers=1))

    return (types.float64(pointer, index), codegen) if pointer == rows else None


@intrinsic
def power_of_two(typing_context, exponent):
    """2 to a whole power."""

    def codegen(context, builder, sig, args):
        whole = builder.fptosi(args[0], _INTEGERS)
        bias = ir.Constant(_INTEGERS, [1023] * LANES)
        shift = ir.Constant(_INTEGERS, [52] * LANES)
        return builder.bitcast(builder.shl(builder.add(whole, bias), shift), _DOUBLES)

    return (lanes(exponent), codegen) if exponent == lanes else None


@intrinsic
def split(typing_context, x):
    """Mantissa from sqrt(1/2) to sqrt(2), and the power of two that goes with it; x above 0."""

    def codegen(context, builder, sig, args):
        def all_lanes(number):
            return ir.Constant(_INTEGERS, [number] * LANES)

        bits = builder.bitcast(args[0], _INTEGERS)
        low = all_lanes(0x3FE6A09E667F3BCD)  # sqrt(1/2)
        over = builder.ashr(builder.sub(bits, low), all_lanes(52))
        mantissa = builder.sub(bits, builder.shl(over, all_lanes(52)))
        answer = builder.bitcast(mantissa, _DOUBLES), builder.sitofp(over, _DOUBLES)
        return context.make_tuple(builder, sig.return_type, answer)

    return (types.UniTuple(lanes, 2)(x), codegen) if x == lanes else None


@intrinsic
def cell_of(typing_context, table, cell, last):
    """The four numbers of a cell in each lane's own table, from table (LANES, cells + 1, 2) flat.

    A cell has value and slope at its left and at its right; cells are `last` and fewer.
    """

    def codegen(context, builder, sig, args):
        width = builder.add(
            context.cast(builder, args[2], sig.args[2], types.int64), ir.Constant(ir.IntType(64), 1)
        )
        cells = builder.fptosi(args[1], _INTEGERS)
        four = ir.VectorType(ir.DoubleType(), 4)
        parts = []
        for k in range(LANES):
            cell = builder.extract_element(cells, ir.Constant(ir.IntType(32), k))
            first = builder.add(builder.mul(width, ir.Constant(ir.IntType(64), k)), cell)
            place = builder.gep(args[0], [builder.shl(first, ir.Constant(ir.IntType(64), 1))])
            parts.append(builder.load(builder.bitcast(place, four.as_pointer()), align=8))
        while len(parts) > 1:  # join neighbours: 8 of 4, 4 of 8, 2 of 16, 1 of 32
            size = parts[0].type.count
            both = ir.Constant(ir.VectorType(ir.IntType(32), 2 * size), list(range(2 * size)))
            parts = [builder.shuffle_vector(a, b, both) for a, b in zip(parts[::2], parts[1::2], strict=True)]
        everything = parts[0]
        answer = []
        for column in range(4):
            chosen = [4 * k + column for k in range(LANES)]
            mask = ir.Constant(ir.VectorType(ir.IntType(32), LANES), chosen)
            answer.append(builder.shuffle_vector(everything, everything, mask))
        return context.make_tuple(builder, sig.return_type, answer)

    return (types.UniTuple(lanes, 4)(table, cell, last), codegen) if table == rows and cell == lanes else None


@njit(error_model="numpy")
def exponential(x):
    """e to the x, within 1e-14 of itself, for x from -700 to 700 (held there)."""
    x = largest(smallest(x, 700.0), -700.0)
    whole = nearest(x * 1.4426950408889634)
    r = fused(whole, -1.9082149292705877e-10, fused(whole, -0.6931471803691238, x))
    r2 = r * r
    r4 = r2 * r2
    low = fused(fused(r, 1.0 / 6.0, 0.5), r2, r + 1.0)
    middle = fused(fused(r, 1.0 / 5040.0, 1.0 / 720.0), r2, fused(r, 1.0 / 120.0, 1.0 / 24.0))
    high = fused(fused(r, 1.0 / 39916800.0, 1.0 / 3628800.0), r2, fused(r, 1.0 / 362880.0, 1.0 / 40320.0))
    return fused(fused(high, r4, middle), r4, low) * power_of_two(whole)


@njit(error_model="numpy")
def logarithm(x):
    """Natural logarithm of x above 0, within 1e-14."""
    mantissa, exponent = split(x)
    f = (mantissa - 1.0) / (mantissa + 1.0)
    f2 = f * f
    f4 = f2 * f2
    low = fused(fused(f2, 1.0 / 7.0, 1.0 / 5.0), f4, fused(f2, 1.0 / 3.0, 1.0))
    high = fused(fused(f2, 1.0 / 15.0, 1.0 / 13.0), f4, fused(f2, 1.0 / 11.0, 1.0 / 9.0))
    high = fused(f4 * f4, 1.0 / 17.0, high)
    series = fused(high, f4 * f4, low)
    return fused(exponent, 0.6931471805599453, 2.0 * f * series)


@njit(error_model="numpy")
def power(x, p):
    """x above 0 to the p."""
    return exponential(p * logarithm(x))
