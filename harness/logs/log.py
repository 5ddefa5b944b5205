"""A recorded log in memory: for each pack what its meter read and what its controller said."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import evolve, field, frozen

from ctrl.settings import Settings
from harness.run import ANSWER_COLUMNS, Flags, Floats, Stages, Trace

Indices = npt.NDArray[np.intp]


@frozen(eq=False)
class PackLog:
    """What one pack has in a log: columns of the same length, one entry a row.

    Attributes:
        name: name of the pack; the stem of the file where the mapping names none.
        file: where it was read from.
        trace: what the meter read; `t` in s from the first row of the log. NaN is missing.
        stage: `ctrl.vocabulary.Stage` as int8; None where the log has no such column.
        soc: the controller's count, 0..1; None where the log has no such column.
        full_reset: true on the rows of a full reset; None where the log has no such column.
        voltage_request_v: voltage asked for, V; None where the log has no such column.
        current_request_a: current asked for, A; None where the log has no such column.
        charger_v: voltage at the charger's terminals, V; None where the log has no such column.
        restarts: rows at which the controller started anew after a loss of power.
        cuts: rows before which the log's own clock was set, so that no interval leads to them.
        blank: how many cells of a column of answers were blank, and the first line of them.
        lines: the line of each row in the file, as `first line - row` where no row was left out.
        notes: what was noticed in reading, as sentences.
    """

    name: str
    file: Path
    trace: Trace
    stage: Stages | None = None
    soc: Floats | None = None
    full_reset: Flags | None = None
    voltage_request_v: Floats | None = None
    current_request_a: Floats | None = None
    charger_v: Floats | None = None
    restarts: tuple[int, ...] = ()
    cuts: tuple[int, ...] = ()
    blank: dict[str, tuple[int, int]] = field(factory=dict)
    lines: Indices | int = 2
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.trace)

    def line_of(self, row: int) -> int:
        """The line of the file in which a row stands, counted from 1."""
        return self.lines + row if isinstance(self.lines, int) else int(self.lines[row])

    def taken(self, rows: Indices) -> PackLog:
        """Some of the rows, in their order; what happened at one that is left out falls on the next."""

        def some(name: str) -> Any:
            column = getattr(self, name)
            return None if column is None else column[rows]

        def moved(marked: tuple[int, ...]) -> tuple[int, ...]:
            places = {int(k) for k in np.searchsorted(rows, np.array(marked, np.intp))}
            return tuple(sorted(k for k in places if 0 < k < len(rows)))

        return evolve(
            self,
            trace=Trace(**{name: self.trace.column(name)[rows] for name in self.trace.columns}),
            lines=self.lines + rows if isinstance(self.lines, int) else self.lines[rows],
            restarts=moved(self.restarts),
            cuts=moved(self.cuts),
            **{name: some(name) for name in (*ANSWER_COLUMNS, "charger_v")},
        )

    @property
    def answers(self) -> tuple[str, ...]:
        """Which columns of answers the log has."""
        return tuple(name for name in ANSWER_COLUMNS if getattr(self, name) is not None)


@frozen(eq=False)
class Log:
    """A recorded log of one or several packs.

    Attributes:
        path: the file or folder that was read.
        packs: one entry a pack, at least one.
        start: wall-clock time of the first row, with its zone; None where stamps are no dates.
        complete: whether every sample that the controllers saw is a row.
        exact: whether its numbers are those that the controller saw, not rounded ones.
        from_power_up: whether the first row is the first sample after power-up.
        gap_s: longest interval that is no gap of the log, s; None leaves it to the log itself.
        controller: name and version of the controller, as the mapping says.
        features: what the controller claims; None: whatever the columns can show.
        settings: settings that the mapping names, unchecked.
    """

    path: Path
    packs: tuple[PackLog, ...]
    start: datetime | None = None
    complete: bool = False
    exact: bool = False
    from_power_up: bool = False
    gap_s: float | None = None
    controller: tuple[str, str] = ("", "")
    features: frozenset[str] | None = None
    settings: Settings | None = None

    def pack(self, name: str) -> PackLog:
        """The pack of a name; raises `KeyError` for any other."""
        for pack in self.packs:
            if pack.name == name:
                return pack
        raise KeyError(name)

    def clock_time(self, t: float) -> datetime | None:
        """The wall-clock time of a stamp; None where the log's stamps are no dates."""
        if self.start is None or not np.isfinite(t):
            return None
        return self.start + timedelta(seconds=t)
