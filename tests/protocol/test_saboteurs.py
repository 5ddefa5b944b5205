"""Every saboteur is found out in the requirement that it breaks, and the run goes on."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from harness.attach import LINK_REQUIREMENTS, LinkFault, Refused, drive
from harness.attach.program import ProgramAttachment
from harness.run import Case, Trace
from harness.zoo.saboteurs import SABOTEURS

Sabotaged = Callable[[str], ProgramAttachment]

SHORT_S = 0.4
JUDGED_ELSEWHERE = ("LINK.cuts", "LINK.fresh-start")
BREAKS_THE_LINK = [
    name for name, it in SABOTEURS.items() if it.breaks and it.breaks not in JUDGED_ELSEWHERE
]
HARMLESS = [name for name in SABOTEURS if name not in BREAKS_THE_LINK]
SILENT = (
    "hang_at_hello",
    "hang_at_start",
    "hang_at_run",
    "hang_at_stop",
    "reads_nothing",
    "closes_output",
)


def session(attachment: ProgramAttachment, name: str, case: Case, long_trace: Trace) -> None:
    """Everything that one controller is asked in a run, and its end."""
    if name not in ("hang_at_hello", "line_too_many"):
        # Starting Python takes longer than the short limit on a busy machine.
        attachment.hello()
    if SABOTEURS[name].breaks == "LINK.answers" and name in SILENT:
        attachment.limit_s = SHORT_S
    drive(attachment, case)
    attachment.run(long_trace)
    if name == "hang_at_stop":
        attachment.limit_s = SHORT_S
    attachment.stop()


@pytest.mark.parametrize("name", BREAKS_THE_LINK)
def test_a_saboteur_breaks_its_requirement_and_can_be_started_again(
    name: str, sabotaged: Sabotaged, case: Case, long_trace: Trace
) -> None:
    attachment = sabotaged(name)
    breaks = SABOTEURS[name].breaks
    for _ in range(2 if name not in SILENT else 1):
        attachment.limit_s = 20.0 if name != "hang_at_hello" else SHORT_S
        with pytest.raises(LinkFault) as caught:
            session(attachment, name, case, long_trace)
        assert caught.value.requirement == breaks, caught.value.detail
        assert caught.value.observed
        assert caught.value.expected
        if not isinstance(caught.value, Refused):
            assert attachment.pid is None, "a program that broke the link is not spoken to again"


@pytest.mark.parametrize("name", HARMLESS)
def test_what_is_allowed_is_no_fault(
    name: str, sabotaged: Sabotaged, case: Case, long_trace: Trace
) -> None:
    session(sabotaged(name), name, case, long_trace)


def test_after_a_crash_the_next_case_is_driven_by_a_new_process(
    sabotaged: Sabotaged, case: Case
) -> None:
    attachment = sabotaged("columns_change")
    with pytest.raises(LinkFault) as caught:
        drive(attachment, case)
    assert caught.value.index == 15, "the first sample of the second message of the case"
    attachment.start(case.settings, 0.5)
    answers = attachment.run(case.trace.part(0, 3))
    assert answers.soc is not None
    assert answers.soc[0] == 0.5


def test_a_child_that_lives_on_is_ended_with_its_parent(
    sabotaged: Sabotaged, case: Case, living: Callable[[int], list[int]]
) -> None:
    attachment = sabotaged("forks_child_that_lives_on")
    attachment.hello()
    group = attachment.pid
    assert group is not None
    with pytest.raises(LinkFault) as caught:
        drive(attachment, case)
    assert caught.value.observed == "exited with 9"
    assert caught.value.stderr.startswith("child ")
    assert living(group) == []


def test_a_refusal_leaves_the_program_running(sabotaged: Sabotaged, case: Case) -> None:
    attachment = sabotaged("refuses_everything")
    for _ in range(2):
        with pytest.raises(Refused, match="not with me"):
            attachment.start(case.settings, 0.5)
    first = attachment.pid
    assert first is not None
    attachment.stop()


def test_saboteurs_cover_the_link_and_say_what_they_do() -> None:
    assert {it.breaks for it in SABOTEURS.values()} == {"", *LINK_REQUIREMENTS}
    sentences = [it.sentence for it in SABOTEURS.values()]
    assert all(sentence.endswith(".") and "\n" not in sentence for sentence in sentences)
    assert len(set(sentences)) == len(sentences)
    assert {"well_behaved", "stderr_flood", "line_in_two_writes"} <= set(HARMLESS)
