"""Numbers of several runs at once, for compiled functions: one instruction serves all of them.

What `take` gives holds one number of each of several runs that go side by side and is calculated
with like any other; what a comparison of them gives holds one answer of each and goes into `pick`, or
becomes bits of a whole number by `bits_of`. Every operation is that of the processor on each
number alone, so a function that is written for one number gives the same bits for many: `pick`,
`power_of_two` and `floor` take plain numbers, too. All of it exists in compiled code only.
"""

# ruff: noqa: ARG001  the compiler hands more to these functions than they need
# mypy: disable-error-code="no-untyped-call"
from __future__ import annotations

import math
import operator
import platform
from typing import Any

from llvmlite import ir  # type: ignore[import-untyped]
from numba.core import types
from numba.core.cgutils import get_or_insert_function
from numba.core.extending import intrinsic, models, register_model
from numba.core.imputils import lower_builtin
from numba.core.typing.templates import ConcreteTemplate, infer_global, signature

from harness.world.compiling import part

# Two registers of four numbers each: while one waits for a division, the other goes on. `fetch` and
# `put_some` count on that.
LANES = 8
ALL = (1 << LANES) - 1
_VECTOR = ir.VectorType(ir.DoubleType(), LANES)
_MASK = ir.VectorType(ir.IntType(1), LANES)


class _Numbers(types.Type):
    """One number of each lane."""

    def __init__(self) -> None:
        super().__init__(name=f"Lanes{LANES}")


class _Answers(types.Type):
    """True or false for each lane."""

    def __init__(self) -> None:
        super().__init__(name=f"LaneAnswers{LANES}")


numbers, answers = _Numbers(), _Answers()
# For annotations: one number of each lane, and one answer of each.
Numbers = Any
Answers = Any
_float, _int = types.float64, types.int64


@register_model(_Numbers)
class _NumbersModel(models.PrimitiveModel):
    def __init__(self, manager: Any, of: Any) -> None:
        super().__init__(manager, of, _VECTOR)


@register_model(_Answers)
class _AnswersModel(models.PrimitiveModel):
    def __init__(self, manager: Any, of: Any) -> None:
        super().__init__(manager, of, _MASK)


def _spread(builder: Any, kind: Any, value: Any) -> Any:
    """The same number in every lane."""
    if kind is numbers:
        return value
    if kind is not _float:
        value = builder.sitofp(value, ir.DoubleType())
    first = builder.insert_element(ir.Constant(_VECTOR, ir.Undefined), value, ir.IntType(32)(0))
    order = ir.Constant(ir.VectorType(ir.IntType(32), LANES), [0] * LANES)
    return builder.shuffle_vector(first, ir.Constant(_VECTOR, ir.Undefined), order)


_PAIRS = [
    (numbers, numbers),
    (numbers, _float),
    (_float, numbers),
    (numbers, _int),
    (_int, numbers),
]


def _binary(what: Any, result: Any, build: Any) -> None:
    """Teach the compiler an operation on two numbers of which one at least is of many lanes."""

    class Template(ConcreteTemplate):
        key = what
        cases = [signature(result, *pair) for pair in _PAIRS]  # noqa: RUF012

    infer_global(what)(Template)
    for pair in _PAIRS:

        def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
            a, b = (_spread(builder, k, v) for k, v in zip(sig.args, args, strict=True))
            return build(builder, a, b)

        lower_builtin(what, *pair)(lower)


def _of_answers(what: Any, build: Any, count: int) -> None:
    class Template(ConcreteTemplate):
        key = what
        cases = [signature(answers, *[answers] * count)]  # noqa: RUF012

    infer_global(what)(Template)

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return build(builder, *args)

    lower_builtin(what, *[answers] * count)(lower)


def _unary(what: Any, build: Any) -> None:
    class Template(ConcreteTemplate):
        key = what
        cases = [signature(numbers, numbers)]  # noqa: RUF012

    infer_global(what)(Template)

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return build(builder, *args)

    lower_builtin(what, numbers)(lower)


def _compare(symbol: str) -> Any:
    return lambda builder, a, b: builder.fcmp_ordered(symbol, a, b)


def _called(name: str) -> Any:
    def build(builder: Any, value: Any) -> Any:
        kind = ir.FunctionType(_VECTOR, [_VECTOR])
        function = get_or_insert_function(builder.module, kind, f"{name}.v{LANES}f64")
        return builder.call(function, [value])

    return build


