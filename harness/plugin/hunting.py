"""The hunt as one test: Hypothesis draws traces and shortens the one that fails."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import HealthCheck, Phase, Verbosity, given, seed, settings

from harness.hunt.compare import agrees, is_reference
from harness.hunt.trial import judged, tried
from harness.plugin.failure import NonConformant
from harness.run import Case, Finding, Identity, Run
from harness.strategies import Drawn, cases

if TYPE_CHECKING:
    from harness.plugin.front import Front

SILENCE = "LINK.answers"


class _Silent(BaseException):
    """A controller that did not answer: every look at it costs the whole limit, so there is one."""

    def __init__(self, failure: NonConformant) -> None:
        super().__init__()
        self.failure = failure


def hunted(front: Front, identity: Identity) -> tuple[Finding | None, Case | None, Run | None]:
    """The first failure, in its shortest trace; nothing where there is none.

    Failures that are known are passed over.

    Args:
        front: the controller, and what is known of it.
        identity: who it says it is.
    """

    @seed(front.seed)
    @settings(
        max_examples=front.hunt,
        derandomize=False,
        database=None,
        deadline=None,
        phases=(Phase.generate, Phase.shrink),
        stateful_step_count=50,
        suppress_health_check=list(HealthCheck),
        report_multiple_bugs=False,
        verbosity=Verbosity.quiet,
        print_blob=False,
    )
    @given(cases(identity.fixed, features=identity.features))
    def every_trace_conforms(drawn: Drawn) -> None:
        failure = _failure(front, drawn, identity.features)
        if failure is None:
            return
        if failure.findings[0].requirement == SILENCE:
            raise _Silent(failure)
        raise failure

    try:
        every_trace_conforms()
    except NonConformant as failure:
        return failure.findings[0], failure.case, failure.run
    except _Silent as silent:
        return silent.failure.findings[0], silent.failure.case, silent.failure.run
    return None, None, None


def _failure(front: Front, drawn: Drawn, features: frozenset[str]) -> NonConformant | None:
    """The first unknown finding about one trace."""
    if front.attachment.cannot_be_told(drawn.case):
        return None
    trial = tried(front.attachment, drawn.case)
    alike = trial.answers is not None and agrees(trial.answers, drawn.said, features)
    if alike and not is_reference(front.attachment):
        return None
    for finding in judged(trial, front.tolerance_s).found.values():
        if finding.requirement in front.judged and not front.excuse(finding):
            return NonConformant([finding], drawn.case, trial.run)
    return None
