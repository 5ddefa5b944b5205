"""Attach a charger under test: the reference, a Python class, a program, or a C library."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Mapping
from typing import Any, Protocol

import numpy as np

from ctrl.charger import (
    CHARGER_SETTING_NAMES,
    Charger,
    ChargerOutput,
    ChargerSample,
    ChargerSettings,
    Conduct,
    Message,
)
from ctrl.errors import nearest
from harness.attach.answers import AnswerColumns, numbers, words
from harness.attach.base import Attached, AttachError, refuse_limit
from harness.attach.drive import answers_by_stretch
from harness.attach.identity import identity_from
from harness.charger.case import (
    CHARGER_ANSWER_COLUMNS,
    PACK_NUMBERS,
    ChargerAnswers,
    ChargerCase,
    ChargerRun,
    ChargerTrace,
)
from harness.role import CHARGER
from harness.run import Identity
from harness.version import VERSION

FORMS = {
    "ref": "ref",
    "py": "py:module:Class or py:path/to/file.py:Class",
    "exec": "exec:./program arguments",
    "lib": "lib:./libcharger.so",
}
_STATE_CODES: dict[Any, int] = {conduct.word: int(conduct) for conduct in Conduct}


class ChargerAttachment(Attached):
    """One charger under test; see the base class."""

    role = CHARGER

    @abstractmethod
    def start(self, settings: ChargerSettings) -> None:
        """A fresh charger with these settings.

        Raises:
            Refused: it will not start with these settings.
            LinkFault: it did not answer as it should.
        """

    @abstractmethod
    def run(self, trace: ChargerTrace) -> ChargerAnswers:
        """Send samples that continue from the ones before.

        Returns:
            One answer for each sample.

        Raises:
            LinkFault: it did not answer as it should.
            RuntimeError: there was no accepted `start` before.
        """

    def as_given(self, case: ChargerCase) -> ChargerCase:
        """The case as it reaches the charger, where its interface cannot say all of it.

        A charger is judged by what it was given; see `Attachment.as_given`.
        """
        return case

    def cannot_be_told(self, case: ChargerCase) -> str:
        """Why a case cannot be told to the charger at all; empty where it can."""
        fixed = self.hello().fixed
        if fixed is None:
            return ""
        built, asked = fixed.to_mapping(), self.as_given(case).settings.to_mapping()
        other = [name for name in CHARGER_SETTING_NAMES if built[name] != asked[name]]
        if not other:
            return ""
        name, more = other[0], len(other) - 1
        others = f", and {more} more of its settings differ" if more else ""
        return (
            f"made for {name} {_said(asked[name])}, and the charger was built with "
            f"{_said(built[name])}{others}"
        )


def _said(value: Any) -> str:
    return f"{value[0]:g} to {value[1]:g}" if isinstance(value, tuple) else f"{value:g}"


class ChargerAnswerColumns(AnswerColumns):
    """What one charger answers from its start on, checked as it comes in; no column is left out."""

    known = CHARGER_ANSWER_COLUMNS
    needed = CHARGER_ANSWER_COLUMNS

    def _kind(self, name: str) -> tuple[Callable[[str, Any], bytes], Any]:
        if name == "state":
            return lambda column, values: words(column, values, _STATE_CODES), np.int8
        return numbers, np.float64


def charger_identity(answer: Mapping[str, Any]) -> Identity:
    """The identity in a charger's answer to `hello`.

    Raises:
        LinkFault: `LINK.greets`, with what is wrong and what would be right.
    """
    # No feature of a charger is optional so far.
    return identity_from(
        {**answer, "features": ()}, CHARGER_SETTING_NAMES, ChargerSettings.from_mapping, CHARGER
    )


class Stepper(Protocol):
    """A charger as an object that remembers its own state, as `ctrl.charger.Charger` is one."""

    def step(self, sample: ChargerSample) -> ChargerOutput:
        """Take one sample and say what follows from it."""

    def power_cycle(self) -> None:
        """Lose power."""


class InProcessCharger(ChargerAttachment):
    """A charger of the project's own in this process, such as the reference."""

    def __init__(
        self,
        spec: str,
        made: Callable[[ChargerSettings], Stepper] = Charger,
        name: str = "reference",
    ) -> None:
        """Attach what `made` makes of settings, under a name."""
        super().__init__(spec, limit_s=1.0)
        self._made = made
        self._name = name
        self._charger: Stepper | None = None

    def hello(self) -> Identity:
        """Who it is; see the base class."""
        return Identity(self._name, VERSION, "Python", frozenset())

    def start(self, settings: ChargerSettings) -> None:
        """A fresh charger; see the base class."""
        self._charger = self._made(settings)

    def run(self, trace: ChargerTrace) -> ChargerAnswers:
        """Step through the samples; see the base class."""
        charger = self._started()
        outputs = [charger.step(sample) for sample in samples_of(trace)]
        return ChargerAnswers(
            np.array([output.set_point_v for output in outputs]),
            np.array([output.limit_a for output in outputs]),
            np.array([int(output.state) for output in outputs], dtype=np.int8),
        )

    def power_cycle(self) -> None:
        """Let it lose its power; see the base class."""
        self._started().power_cycle()

    def restart(self) -> None:
        """Forget the charger; the next `start` makes a new one."""
        self._charger = None

    def _started(self) -> Stepper:
        if self._charger is None:
            raise RuntimeError("the charger has not been started")
        return self._charger


