"""What a hunt found: the ways in which requirements were broken, each with its first trace."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from attrs import frozen

from ctrl.vocabulary import Stage
from harness.run import Finding, Identity, Run

# The stages between which a finding lies, or the words for one that lies in no run.
NO_RUN = ""


def way_of(run: Run, finding: Finding) -> str:
    """In which way a requirement was broken: the stage observed, or the change of it.

    `bulk to absorption` where the finding stands on a change of stage, `absorption` where it does
    not; empty where it is about no sample.
    """
    k, stage = finding.index, run.answers.stage
    if k < 0:
        return NO_RUN
    after = Stage(stage[k])
    fresh = k == 0 or k in run.case.power_cycles
    before = Stage.BULK if fresh else Stage(stage[k - 1])
    return after.word if before is after else f"{before.word} to {after.word}"


@frozen
class Key:
    """What tells one failure from another.

    Attributes:
        requirement: id of the requirement that is broken.
        way: as `way_of` says.
    """

    requirement: str
    way: str


@frozen(eq=False)
class Failure:
    """One way in which a controller breaks one requirement.

    Attributes:
        key: which requirement, in which way.
        finding: what was found in the first trace that showed it.
        number: number of that trace in the sweep.
        case: that trace, a case of the role; None where the failure came before any trace.
        traces: how many traces showed it.
        before: how many traces, run on the same program before this one, it takes to see it; 0 where
            the trace alone shows it.
    """

    key: Key
    finding: Finding
    number: int
    case: Any
    traces: int = 1
    before: int = 0


@frozen(eq=False)
class Hunted:
    """What came of a hunt.

    Attributes:
        spec: how the controller was attached.
        identity: who it says it is; None where it never said.
        seed: seed of the sweep.
        first: number of the first trace.
        traces: how many traces were run.
        failures: what was found, in the order in which it was found.
        exercised: how often each requirement was put to the test in the traces that were judged.
        cases: how many traces put each requirement to the test.
        judged: how many traces were judged requirement by requirement; the others were answered as
            the reference answers them.
        differing: how many were answered in another way than the reference does, and yet within
            what the requirements allow.
        errors: traces that could not be judged, with the reason.
        stopped: why the hunt ended before its budget; empty where it did not.
        interrupted: whether the user ended it.
        elapsed_s: how long it took, s of the wall clock.
        role: what was hunted: a `controller` or a `charger`.
    """

    spec: str
    identity: Identity | None
    seed: int
    first: int
    traces: int
    failures: tuple[Failure, ...]
    exercised: Mapping[str, int]
    cases: Mapping[str, int]
    judged: int
    differing: int
    errors: Mapping[str, str]
    stopped: str
    interrupted: bool
    elapsed_s: float
    role: str = "controller"
