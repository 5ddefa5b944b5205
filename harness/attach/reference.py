"""The project's own reference controller, in this process."""

from __future__ import annotations

from itertools import repeat
from math import nan

import numpy as np

from ctrl.controller import Controller, Sample
from ctrl.resets import VOLTAGE_AFTER_HOLD, ResetRule
from ctrl.settings import Settings
from harness.attach.base import Attachment, Refused
from harness.run import (
    FEATURES,
    OPTIONAL_COLUMNS,
    REQUIRED_COLUMNS,
    Answers,
    Floats,
    Identity,
    Trace,
)
from harness.version import VERSION

# About 4 µs a sample are saved, and about half a second goes into loading what is compiled.
LONG_TRACE_SAMPLES = 100_000


def open_attachment(spec: str, rest: str, limit_s: float) -> ReferenceAttachment:
    """Attach the reference of `ref`, or with another reset rule of `ref:RULE`.

    Raises:
        AttachError: there is no such rule.
    """
    return ReferenceAttachment(spec, rule_of(rest), limit_s)


def rule_of(rest: str) -> ResetRule:
    """The reset rule that `ref:` is followed by; raises `AttachError`."""
    if not rest:
        return VOLTAGE_AFTER_HOLD
    # Few name a rule, and everybody attaches a reference.
    from harness.attach.reset_rules import named_rule

    return named_rule(rest)


class ReferenceAttachment(Attachment):
    """The reference controller with one of the reset rules."""

    def __init__(self, spec: str, rule: ResetRule, limit_s: float) -> None:
        super().__init__(spec, limit_s)
        self._rule = rule
        self._controller: Controller | None = None

    def hello(self) -> Identity:
        """The reference and its rule; it claims every feature."""
        own = self._rule is VOLTAGE_AFTER_HOLD
        name = "reference" if own else f"reference with {self._rule.name}"
        return Identity(name, VERSION, "Python", frozenset(FEATURES))

    def start(self, settings: Settings, soc: float) -> None:
        """A fresh reference; see the base class."""
        try:
            self._controller = Controller(settings, soc=soc, rule=self._rule)
        except ValueError as error:
            raise Refused(str(error)) from error

    def run(self, trace: Trace) -> Answers:
        """Step through the samples, compiled where there are many; see the base class."""
        controller = self._started()
        if not len(trace):
            raise ValueError("a run needs at least one sample")
        if len(trace) > LONG_TRACE_SAMPLES:
            return _replayed(controller, trace)
        return _stepped(controller, trace)

    def power_cycle(self) -> None:
        """Let the reference lose its power; see the base class."""
        self._started().power_cycle()

    def request_equalisation(self) -> None:
        """Ask the reference for an equalisation; see the base class."""
        self._started().request_equalisation()

    def restart(self) -> None:
        """Forget the controller; the next `start` makes a new one."""
        self._controller = None

    def _started(self) -> Controller:
        if self._controller is None:
            raise RuntimeError("the controller has not been started")
        return self._controller


def _stepped(controller: Controller, trace: Trace) -> Answers:
    required = [trace.column(name).tolist() for name in REQUIRED_COLUMNS]
    present = trace.columns
    optional = [
        trace.column(name).tolist() if name in present else repeat(nan) for name in OPTIONAL_COLUMNS
    ]
    outputs = [controller.step(Sample(*row)) for row in zip(*required, *optional, strict=False)]

    def floats(name: str) -> Floats:
        return np.array([getattr(output, name) for output in outputs], dtype=np.float64)

    return Answers(
        stage=np.array([output.stage for output in outputs], dtype=np.int8),
        soc=floats("soc"),
        full_reset=np.array([output.full_reset for output in outputs], dtype=np.bool_),
        voltage_request_v=floats("voltage_request_v"),
        current_request_a=floats("current_request_a"),
    )


def _replayed(controller: Controller, trace: Trace) -> Answers:
    # numba takes a good part of a second to load: only where that pays.
    from ctrl.compiled import replay

    columns = (getattr(trace, name) for name in REQUIRED_COLUMNS + OPTIONAL_COLUMNS)
    said = replay(controller.settings, controller.state, *columns, rule=controller.rule)
    controller.state = said.state
    return Answers(
        said.stage, said.soc, said.full_reset, said.voltage_request_v, said.current_request_a
    )
