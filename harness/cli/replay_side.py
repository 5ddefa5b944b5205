"""What `replay` needs of a role: which trace is meant, how it is run, and how it is told."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from attrs import frozen
from rich.console import Console

from harness.attach import attach, drive
from harness.cli.given_case import given_case
from harness.judge import judge
from harness.report import replayed
from harness.report.reference_events import reference_events
from harness.report.timeline import beside, moments
from harness.role import CHARGER
from harness.run import Run


@frozen
class ReplaySide:
    """One role.

    Attributes:
        attach: attaches what a name and `limit_s` (s) stand for; raises `AttachError`.
        given_case: as `harness.cli.given_case.given_case`.
        drive: takes what is attached and a case, and returns the run; raises `LinkFault`.
        told: takes how it was named, what the trace is called, the run, and the tolerance of the
            clock (s), and returns what is shown; its `verdict` is what the requirements say.
        show: shows that on a console.
        to_json: the same as JSON.
    """

    attach: Callable[..., Any]
    given_case: Callable[..., tuple[Any, str]]
    drive: Callable[[Any, Any], Any]
    told: Callable[[str, str, Any, float], Any]
    show: Callable[[Console, Any], None]
    to_json: Callable[[Any], str]


def replay_side_of(role: str) -> ReplaySide:
    """The side of this role; what only a charger needs is loaded only for one."""
    if role == CHARGER:
        from harness.cli.replay_charger import charger_replay_side

        return charger_replay_side()
    return ReplaySide(attach, given_case, drive, _told, replayed.show, replayed.to_json)


def _told(spec: str, called: str, run: Run, tolerance_s: float) -> replayed.Replayed:
    timeline = moments(run, reference_events(spec, run.case))
    if run.case.expected is not None:
        timeline = beside(timeline, run, run.case.expected)
    return replayed.Replayed(called, run, timeline, judge(run, tolerance_s=tolerance_s))