def _choose(symbol: str) -> Any:
    def build(builder: Any, a: Any, b: Any) -> Any:
        return builder.select(builder.fcmp_ordered(symbol, a, b), a, b)

    return build


_binary(operator.add, numbers, lambda builder, a, b: builder.fadd(a, b))
_binary(operator.sub, numbers, lambda builder, a, b: builder.fsub(a, b))
_binary(operator.mul, numbers, lambda builder, a, b: builder.fmul(a, b))
_binary(operator.truediv, numbers, lambda builder, a, b: builder.fdiv(a, b))
_binary(operator.lt, answers, _compare("<"))
_binary(operator.le, answers, _compare("<="))
_binary(operator.gt, answers, _compare(">"))
_binary(operator.ge, answers, _compare(">="))
_binary(operator.eq, answers, _compare("=="))
_binary(operator.ne, answers, lambda builder, a, b: builder.fcmp_unordered("!=", a, b))
_binary(max, numbers, _choose(">"))
_binary(min, numbers, _choose("<"))
_of_answers(operator.and_, lambda builder, a, b: builder.and_(a, b), 2)
_of_answers(operator.or_, lambda builder, a, b: builder.or_(a, b), 2)
_of_answers(operator.invert, lambda builder, a: builder.not_(a), 1)
_unary(abs, _called("llvm.fabs"))
_unary(math.sqrt, _called("llvm.sqrt"))
_unary(operator.neg, lambda builder, a: builder.fneg(a))


def _operation(build: Any) -> Any:
    """Teach the compiler a function: `build` says what it gives, and how it is built."""
    return intrinsic(build)


@_operation
def floor(_: Any, value: Any) -> Any:
    """The whole number at or below a number, as a number with a point."""
    many = value is numbers

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        kind = _VECTOR if many else ir.DoubleType()
        name = f"llvm.floor.v{LANES}f64" if many else "llvm.floor.f64"
        of = get_or_insert_function(builder.module, ir.FunctionType(kind, [kind]), name)
        return builder.call(of, args)

    return (numbers(numbers) if many else _float(_float)), build


@_operation
def power_of_two(_: Any, exponent: Any) -> Any:
    """Two to the power of a whole number from -1022 to 1023 that is given with a point."""
    many = exponent is numbers

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        def constant(kind: Any, value: Any) -> Any:
            return kind([value] * LANES) if many else kind(value)

        whole = ir.IntType(64)
        points = _VECTOR if many else ir.DoubleType()
        bits = ir.VectorType(whole, LANES) if many else whole
        # In the last bits of a number of this size stands its whole part.
        moved = builder.fadd(args[0], constant(points, 6755399441055744.0 + 1023.0))
        return builder.bitcast(
            builder.shl(builder.bitcast(moved, bits), constant(bits, 52)), points
        )

    return (numbers(numbers) if many else _float(_float)), build


def _address(context: Any, builder: Any, kind: Any, array: Any, row: Any) -> Any:
    data = context.make_array(kind)(context, builder, array).data
    place = builder.mul(row, ir.IntType(64)(LANES))
    return builder.bitcast(builder.gep(data, [place]), _VECTOR.as_pointer())


@_operation
def take(_: Any, array: Any, row: Any) -> Any:
    """Row `row` of an array that holds LANES numbers a row, one row after the other."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        loaded = builder.load(_address(context, builder, sig.args[0], *args))
        loaded.align = 8
        return loaded

    return numbers(array, _int), build


@_operation
def fetch(_: Any, table: Any, number: Any) -> Any:
    """Of a table of four columns, row after row, the row of each lane's number; column by column."""
    four = ir.VectorType(ir.DoubleType(), 4)
    index = ir.IntType(32)

    def order(*lanes: int) -> Any:
        return ir.Constant(ir.VectorType(index, len(lanes)), [index(lane) for lane in lanes])

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        data = context.make_array(sig.args[0])(context, builder, args[0]).data
        whole, columns = ir.IntType(64), []
        for first in range(0, LANES, 4):
            lines = []
            for lane in range(first, first + 4):
                row = builder.fptosi(builder.extract_element(args[1], index(lane)), whole)
                address = builder.gep(data, [builder.shl(row, whole(2))])
                line = builder.load(builder.bitcast(address, four.as_pointer()))
                line.align = 8
                lines.append(line)
            low, high = order(0, 4, 2, 6), order(1, 5, 3, 7)
            a, b = (builder.shuffle_vector(lines[0], lines[1], way) for way in (low, high))
            c, d = (builder.shuffle_vector(lines[2], lines[3], way) for way in (low, high))
            front, back = order(0, 1, 4, 5), order(2, 3, 6, 7)
            columns.append(
                [
                    builder.shuffle_vector(one, other, way)
                    for one, other, way in (
                        (a, c, front),
                        (b, d, front),
                        (a, c, back),
                        (b, d, back),
                    )
                ]
            )
        made = [
            builder.shuffle_vector(*halves, order(*range(LANES)))
            for halves in zip(*columns, strict=True)
        ]
        return context.make_tuple(builder, sig.return_type, made)

    return types.UniTuple(numbers, 4)(table, numbers), build


