"""A case on an attached controller becomes a run."""

from __future__ import annotations

from typing import Any

from harness.attach.base import Attachment, LinkFault
from harness.run import Answers, Case, Run


def drive(attachment: Attachment, case: Case) -> Run:
    """Start the controller afresh, send the whole trace of the case, and keep what it answers.

    Only settings, starting count and samples are sent: nothing of what the case expects.

    Raises:
        Refused: the controller will not start with the settings of the case.
        LinkFault: it did not answer as it should; `index` counts in the trace of the case.
        ValueError: the case has no samples.
    """
    if not len(case.trace):
        raise ValueError(f"case {case.id} has no samples")
    identity = attachment.hello()
    case = attachment.as_given(case)
    attachment.start(case.settings, case.soc)
    answers = answers_by_stretch(attachment, case, frozenset(case.equalise_requests))
    return Run(case, identity, Answers.joined(answers))


def answers_by_stretch(
    attachment: Any, case: Any, equalise_before: frozenset[int] = frozenset()
) -> list[Any]:
    """What is answered to each stretch of a case, whatever the role of who has been started.

    Args:
        attachment: who has been started.
        case: the case.
        equalise_before: an equalisation is asked for before the stretches that begin here.

    Raises:
        LinkFault: it did not answer as it should; `index` counts in the trace of the case.
    """
    parts = []
    for start, stop, power_was_lost in case.stretches():
        if power_was_lost:
            attachment.power_cycle()
        if start in equalise_before:
            attachment.request_equalisation()
        try:
            parts.append(attachment.run(case.trace.part(start, stop)))
        except LinkFault as fault:
            if fault.index >= 0:
                fault.index += start
            raise
    return parts
