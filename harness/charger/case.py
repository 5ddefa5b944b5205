"""The types that travel where a charger is under test: a case becomes a run."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import evolve, frozen

from ctrl.charger import ChargerSettings
from ctrl.vocabulary import Stage
from harness.run import Floats, Identity, Stages

OWN_COLUMNS = ("t", "own_v", "own_a")
PACK_NUMBERS = ("request_v", "request_a", "pack_v", "pack_a", "age_s")
PACK_COLUMNS = ("request_v", "request_a", "pack_v", "pack_a", "stage", "age_s")
CHARGER_ANSWER_COLUMNS = ("set_point_v", "limit_a", "state")
# What stands for a stage that is not told.
NO_STAGE = -1

Conducts = npt.NDArray[np.int8]
Value = float | str | None


@frozen(eq=False)
class ChargerTrace:
    """Samples in the order in which they reach the charger; NaN is a number that is missing.

    Attributes:
        t: time stamp, s, shape (samples,).
        own_v: voltage at the charger's terminals, V, shape (samples,).
        own_a: current that it gives, A, shape (samples,).
        request_v: voltage that each pack asks for, V, shape (samples, packs).
        request_a: current that it asks for, A, shape (samples, packs).
        pack_v: voltage that it reads, V, shape (samples, packs).
        pack_a: current that it reads, A, positive while charging, shape (samples, packs).
        stage: `ctrl.vocabulary.Stage`, `NO_STAGE` where it is not told, shape (samples, packs).
        age_s: age of its message, s, shape (samples, packs).
    """

    t: Floats
    own_v: Floats
    own_a: Floats
    request_v: Floats
    request_a: Floats
    pack_v: Floats
    pack_a: Floats
    stage: Stages
    age_s: Floats

    def __attrs_post_init__(self) -> None:
        shapes = {name: getattr(self, name).shape for name in PACK_COLUMNS}
        lengths = {name: getattr(self, name).shape for name in OWN_COLUMNS}
        if len(set(shapes.values())) > 1 or len(set(lengths.values())) > 1:
            raise ValueError(f"the columns of a trace differ in shape: {lengths | shapes}")
        if self.request_v.ndim != 2 or len(self.request_v) != len(self.t):
            raise ValueError(f"{len(self.t)} samples, but messages of shape {self.request_v.shape}")

    def __len__(self) -> int:
        return len(self.t)

    @property
    def packs(self) -> int:
        """How many packs there are."""
        return int(self.request_v.shape[1])

    @property
    def columns(self) -> tuple[str, ...]:
        """The names of the columns in the line protocol; packs are counted from 1."""
        return trace_columns(self.packs)

    def column(self, name: str) -> Floats:
        """One column of the line protocol; raises `KeyError` where there is none of that name."""
        if name in OWN_COLUMNS:
            own: Floats = getattr(self, name)
            return own
        column, p = self._place(name)
        values: Floats = getattr(self, column)[:, p]
        return values

    def with_column(self, name: str, values: Floats) -> ChargerTrace:
        """The trace with another column of the line protocol; raises `KeyError` as `column`."""
        if name in OWN_COLUMNS:
            own: dict[str, Any] = {name: values}
            return evolve(self, **own)
        column, p = self._place(name)
        table = getattr(self, column).copy()
        table[:, p] = values
        changed: dict[str, Any] = {column: table}
        return evolve(self, **changed)

    def _place(self, name: str) -> tuple[str, int]:
        """Which table a column of a pack stands in, and the index of the pack."""
        if name not in self.columns[len(OWN_COLUMNS) :]:
            raise KeyError(name)
        column, _, pack = name.rpartition("_")
        return column, int(pack) - 1

    def part(self, start: int, stop: int) -> ChargerTrace:
        """The samples from `start` up to, not including, `stop`, as views."""
        return ChargerTrace(
            **{name: getattr(self, name)[start:stop] for name in (*OWN_COLUMNS, *PACK_COLUMNS)}
        )

    def rows(self) -> list[list[Value]]:
        """The samples as rows of the line protocol: what is not finite becomes None."""
        columns = [_numbers(getattr(self, name)) for name in OWN_COLUMNS]
        for p in range(self.packs):
            for name in PACK_COLUMNS:
                values = getattr(self, name)[:, p]
                columns.append(_words(values) if name == "stage" else _numbers(values))
        return [list(row) for row in zip(*columns, strict=True)]


def trace_columns(packs: int) -> tuple[str, ...]:
    """The names of the columns of a trace in the line protocol; packs are counted from 1."""
    each = [f"{name}_{p}" for p in range(1, packs + 1) for name in PACK_COLUMNS]
    return (*OWN_COLUMNS, *each)


def _numbers(values: Floats) -> list[Value]:
    numbers: list[Value] = values.tolist()
    for index in np.flatnonzero(~np.isfinite(values)).tolist():
        numbers[index] = None
    return numbers


def _words(stages: Stages) -> list[Value]:
    return [None if code == NO_STAGE else Stage(code).word for code in stages.tolist()]


@frozen(eq=False)
class ChargerCase:
    """One thing to try on a charger: settings and a trace.

    Attributes:
        id: stable slug.
        settings: what the charger is started with; they name as many packs as the trace has.
        trace: the samples.
        story: what happens in it, in a sentence; it never reaches a charger.
        power_cycles: the charger loses power just before the sample of each of these indices.
        cuts: the indices at which the trace is cut into messages; none leaves it to the attachment.
        features: what the case needs the charger to claim.
        requirements: the requirements that the case is about; empty for all.
    """

    id: str
    settings: ChargerSettings
    trace: ChargerTrace
    story: str = ""
    power_cycles: tuple[int, ...] = ()
    cuts: tuple[int, ...] = ()
    features: frozenset[str] = frozenset()
    requirements: tuple[str, ...] = ()

    def __attrs_post_init__(self) -> None:
        outside = [k for k in (*self.cuts, *self.power_cycles) if not 0 <= k < len(self.trace)]
        if outside:
            raise ValueError(f"case {self.id}: no sample has the index {outside[0]}")
        if self.trace.packs != self.settings.packs:
            raise ValueError(
                f"case {self.id}: messages of {self.trace.packs} packs, "
                f"and settings for {self.settings.packs}"
            )

    def stretches(self) -> Iterator[tuple[int, int, bool]]:
        """The trace cut at power cycles and cuts: `(start, stop, power cycle before it)`."""
        cycles = set(self.power_cycles)
        edges = sorted({0, len(self.trace), *self.cuts, *cycles})
        for start, stop in pairwise(edges):
            yield start, stop, start in cycles


@frozen(eq=False)
class ChargerAnswers:
    """What a charger answered, one entry a sample.

    Attributes:
        set_point_v: voltage at its own terminals that it does not exceed, V.
        limit_a: current that it does not exceed, A.
        state: `ctrl.charger.Conduct` as int8.
    """

    set_point_v: Floats
    limit_a: Floats
    state: Conducts

    def __len__(self) -> int:
        return len(self.state)

    @classmethod
    def joined(cls, parts: list[ChargerAnswers]) -> ChargerAnswers:
        """The answers of consecutive stretches as one; raises `ValueError` where there are none."""
        if not parts:
            raise ValueError("there are no answers to join")
        return cls(
            *(np.concatenate([getattr(part, n) for part in parts]) for n in CHARGER_ANSWER_COLUMNS)
        )


@frozen(eq=False)
class ChargerRun:
    """A case, and what one charger answered to it.

    Attributes:
        case: what was tried.
        identity: who answered.
        answers: one entry for each sample of the case.
    """

    case: ChargerCase
    identity: Identity
    answers: ChargerAnswers