@_operation
def put(_: Any, array: Any, row: Any, value: Any) -> Any:
    """Write that row."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        value = _spread(builder, sig.args[2], args[2])
        stored = builder.store(value, _address(context, builder, sig.args[0], *args[:2]))
        stored.align = 8
        return context.get_dummy_value()

    return types.void(array, _int, value), build


@_operation
def pick(_: Any, which: Any, one: Any, other: Any) -> Any:
    """`one` where the answer is true, `other` elsewhere."""
    many = which is answers

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        a, b = args[1], args[2]
        if many:
            a, b = _spread(builder, sig.args[1], a), _spread(builder, sig.args[2], b)
        return builder.select(args[0], a, b)

    if many:
        return numbers(answers, one, other), build
    return _float(types.boolean, _float, _float), build


@_operation
def bits_of(_: Any, which: Any) -> Any:
    """The answers as bits of a whole number, that of lane 0 the lowest."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.zext(builder.bitcast(args[0], ir.IntType(LANES)), ir.IntType(64))

    return _int(answers), build


@_operation
def answers_of(_: Any, bits: Any) -> Any:
    """The other way round."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.bitcast(builder.trunc(args[0], ir.IntType(LANES)), _MASK)

    return answers(_int), build


@_operation
def spread(_: Any, value: Any) -> Any:
    """The same number in every lane."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return _spread(builder, sig.args[0], args[0])

    return numbers(value), build


@part
def chosen(which: Answers | None, one: Numbers, other: Numbers) -> Numbers:
    """`pick`; None is true everywhere."""
    if which is None:
        return one
    return pick(which, one, other)


def _unknown(builder: Any, value: Any) -> Any:
    """The same numbers, of which the compiler does not know where they come from.

    It would make of a choice between what is in memory and what comes a write of some lanes alone,
    which takes these processors ten times as long.
    """
    if platform.machine() not in ("x86_64", "AMD64"):
        return value
    half = LANES // 2
    register, index = ir.VectorType(ir.DoubleType(), half), ir.IntType(32)
    same = ir.FunctionType(register, [register])
    halves = []
    for first in (0, half):
        order = ir.Constant(
            ir.VectorType(index, half), [index(first + lane) for lane in range(half)]
        )
        part_of = builder.shuffle_vector(value, value, order)
        halves.append(builder.asm(same, "", "=x,0", [part_of], side_effect=False))
    order = ir.Constant(ir.VectorType(index, LANES), [index(lane) for lane in range(LANES)])
    return builder.shuffle_vector(*halves, order)


@_operation
def put_some(_: Any, array: Any, row: Any, which: Any, value: Any) -> Any:
    """Write that row in the lanes whose answer is true."""

    def build(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        array, row, answer, value = args
        value = _spread(builder, sig.args[3], value)
        address = _address(context, builder, sig.args[0], array, row)
        before = builder.load(address)
        before.align = 8
        stored = builder.store(builder.select(answer, value, _unknown(builder, before)), address)
        stored.align = 8
        return context.get_dummy_value()

    return types.void(array, _int, which, value), build


@part
def change(array: Any, row: int, which: Answers | None, value: Numbers) -> None:
    """Write a row in the lanes whose answer is true; None is true everywhere."""
    if which is None:
        put(array, row, value)
    else:
        put_some(array, row, which, value)
