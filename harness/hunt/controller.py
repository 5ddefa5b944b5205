"""The role `controller` in a hunt."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.attach.base import Attachment
from harness.attach.drive import drive
from harness.hunt.compare import agrees, is_reference, reference_run
from harness.hunt.failure import way_of
from harness.hunt.passes import CONTROLLER_EDITS
from harness.hunt.role import HuntRole
from harness.hunt.unclaimed import without_unclaimed
from harness.judge import judge
from harness.rules import REQUIREMENTS
from harness.run import Answers, Case, Run
from harness.strategies.sweep import Swept, sweep
from harness.verdict import CaseVerdict


def _sweep(
    seed: int, settings: Settings | None, features: frozenset[str], first: int
) -> Iterator[Swept]:
    return sweep(seed, settings=settings, features=features, start=first)


def _worlds(
    attachment: Attachment, seed: int, count: int, features: frozenset[str]
) -> Iterator[Swept]:
    # The simulated bank takes a while to load.
    from harness.hunt.in_worlds import traces_of_worlds

    return traces_of_worlds(attachment, seed=seed, count=count, features=features)


def _judge(run: Run, tolerance_s: float) -> CaseVerdict:
    return judge(run, tolerance_s=tolerance_s)


def _reference(case: Case) -> Answers:
    return reference_run(case).answers


def _cannot_be_told(attachment: Attachment, case: Case) -> str:
    return attachment.cannot_be_told(case)


def _worded(column: str, value: Any) -> str:
    return Stage(value).word if column == "stage" else f"{value:.10g}"


CONTROLLER = HuntRole(
    name="controller",
    catalogue=REQUIREMENTS,
    sweep=_sweep,
    worlds=_worlds,
    drive=drive,
    judge=_judge,
    way_of=way_of,
    reference=_reference,
    agrees=agrees,
    is_reference=is_reference,
    cannot_be_told=_cannot_be_told,
    worded=_worded,
    edits=CONTROLLER_EDITS,
    without_unclaimed=without_unclaimed,
)