def samples_of(trace: ChargerTrace) -> list[ChargerSample]:
    """The samples of a trace as the reference takes them; what is not finite is NaN."""

    def finite(values: Any) -> list[Any]:
        listed: list[Any] = np.where(np.isfinite(values), values, np.nan).tolist()
        return listed

    packs = [finite(getattr(trace, name)) for name in PACK_NUMBERS]
    own = [finite(getattr(trace, name)) for name in ("t", "own_v", "own_a")]
    samples = []
    for row, (t, own_v, own_a) in enumerate(zip(*own, strict=True)):
        request_v, request_a, pack_v, pack_a, age_s = (table[row] for table in packs)
        messages = tuple(
            Message(*values)
            for values in zip(request_v, request_a, pack_v, pack_a, age_s, strict=True)
        )
        samples.append(ChargerSample(t, own_v, own_a, messages))
    return samples


def attach_charger(spec: str, *, limit_s: float = 10.0) -> ChargerAttachment:
    """The charger that `spec` names, not yet started.

    Args:
        spec: kind, colon, and what the kind needs: see `FORMS`.
        limit_s: the longest wait for one answer, s of the wall clock.

    Raises:
        AttachError: there is no such charger; the message says what would be right.
    """
    refuse_limit(limit_s)
    kind, _, rest = spec.partition(":")
    if kind == "py":
        from harness.charger.attach_python import open_class

        return open_class(spec, rest, limit_s)
    if kind == "exec":
        from harness.charger.attach_program import open_program

        return open_program(spec, rest, limit_s)
    if kind == "lib":
        from harness.charger.attach_library import open_library

        return open_library(spec, rest, limit_s)
    if spec == "ref":
        return InProcessCharger(spec)
    forms = "; ".join(FORMS.values())
    if kind == "ref":
        raise AttachError(f"there is one reference charger, not {spec!r}", hint="write ref")
    raise AttachError(
        f"there is no charger {spec!r}", hint=nearest(kind, FORMS, f"Forms are: {forms}")
    )


def drive_charger(attachment: ChargerAttachment, case: ChargerCase) -> ChargerRun:
    """Start the charger afresh, send the whole trace of the case, and keep what it answers.

    Raises:
        Refused: the charger will not start with the settings of the case.
        LinkFault: it did not answer as it should; `index` counts in the trace of the case.
        ValueError: the case has no samples.
    """
    if not len(case.trace):
        raise ValueError(f"case {case.id} has no samples")
    identity = attachment.hello()
    case = attachment.as_given(case)
    attachment.start(case.settings)
    parts = answers_by_stretch(attachment, case)
    return ChargerRun(case, identity, ChargerAnswers.joined(parts))
