"""The timeline of a run, moment by moment."""

from __future__ import annotations

import numpy as np

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.report.reference_events import reference_events
from harness.report.timeline import beside, moments
from harness.run import Answers, Case, Expected, Identity, Run, Trace

B, A, F = Stage.BULK, Stage.ABSORPTION, Stage.FLOAT


def run_of(*stages: Stage, soc: list[float] | None = None, reset: int = -1) -> Run:
    size = len(stages)
    trace = Trace(np.arange(0.0, 10.0 * size, 10.0), np.full(size, 55.0), np.zeros(size))
    flags = np.zeros(size, bool)
    if reset >= 0:
        flags[reset] = True
    answers = Answers(
        stage=np.array(stages, np.int8),
        soc=None if soc is None else np.array(soc),
        full_reset=flags,
    )
    identity = Identity("hut", "1", "C", frozenset())
    return Run(Case("hut", Settings(), trace, power_cycles=(4,)), identity, answers)


def test_a_moment_is_a_change_of_stage_a_reset_or_a_loss_of_power() -> None:
    run = run_of(B, A, A, F, B, B, soc=[0.5, 0.5, 0.5, 1.0, 1.0, 0.0], reset=3)
    assert [(m.index, m.before, m.after, m.happened) for m in moments(run)] == [
        (0, "", "bulk", ()),
        (1, "bulk", "absorption", ()),
        (3, "absorption", "float", ("full reset",)),
        (4, "float", "bulk", ("power lost",)),
        (5, "bulk", "bulk", ("count set to 0",)),
    ]


def test_a_change_one_sample_off_agrees_and_two_samples_off_does_not() -> None:
    expected = Expected(stages=((0.0, "bulk"), (20.0, "absorption")))
    near = run_of(B, A, A, A, A, A)
    told = beside(moments(near), near, expected)
    assert [(m.index, m.expected, m.agrees) for m in told][:2] == [
        (0, "bulk", True),
        (1, "absorption", True),
    ]
    far = run_of(B, B, B, B, B, A)
    told = beside(moments(far), far, expected)
    assert [(m.index, m.expected, m.agrees) for m in told] == [
        (0, "bulk", True),
        (2, "absorption", False),
        (4, None, True),
        (5, None, False),
    ]


def test_what_never_happened_is_told_at_its_time() -> None:
    run = run_of(B, B, B, B, B, B)
    told = beside(moments(run), run, Expected(stages=((0.0, "bulk"), (50.0, "absorption"))))
    assert (told[-1].index, told[-1].expected, told[-1].agrees) == (5, "absorption", False)


def test_a_long_trace_tells_the_same_events_as_a_short_one() -> None:
    size = 20_100
    v = np.full(size, 55.9)
    v[:10] = 54.0
    trace = Trace(np.arange(float(size)), v, np.full(size, 5.0))
    settings = Settings(hold_s=600.0)
    whole = reference_events("ref", Case("long", settings, trace))
    cut = reference_events("ref", Case("cut", settings, trace, cuts=(5000, 10_000, 15_000)))
    assert whole == cut
    assert whole is not None
    assert [event.name for event in whole[13]] == ["hold_started"]
    assert [event.name for event in whole[613]] == ["hold_expired", "full_reset"]


def test_only_the_reference_tells_events() -> None:
    assert (
        reference_events("exec:./hut", Case("x", Settings(), run_of(B, B, B, B, B).case.trace))
        is None
    )
