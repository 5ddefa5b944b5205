"""The rows that a controller answers become checked columns."""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from math import isfinite
from typing import Any

import numpy as np

from ctrl.errors import nearest
from ctrl.vocabulary import Stage
from harness.attach.base import LinkFault
from harness.attach.kept import shortened
from harness.run import ANSWER_COLUMNS, Answers

# The line sent and the line received.
Exchange = tuple[bytes, bytes]

# The name of a column and its values -> the bytes of its array.
_Check = Callable[[str, Sequence[Any]], bytes]
_STAGE_CODES: dict[Any, int] = {stage.word: int(stage) for stage in Stage}
_NOT_YET = object()
# So many rows are looked at together, whatever the size of a message.
CHECKED_AT_ONCE = 1000
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

    Rows are looked at many at a time, so that one row a message costs no more than it must, and
    kept as plain numbers, so that a year of samples fits into memory.

    Attributes:
        known: the columns that there are.
        needed: those that are never left out.
    """

    known: tuple[str, ...] = ANSWER_COLUMNS
    needed: tuple[str, ...] = ("stage",)

    def __init__(self, features: frozenset[str]) -> None:
        """Begin with nothing; `features` are those that the controller claims."""
        self._features = features
        self._names: list[str] = []
        self._named: Any = _NOT_YET
        self._unchecked: list[list[Any]] = []
        self._exchanges: list[tuple[int, Exchange]] = []
        self._checked = 0
        self._values: list[bytearray] = []

    def add(self, names: Any, rows: Any, count: int, exchange: Exchange = (b"", b"")) -> None:
        """Take the rows of one answer to `count` samples, and the names of their columns.

        Args:
            names: the names, in the order of the values in a row.
            rows: the rows.
            count: how many rows there must be.
            exchange: the lines in which they were asked and answered, for a fault to show.

        Raises:
            LinkFault: `LINK.rows`; `index` counts in all rows since the last `answers`. It may be
                a row of an earlier answer that is not right.
        """
        if names != self._named or type(rows) is not list or len(rows) != count:
            self.check()
            self._name(names)
            self._refuse_count(rows, count)
        self._exchanges.append((self._checked + len(self._unchecked), exchange))
        self._unchecked += rows
        if len(self._unchecked) >= CHECKED_AT_ONCE:
            self.check()

    def check(self) -> None:
        """Look at the rows that nobody has looked at yet; raises `LinkFault` as `add`."""
        rows, self._unchecked = self._unchecked, []
        try:
            for values, column in zip(self._values, self._columns(rows), strict=True):
                values += column
        except LinkFault as fault:
            wrong = fault.index + self._checked
            exchange = next(lines for first, lines in reversed(self._exchanges) if first <= wrong)
            fault.index = wrong
            fault.sent, fault.received = map(shortened, exchange)
            raise
        self._checked += len(rows)
        self._exchanges.clear()

    def answers(self) -> Answers:
        """All since the last call, as arrays; raises `LinkFault` as `add`."""
        return Answers(**self.taken())

    def taken(self) -> dict[str, Any]:
        """The same as arrays by the names of their columns."""
        self.check()
        columns = {
            name: np.frombuffer(values, dtype=self._kind(name)[1])
            for name, values in zip(self._names, self._values, strict=True)
        }
        self._clear()
        return columns

    def _kind(self, name: str) -> tuple[_Check, Any]:
        """How a column is checked, and the type of its array."""
        return _CHECKS[name], _DTYPES[name]

    def _clear(self) -> None:
        self._checked = 0
        self._values = [bytearray() for _ in self._names]

    def _columns(self, rows: list[list[Any]]) -> list[bytes]:
        names = self._names
        if not rows:
            return [b"" for _ in names]
        if set(map(type, rows)) != {list}:
            index = next(k for k, row in enumerate(rows) if type(row) is not list)
            raise rows_fault(
                f"a row {rows[index]!r:.80}",
                "a list of values a row",
                "A row of the answer is not a list.",
                index=index,
            )
        try:
            columns = list(zip(*rows, strict=True))
        except ValueError:
            columns = []
        if len(columns) != len(names):
            index = next(k for k, row in enumerate(rows) if len(row) != len(names))
            raise rows_fault(
                f"a row of {len(rows[index])} values",
                f"{len(names)} values a row, one a column",
                f"A row of the answer has {len(rows[index])} values to {len(names)} columns.",
                index=index,
            )
        return [self._kind(name)[0](name, each) for name, each in zip(names, columns, strict=True)]

    def _refuse_count(self, rows: Any, count: int) -> None:
        if type(rows) is not list:
            raise rows_fault(
                "no list of rows",
                "a list of rows",
                "The answer has no list of rows.",
                index=self._checked,
            )
        if len(rows) != count:
            raise rows_fault(
                f"{len(rows)} rows",
                f"{count} rows",
                f"The answer has {len(rows)} rows to {count} rows sent; it must be one to one.",
                index=self._checked + min(len(rows), count - 1),
            )

    def _name(self, names: Any) -> None:
        """Take the names of the columns; they stay the same from the first answer on."""
        if names == self._named:
            return
        wrong = self._wrong_names(names)
        if wrong is not None:
            wrong.index = self._checked
            raise wrong
        self._names = self._named = names
        self._clear()

    def _wrong_names(self, names: Any) -> LinkFault | None:
        if not isinstance(names, list):
            return rows_fault(
                "no list of columns", "a list of column names", "The answer names no columns."
            )
        for name in names:
            if name not in self.known:
                return rows_fault(
                    f"column {name!r:.80}",
                    f"columns out of {', '.join(self.known)}",
                    f"The answer has a column {name!r:.80} that the protocol does not know; "
                    + nearest(str(name), self.known),
                )
        said = f"columns {', '.join(names)}" if names else "no columns"
        for name in self.needed:
            if name not in names:
                return rows_fault(
                    said, f"a column {name}", f"The answer leaves out the column {name}."
                )
        if len(set(names)) < len(names):
            return rows_fault(
                said, "every column once", "The answer names a column more than once."
            )
        if self._named is not _NOT_YET:
            return rows_fault(
                said,
                f"columns {', '.join(self._names)}, as before",
                "The columns of the answer are not those of the answers before.",
            )
        for feature, needed in _FEATURE_COLUMNS.items():
            if feature in self._features and not set(needed) & set(names):
                return rows_fault(
                    f"feature {feature} claimed, column {needed[0]} left out",
                    f"column {' or '.join(needed)}, or the feature not claimed",
                    f"The controller claims {feature} and leaves out the column that shows it.",
                )
        return None


def words(name: str, column: Sequence[Any], codes: Mapping[Any, int]) -> bytes:
    """A column of words as their codes, one byte each; raises `LinkFault` (`LINK.rows`)."""
    try:
        return bytes([codes[word] for word in column])
    except (KeyError, TypeError):
        expected = f"one of {', '.join(codes)}"
        raise _wrong_value(
            name, column, lambda value: isinstance(value, str) and value in codes, expected
        ) from None


def _stages(name: str, column: Sequence[Any]) -> bytes:
    return words(name, column, _STAGE_CODES)


def numbers(name: str, column: Sequence[Any]) -> bytes:
    """A column of finite numbers as float64; raises `LinkFault` (`LINK.rows`) for anything else."""
    if not (set(map(type, column)) <= _NUMBERS or all(map(_is_number, column))):
        raise _wrong_value(name, column, _is_number, "a number")
    # One test tells of all: a sum is finite only when every part of it is.
    if not (_is_finite(sum(column)) or all(map(_is_finite, column))):
        raise _wrong_value(name, column, _is_finite, "a finite number")
    return struct.pack(f"={len(column)}d", *column)


def _flags(name: str, column: Sequence[Any]) -> bytes:
    if set(map(type, column)) == {bool}:
        return bytes(column)
    if all(map(_is_flag, column)):
        return bytes(map(bool, column))
    raise _wrong_value(name, column, _is_flag, "true or false")


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
        + (" A column that the controller does not have is left out." if name in _LEFT_OUT else ""),
        index=index,
    )


_LEFT_OUT = frozenset(ANSWER_COLUMNS) - {"stage"}
_CHECKS: dict[str, _Check] = {"stage": _stages, "full_reset": _flags}
_CHECKS |= {name: numbers for name in ANSWER_COLUMNS if name not in _CHECKS}
_DTYPES: dict[str, Any] = {"stage": np.int8, "full_reset": np.bool_}
_DTYPES |= {name: np.float64 for name in ANSWER_COLUMNS if name not in _DTYPES}
