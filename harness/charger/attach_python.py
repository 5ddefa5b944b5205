"""A Python class as a charger, in this process.

The class is made as `Class(settings)`: a mapping of every setting by name. `step(t, own_v, own_a,
packs)` takes one sample; `packs` is a list with one mapping a pack, of `request_v`, `request_a`,
`pack_v`, `pack_a`, `stage` and `age_s`; None is a number that is missing. It returns a mapping or an
object with `set_point_v`, `limit_a` and `state`. `power_cycle()` loses the power. The class says who
it is in `name`, `version`, `role`, which is `charger`, and, where its settings cannot be set, `fixed`.
It refuses settings by raising `ValueError` when it is made.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ctrl.charger import ChargerSettings
from harness.attach.python import SAMPLES_A_LIMIT, PythonObject, class_of
from harness.charger.attach import (
    ChargerAnswerColumns,
    ChargerAttachment,
    charger_identity,
)
from harness.charger.case import PACK_COLUMNS, ChargerAnswers, ChargerTrace
from harness.run import Identity


def open_class(spec: str, rest: str, limit_s: float) -> ChargerClass:
    """Attach the class of `py:module:Class` or `py:path/to/file.py:Class`.

    Raises:
        AttachError: there is no such class, or its module cannot be imported.
    """
    return ChargerClass(spec, class_of(spec, rest), limit_s)


class ChargerClass(PythonObject, ChargerAttachment):
    """A charger that is a Python class."""

    members = ("name", "version", "role", "fixed")

    def start(self, settings: ChargerSettings) -> None:
        """Make a new object of the class; see the base class."""
        self._start(settings.to_mapping(), of="settings", columns=ChargerAnswerColumns)

    def run(self, trace: ChargerTrace) -> ChargerAnswers:
        """Step through the samples; see the base class."""
        self._started()
        if not len(trace):
            raise ValueError("a run needs at least one sample")
        parts = (trace.part(k, k + SAMPLES_A_LIMIT) for k in range(0, len(trace), SAMPLES_A_LIMIT))
        return ChargerAnswers(
            **self._stepped((len(part), _readings(part)) for part in parts).taken()
        )

    def _identified(self, said: Mapping[str, Any]) -> Identity:
        return charger_identity(said)

    def _needed(self, identity: Identity) -> tuple[str, ...]:  # noqa: ARG002  the same for all
        return ("step", "power_cycle")


def _readings(trace: ChargerTrace) -> Iterator[Sequence[Any]]:
    """The samples as the arguments of `step`."""
    width = len(PACK_COLUMNS)
    for t, own_v, own_a, *said in trace.rows():
        packs = [
            dict(zip(PACK_COLUMNS, said[first : first + width], strict=True))
            for first in range(0, len(said), width)
        ]
        yield t, own_v, own_a, packs
