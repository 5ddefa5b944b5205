"""The rows that a controller answers become checked columns."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Sequence
from math import isfinite
from typing import Any

import numpy as np

from ctrl.errors import nearest
from ctrl.vocabulary import Stage
from harness.attach.base import LinkFault
from harness.run import ANSWER_COLUMNS, Answers

_STAGE_CODES: dict[Any, int] = {stage.word: int(stage) for stage in Stage}
_NUMBERS = frozenset((int, float))
_FEATURE_COLUMNS = {
    "soc": ("soc",),
    "full_reset": ("full_reset",),
    "requests": ("voltage_request_v", "current_request_a"),
}


def rows_fault(observed: str, expected: str, sentence: str, *, index: int = -1) -> LinkFault:
    """A fault of `LINK.rows`; `index` counts in the rows of the message."""
    return LinkFault(
        "LINK.rows", observed=observed, expected=expected, sentence=sentence, index=index
    )


class AnswerColumns:
    """What one controller answers from its start on, checked as it comes in.

    The values are kept as plain numbers, column by column: a year of samples fits into memory,
    and one row a message costs no more than it must.
    """

    def __init__(self, features: frozenset[str]) -> None:
        """Begin with nothing; `features` are those that the controller claims."""
        self._features = features
        self._names: tuple[str, ...] = ()
        self._named: object = None
        self._values: dict[str, array[Any]] = {}

    def name(self, names: object) -> None:
        """Take the names of the columns of the next rows, in their order.

        Raises:
            LinkFault: `LINK.rows`: not the right names, or not those of the rows before.
        """
        if names == self._named:
            return
        if not isinstance(names, list | tuple):
            raise rows_fault(
                "no list of columns", "a list of column names", "The answer names no columns."
            )
        for name in names:
            if name not in ANSWER_COLUMNS:
                hint = nearest(str(name), ANSWER_COLUMNS)
                raise rows_fault(
                    f"column {name!r}",
                    f"columns out of {', '.join(ANSWER_COLUMNS)}",
                    f"The answer has a column {name!r} that the protocol does not know; {hint}",
                )
        if "stage" not in names:
            raise rows_fault(
                "no column stage", "a column stage", "The answer leaves out the column stage."
            )
        if len(set(names)) < len(names):
            raise rows_fault(
                f"columns {', '.join(names)}",
                "every column once",
                "The answer names a column more than once.",
            )
        if self._named is not None:
            raise rows_fault(
                f"columns {', '.join(names)}",
                f"columns {', '.join(self._names)}, as before",
                "The columns of the answer are not those of the answers before.",
            )
        for feature, needed in _FEATURE_COLUMNS.items():
            if feature in self._features and not set(needed) & set(names):
                raise rows_fault(
                    f"feature {feature} claimed, column {needed[0]} left out",
                    f"column {' or '.join(needed)}, or the feature not claimed",
                    f"The controller claims {feature} and leaves out what shows it.",
                )
        self._named = names
        self._names = tuple(names)
        self._clear()

    def take(self, rows: object, count: int) -> None:
        """Take `count` rows, each in the order of the names.

        Raises:
            LinkFault: `LINK.rows`: not as many, or not of the right width or types.
        """
        if type(rows) is not list or set(map(type, rows)) - {list, tuple}:
            raise rows_fault(
                "no list of rows", "a list of rows, each a list", "The answer has no list of rows."
            )
        if len(rows) != count:
            raise rows_fault(
                f"{len(rows)} rows",
                f"{count} rows",
                f"The answer has {len(rows)} rows to {count} rows sent; it must be one to one.",
                index=min(len(rows), count - 1),
            )
        width = len(self._names)
        try:
            columns = list(zip(*rows, strict=True))
            fits = len(columns) == width
        except ValueError:
            fits = False
        if not fits:
            index = next(k for k, row in enumerate(rows) if len(row) != width)
            raise rows_fault(
                f"a row of {len(rows[index])} values",
                f"{width} values a row, one a column",
                f"A row of the answer has {len(rows[index])} values to {width} columns.",
                index=index,
            )
        checked = [
            _CHECKS[name](name, column) for name, column in zip(self._names, columns, strict=True)
        ]
        for name, column in zip(self._names, checked, strict=True):
            self._values[name].extend(column)

    def answers(self) -> Answers:
        """All that was taken since the last call, as arrays."""
        columns = {
            name: np.frombuffer(values, dtype=_DTYPES[name])
            for name, values in self._values.items()
        }
        self._clear()
        return Answers(**columns)

    def _clear(self) -> None:
        self._values = {name: array(_TYPE_CODES.get(name, "d")) for name in self._names}


def _stages(name: str, column: Sequence[Any]) -> Iterable[int]:
    try:
        return [_STAGE_CODES[word] for word in column]
    except (KeyError, TypeError):
        expected = f"one of {', '.join(_STAGE_CODES)}"
        raise _wrong_value(name, column, _is_stage, expected) from None


def _numbers(name: str, column: Sequence[Any]) -> Sequence[float]:
    if set(map(type, column)) <= _NUMBERS or all(map(_is_number, column)):
        # One test tells of all: a sum is finite only when every part of it is.
        if _is_finite(sum(column)) or all(map(_is_finite, column)):
            return column
        raise _wrong_value(name, column, _is_finite, "a finite number")
    raise _wrong_value(name, column, _is_number, "a number")


def _flags(name: str, column: Sequence[Any]) -> Sequence[bool]:
    if set(map(type, column)) == {bool} or all(map(_is_flag, column)):
        return column
    raise _wrong_value(name, column, _is_flag, "true or false")


def _is_stage(value: Any) -> bool:
    return isinstance(value, str) and value in _STAGE_CODES


def _is_finite(value: float) -> bool:
    try:
        return isfinite(value)
    except OverflowError:
        return False


def _is_number(value: Any) -> bool:
    kinds = int | float | np.integer | np.floating
    return isinstance(value, kinds) and not isinstance(value, bool)


def _is_flag(value: Any) -> bool:
    return isinstance(value, bool | np.bool_)


def _wrong_value(
    name: str, column: Sequence[Any], right: Callable[[Any], bool], expected: str
) -> LinkFault:
    index = next(k for k, value in enumerate(column) if not right(value))
    observed = f"{name} {column[index]!r:.80}"
    return rows_fault(
        observed,
        f"{name} as {expected}",
        f"An answer has {observed}; it must be {expected}."
        + (" A column that the controller does not have is left out." if name != "stage" else ""),
        index=index,
    )


_Check = Callable[[str, Sequence[Any]], Iterable[Any]]
_CHECKS: dict[str, _Check] = {"stage": _stages, "full_reset": _flags}
_CHECKS |= {name: _numbers for name in ANSWER_COLUMNS if name not in _CHECKS}
_TYPE_CODES = {"stage": "b", "full_reset": "b"}
_DTYPES: dict[str, Any] = {"stage": np.int8, "full_reset": np.bool_}
_DTYPES |= {name: np.float64 for name in ANSWER_COLUMNS if name not in _DTYPES}
