"""A mutant as an attached controller, in this process."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import repeat
from math import nan

import numpy as np

from ctrl.settings import Settings
from ctrl.state import FULL_RESET, Output, Sample
from harness.attach.base import Attachment, LinkFault, Refused
from harness.run import (
    FEATURES,
    OPTIONAL_COLUMNS,
    REQUIRED_COLUMNS,
    Answers,
    Identity,
    Trace,
)
from harness.zoo.mutants.binding import BoundController, bound
from harness.zoo.mutants.mutant import Mutant


def samples_of(trace: Trace) -> list[Sample]:
    """The samples of a trace as the reference takes them."""
    required = [trace.column(name).tolist() for name in REQUIRED_COLUMNS]
    present = trace.columns
    optional = [
        trace.column(name).tolist() if name in present else repeat(nan) for name in OPTIONAL_COLUMNS
    ]
    return [Sample(*row) for row in zip(*required, *optional, strict=False)]


def answers_from(outputs: Sequence[Output]) -> Answers:
    """What was said, one entry a sample, as columns."""
    size = len(outputs)
    asked = [output.asked for output in outputs]
    return Answers(
        stage=np.fromiter([output.stage for output in outputs], np.int8, size),
        soc=np.fromiter([output.soc for output in outputs], np.float64, size),
        full_reset=np.fromiter(
            [output.news & FULL_RESET != 0 for output in outputs], np.bool_, size
        ),
        voltage_request_v=np.fromiter([each.voltage_v for each in asked], np.float64, size),
        current_request_a=np.fromiter([each.current_a for each in asked], np.float64, size),
    )


def identity_of(mutant: Mutant | None) -> Identity:
    """Who a mutant says it is, or the reference bound without a change; it claims every feature."""
    what = "reference" if mutant is None else f"reference with {mutant.name}"
    return Identity(what, "1", "Python", frozenset(FEATURES))


class MutantAttachment(Attachment):
    """A mutant in this process, or, without one, the reference with its names bound anew."""

    def __init__(self, mutant: Mutant | None) -> None:
        super().__init__(f"zoo:{'reference' if mutant is None else mutant.name}", 10.0)
        self._identity = identity_of(mutant)
        self._names = bound(None if mutant is None else mutant.change)
        self._controller: BoundController | None = None

    def hello(self) -> Identity:
        """Who it is; see the base class."""
        return self._identity

    def start(self, settings: Settings, soc: float) -> None:
        """Start afresh; see the base class."""
        try:
            self._controller = BoundController(self._names, settings, soc)
        except ValueError as error:
            raise Refused(str(error)) from error

    def run(self, trace: Trace) -> Answers:
        """Step through the samples; see the base class."""
        return answers_from(self.stepped(samples_of(trace)))

    def stepped(self, samples: Sequence[Sample]) -> list[Output]:
        """The same for samples that are made already.

        Raises:
            LinkFault: the change makes the code fail.
            RuntimeError: there was no accepted `start` before.
        """
        if self._controller is None:
            raise RuntimeError("the controller has not been started")
        step = self._controller.step
        with _failing("step(…)"):
            return [step(sample) for sample in samples]

    def power_cycle(self) -> None:
        """Lose the power; see the base class."""
        if self._controller is None:
            raise RuntimeError("the controller has not been started")
        with _failing("power_cycle()"):
            self._controller.power_cycle()

    def request_equalisation(self) -> None:
        """Ask for an equalisation; see the base class."""
        if self._controller is None:
            raise RuntimeError("the controller has not been started")
        with _failing("request_equalisation()"):
            self._controller.request_equalisation()

    def restart(self) -> None:
        """Forget the controller; see the base class."""
        self._controller = None


@contextmanager
def _failing(call: str) -> Iterator[None]:
    try:
        yield
    except Exception as error:  # changed code may fail in any way
        raised = f"{type(error).__name__}: {error}"
        raise LinkFault(
            "LINK.stays-alive",
            observed=raised,
            expected="no exception",
            sentence=f"{call} raised {raised}",
        ) from error
