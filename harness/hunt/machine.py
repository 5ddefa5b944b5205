"""A charge controller driven step by step: a state machine of Hypothesis, for pytest.

Hypothesis draws what happens next, a stretch of samples, a gap, a loss of power, and judges the run
so far after each step; a failing one it shrinks to the fewest steps. In a test file of one's own:

    from harness.attach import attach
    from harness.hunt.machine import charge_machine

    TestMine = charge_machine(lambda: attach("exec:./mine")).TestCase

Stretches aim: their voltage lies some millivolts beside a threshold, and they end a sample before,
on or behind the moment at which the reference, which goes along, is due to decide.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, isfinite, nan
from typing import Any, ClassVar

import numpy as np
from hypothesis import note
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from ctrl.controller import Controller
from ctrl.settings import Settings
from ctrl.state import NEVER, Output, Sample, State
from ctrl.vocabulary import Phase, Stage
from harness.attach.base import Attachment, LinkFault
from harness.attach.drive import drive
from harness.hunt.compare import agrees
from harness.judge import judge
from harness.rules.link import CUTS
from harness.run import Answers, Case, Finding, Floats, Identity, Run, Trace
from harness.strategies.settings_choices import SETTINGS_CHOICES, settings_from

# A run grows no longer than this, and a stretch neither.
MOST_SAMPLES = 600
MOST_IN_A_STRETCH = 80
# A stretch that would have more samples than this is sampled more seldom.
MANY_SAMPLES = 40

VOLTAGES = ("absorption_v", "entry_v", "full_v", "sag_v", "float_v", "return_v", "empty_v")
BESIDE_MV = (0.0, -1.0, 1.0, -5.0, 5.0, -50.0, 50.0)
CURRENTS_A = (10.0, 0.0, -20.0, 30.0, 3.0, 80.0)
INTERVALS_S = (1.0, 0.5, 2.0, 0.25, 5.0)
CHARGES = (0.5, 0.985, 0.9, 0.02, 0.0, 1.0)
STAMPS_S = (0.0, 1_700_000_000.0, -7.5)
# What surrounds the voltage and the current: a setting that it stands at, or nothing special.
CELLS = (None, "cell_limit_v", "cell_release_v", "absent")
TEMPERATURES = (None, "charge_min_c", "charge_max_c", "absent")
COMFORT_CELL_V, COMFORT_C = 3.4, 20.0
UNREADABLE = ("no voltage", "no current", "voltage beyond belief", "no time stamp")


def deadlines_s(settings: Settings, state: State) -> list[float]:
    """In how many seconds the reference may decide what, by the dwells and timers of its stage.

    A dwell that does not run yet is given in full, and takes the first sample on top of that.
    """
    charge, s, t = state.charge, settings, state.t

    def left_s(length_s: float, since_s: float) -> float:
        running = since_s < NEVER and isfinite(t)
        return max(length_s - (t - since_s), 0.0) if running else length_s

    if charge.stage is Stage.BULK:
        found = [left_s(s.entry_dwell_s, charge.dwell_since_s)]
    elif charge.stage is Stage.ABSORPTION and charge.phase is Phase.HOLD:
        counting = charge.timer_from_s < NEVER
        counted_s = charge.counted_s + (t - charge.timer_from_s if counting else 0.0)
        found = [max(s.hold_s - counted_s, 0.0)]
    elif charge.stage is Stage.ABSORPTION:
        found = [
            left_s(s.confirm_s, charge.dwell_since_s),
            left_s(s.wait_limit_s, charge.expired_s),
        ]
    elif charge.stage is Stage.FLOAT:
        found = [left_s(s.return_dwell_s, charge.dwell_since_s)]
        if s.float_s is not None:
            found.append(left_s(s.float_s, charge.timer_from_s))
    else:
        found = [left_s(s.release_dwell_s, charge.dwell_since_s)]
    return [*found, s.trip_dwell_s, s.empty_dwell_s]


class _Machine(RuleBasedStateMachine):
    """One controller, its run so far, and the reference beside it."""

    attach: ClassVar[Callable[[], Attachment]]
    given: ClassVar[Settings | None]
    tolerance_s: ClassVar[float]

    def __init__(self) -> None:
        super().__init__()
        self.attachment = type(self).attach()
        self.identity: Identity | None = None
        self.samples: list[Sample] = []
        self.parts: list[Answers] = []
        self.power_cycles: list[int] = []
        self.agreed = True
        self.clock_s = 0.0
        self.cell_v, self.temp_c = COMFORT_CELL_V, COMFORT_C

    def teardown(self) -> None:
        self.attachment.close()

    def begin(self, choices: bytes, soc: float, t: float) -> None:
        """Start the controller with settings that it can be started with."""
        try:
            self.identity = self.attachment.hello()
            settings = self.identity.fixed or self.given
            if settings is None:
                settings = settings_from(list(choices), self.identity.features)
            self.settings, self.soc, self.clock_s = settings, soc, t
            note(f"settings: {_unusual(settings)}; soc {soc:g}")
            self.attachment.start(settings, soc)
        except LinkFault as fault:
            raise _failure([fault.finding("machine")]) from fault
        self.reference = Controller(settings, soc=soc)

    @rule(
        level=st.sampled_from(VOLTAGES),
        beside_mv=st.sampled_from(BESIDE_MV),
        current_a=st.sampled_from(CURRENTS_A),
        deadline=st.integers(0, 3),
        beyond=st.integers(-2, 3),
        every_s=st.sampled_from(INTERVALS_S),
    )
    def stretch(
        self,
        level: str,
        beside_mv: float,
        current_a: float,
        deadline: int,
        beyond: int,
        every_s: float,
    ) -> None:
        """Samples of one voltage until a deadline, and so many more or less."""
        due_s = deadlines_s(self.settings, self.reference.state)
        wait_s = due_s[deadline % len(due_s)]
        interval_s = max(every_s, ceil(wait_s / MANY_SAMPLES))
        interval_s = min(interval_s, self.settings.max_gap_s)
        count = ceil(wait_s / interval_s) + 1 + beyond
        self._take(
            [
                self._sample(interval_s, level, beside_mv, current_a)
                for _ in range(min(max(count, 1), MOST_IN_A_STRETCH))
            ]
        )

    @rule(
        cell=st.sampled_from(CELLS),
        temperature=st.sampled_from(TEMPERATURES),
        beside_c=st.sampled_from((0.0, -0.5, 0.5, 3.0, -3.0)),
        beside_mv=st.sampled_from((0.0, -1.0, 1.0)),
    )
    def surround(
        self, cell: str | None, temperature: str | None, beside_c: float, beside_mv: float
    ) -> None:
        """From now on cells and temperature read this."""
        self.cell_v = _reading(self.settings, cell, beside_mv / 1000.0, COMFORT_CELL_V)
        self.temp_c = _reading(self.settings, temperature, beside_c, COMFORT_C)
        note(f"cells at {self.cell_v:g} V, temperature {self.temp_c:g} °C")

    @rule(factor=st.sampled_from((1.0, 1.01, 2.0, 50.0)), level=st.sampled_from(VOLTAGES))
    def gap(self, factor: float, level: str) -> None:
        """A sample after an interval as long as may be, or longer."""
        self._take([self._sample(self.settings.max_gap_s * factor, level, 0.0, CURRENTS_A[0])])

    @rule(back_s=st.sampled_from((0.0, 0.5, 10.0, 4294.967296)), level=st.sampled_from(VOLTAGES))
    def step_back(self, back_s: float, level: str) -> None:
        """A sample whose stamp lies before the last one, or repeats it."""
        self._take([self._sample(-back_s, level, 0.0, CURRENTS_A[0])])

    @rule(what=st.sampled_from(UNREADABLE), count=st.integers(1, 3), far=st.booleans())
    def unreadable(self, what: str, count: int, far: bool) -> None:
        """Samples that cannot be believed, one a second or each most of a gap after the other."""
        samples = []
        for _ in range(count):
            interval_s = 0.75 * self.settings.max_gap_s if far else 1.0
            good = self._sample(interval_s, "absorption_v", 0.0, CURRENTS_A[0])
            bad_v = {"no voltage": nan, "voltage beyond belief": 2.0 * self.settings.plausible_v[1]}
            samples.append(
                Sample(
                    nan if what == "no time stamp" else good.t,
                    bad_v.get(what, good.v),
                    nan if what == "no current" else good.i,
                    good.cell_max_v,
                    good.temp_c,
                )
            )
        self._take(samples)

    @precondition(lambda self: self.samples and "power_cycle" in self.identity.features)
    @rule(off_s=st.sampled_from((1.0, 0.0, 3600.0)), level=st.sampled_from(VOLTAGES))
    def power_cycle(self, off_s: float, level: str) -> None:
        """The power is lost, and a sample follows."""
        self.power_cycles.append(len(self.samples))
        try:
            self.attachment.power_cycle()
        except LinkFault as fault:
            raise _failure([fault.finding("machine")]) from fault
        self.reference.power_cycle()
        self._take([self._sample(off_s, level, 0.0, CURRENTS_A[0])])

    @property
    def case(self) -> Case:
        """The run so far as a case: it can be stored, reduced, and run again."""
        return Case(
            id="machine",
            settings=self.settings,
            trace=_trace(self.samples),
            soc=self.soc,
            # A power cycle of which no sample came is none.
            power_cycles=tuple(k for k in self.power_cycles if k < len(self.samples)),
        )

    def _sample(self, after_s: float, level: str, beside_mv: float, current_a: float) -> Sample:
        s, shift_v = self.settings, self.reference.state.watch.shift_v
        self.clock_s += after_s
        base_v: float | None = getattr(s, level)
        if base_v is None:
            base_v = s.return_v - 2.0 if level == "empty_v" else s.entry_v
        if s.compensation_v_per_c != 0.0 and isfinite(self.temp_c):
            shift_v = s.compensation_v_per_c * (self.temp_c - s.reference_c)
        shifted_v = base_v if level == "empty_v" else base_v + shift_v
        v = shifted_v + beside_mv / 1000.0
        return Sample(self.clock_s, v, current_a, self.cell_v, self.temp_c)

    def _take(self, samples: list[Sample]) -> None:
        """Hand samples to both, then compare; what differs is judged, all of the run so far."""
        if len(self.samples) + len(samples) > MOST_SAMPLES:
            return
        note(_told(samples))
        assert self.identity is not None
        before = len(self.samples)
        self.samples += samples
        try:
            answers = self.attachment.run(_trace(samples))
        except LinkFault as fault:
            if fault.index >= 0:
                fault.index += before
            raise _failure([fault.finding("machine")]) from fault
        self.parts.append(answers)
        said = _answers([self.reference.step(sample) for sample in samples])
        self.agreed = self.agreed and agrees(answers, said, self.identity.features)
        if not self.agreed:
            self._judge()

    def _judge(self) -> None:
        assert self.identity is not None
        case = self.case
        run = Run(case, self.identity, Answers.joined(self.parts))
        findings = judge(run, tolerance_s=self.tolerance_s).findings
        if findings:
            raise _failure(self._of_the_link(case) or list(findings))

    def _of_the_link(self, case: Case) -> list[Finding]:
        """Whether it is only wrong when it is handed the trace in pieces."""
        with type(self).attach() as other:
            try:
                whole = drive(other, case)
            except LinkFault as fault:
                return [fault.finding("machine")]
        if judge(whole, tolerance_s=self.tolerance_s).findings:
            return []
        sentence = "The same trace in one message keeps the rules; in several it breaks them."
        return [
            Finding(CUTS, "machine", nan, -1, "a finding", "none", 0.0, "", sentence),
        ]


def charge_machine(
    attach: Callable[[], Attachment],
    settings: Settings | None = None,
    *,
    tolerance_s: float = 0.0,
) -> type[_Machine]:
    """A state machine of Hypothesis that drives a controller and judges it after every step.

    Its `TestCase` is what pytest and unittest collect; a failure is an `AssertionError` that names
    the requirement and says what was wrong. How many examples of how many steps are tried is up to
    the settings of Hypothesis (`max_examples`, `stateful_step_count`).

    Args:
        attach: opens the controller; called anew for every example.
        settings: those of every example; None draws them from what the controller claims. The
            fixed settings of a controller come first.
        tolerance_s: declared tolerance of the controller's clock, s.

    Raises:
        ValueError: a tolerance that is negative or not finite.
    """
    if not (isfinite(tolerance_s) and tolerance_s >= 0.0):
        raise ValueError(f"tolerance_s is {tolerance_s!r}; it must be 0 or greater")
    length = SETTINGS_CHOICES if settings is None else 0
    started = initialize(
        choices=st.binary(min_size=length, max_size=length),
        soc=st.sampled_from(CHARGES),
        t=st.sampled_from(STAMPS_S),
    )
    members: dict[str, Any] = {
        "start": started(_start),
        "__doc__": "A charge controller, driven step by step.",
        "attach": staticmethod(attach),
        "given": settings,
        "tolerance_s": tolerance_s,
    }
    return type("ChargeMachine", (_Machine,), members)


def _start(machine: _Machine, choices: bytes, soc: float, t: float) -> None:
    """Start it; under this name it is printed."""
    machine.begin(choices, soc, t)


def _reading(settings: Settings, name: str | None, beside: float, comfort: float) -> float:
    """What a sensor reads beside a setting; the comfortable reading where that one is off."""
    if name == "absent":
        return nan
    value: float | None = getattr(settings, name) if name is not None else None
    return comfort if value is None else value + beside


def _trace(samples: list[Sample]) -> Trace:
    names = ("t", "v", "i", "cell_max_v", "temp_c", "temp_max_c")
    columns: dict[str, Floats] = {
        name: np.array([getattr(sample, name) for sample in samples], dtype=np.float64)
        for name in names
    }
    return Trace(**columns)


def _answers(outputs: list[Output]) -> Answers:
    return Answers(
        stage=np.array([output.stage for output in outputs], dtype=np.int8),
        soc=np.array([output.soc for output in outputs]),
        full_reset=np.array([output.full_reset for output in outputs], dtype=np.bool_),
        voltage_request_v=np.array([output.voltage_request_v for output in outputs]),
        current_request_a=np.array([output.current_request_a for output in outputs]),
    )


def _told(samples: list[Sample]) -> str:
    first, last = samples[0], samples[-1]
    return (
        f"{len(samples)} samples, t = {first.t:.10g} to {last.t:.10g} s: "
        f"{last.v:.4f} V, {last.i:g} A, cells {last.cell_max_v:g} V, {last.temp_c:g} °C"
    )


def _unusual(settings: Settings) -> str:
    usual = Settings().to_mapping()
    own = {n: value for n, value in settings.to_mapping().items() if value != usual[n]}
    return ", ".join(f"{name} = {value!r}" for name, value in own.items()) or "the defaults"


def _failure(findings: list[Finding]) -> AssertionError:
    """The first finding of each requirement, in words."""
    told = {finding.requirement: finding for finding in reversed(findings)}
    lines = []
    for finding in reversed(told.values()):
        where = f" (sample {finding.index}, t = {finding.t:.10g} s)" if finding.index >= 0 else ""
        lines.append(f"{finding.requirement}: {finding.sentence}{where}")
    return AssertionError("\n".join(lines))
