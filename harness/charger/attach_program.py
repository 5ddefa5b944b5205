"""A charger that speaks the line protocol on its standard input and output."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import orjson

from ctrl.charger import ChargerSettings
from harness.attach.program import Program, command_of
from harness.charger.attach import (
    ChargerAnswerColumns,
    ChargerAttachment,
    charger_identity,
)
from harness.charger.case import ChargerAnswers, ChargerTrace
from harness.run import Identity


def open_program(spec: str, rest: str, limit_s: float) -> ChargerProgram:
    """Attach the program of `exec:./program arguments`, quoted as in a shell.

    Raises:
        AttachError: there is no such program, or it may not be run.
    """
    return ChargerProgram(spec, command_of(spec, rest), limit_s)


class ChargerProgram(Program, ChargerAttachment):
    """A charger in a process of its own; see `Program`."""

    def start(self, settings: ChargerSettings) -> None:
        """A fresh charger in the same process; see the base class."""
        self._start(settings=settings.to_mapping())

    def run(self, trace: ChargerTrace) -> ChargerAnswers:
        """Send the samples, `rows_a_message` at a time; see the base class."""
        self._started()
        if not len(trace):
            raise ValueError("a run needs at least one sample")
        return ChargerAnswers(**self._answered(trace.columns, self._texts(trace)).taken())

    def _texts(self, trace: ChargerTrace) -> Iterator[tuple[int, bytes]]:
        for start in range(0, len(trace), self.rows_a_message):
            rows = trace.part(start, start + self.rows_a_message).rows()
            yield len(rows), orjson.dumps(rows)

    def _identified(self, answer: Mapping[str, Any]) -> Identity:
        return charger_identity(answer)

    def _answer_columns(self, identity: Identity) -> ChargerAnswerColumns:
        return ChargerAnswerColumns(identity.features)
