"""From a failure that a hunt found to the shortest trace that shows it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from attrs import evolve

from harness.attach.base import Attached
from harness.hunt.doubt import cut_finding
from harness.hunt.failure import Failure, Key
from harness.hunt.reduce import RUNS, SECONDS, Reduced, Shown, Shows, reduced
from harness.hunt.role import role_of
from harness.hunt.trial import judged, tried
from harness.rules.link import CUTS, FRESH

# A controller that hangs is waited for this long while its trace is shortened, s; and so often.
SHORT_LIMIT_S = 1.0
RUNS_OF_A_HANG = 20


def can_be_shortened(failure: Failure) -> bool:
    """Whether one trace alone shows the failure."""
    return failure.case is not None and not failure.before and failure.key.requirement != FRESH


def shortest(
    attachment: Attached,
    failure: Failure,
    *,
    settings_stay: bool = False,
    tolerance_s: float = 0.0,
    runs: int = RUNS,
    seconds: float = SECONDS,
    interrupted: Callable[[], bool] = lambda: False,
) -> Reduced:
    """The smallest case that shows a failure in the same way.

    Args:
        attachment: the controller.
        failure: what the hunt found; one for which `can_be_shortened`.
        settings_stay: the settings are not to be touched; so it is for those that are fixed.
        tolerance_s: declared tolerance of the controller's clock, s.
        runs: the most runs of the controller.
        seconds: after so many s of the wall clock no more is tried.
        interrupted: asked before each run; no more is tried when it says so.

    Raises:
        ValueError: no trace alone shows the failure.
    """
    if failure.case is None or not can_be_shortened(failure):
        raise ValueError(f"no trace alone shows {failure.key.requirement}")
    fixed = attachment.hello().fixed is not None
    hangs = failure.key.requirement == "LINK.answers"
    shows = breaks(attachment, failure.key, tolerance_s)

    def shows_soon(case: Any) -> Shown | None:
        with _short_limit(attachment):
            return shows(case)

    confirms = breaks(attachment, failure.key, tolerance_s, afresh=True)
    stay = settings_stay or fixed
    found = reduced(
        failure.case,
        shows_soon if hangs else shows,
        confirms=confirms,
        settings_stay=stay,
        runs=min(runs, RUNS_OF_A_HANG) if hangs else runs,
        seconds=seconds,
        interrupted=interrupted,
        edits=role_of(attachment).edits,
    )
    return found if stay or hangs else _without_unclaimed(attachment, found, confirms)


def _without_unclaimed(attachment: Attached, found: Reduced, confirms: Shows) -> Reduced:
    """What was found without settings for what the controller does not claim, where it still fails."""
    role = role_of(attachment)
    case = role.without_unclaimed(found.case, attachment.hello().features)
    if found.shown is None or case is found.case:
        return found
    shown = confirms(case)
    if shown is None:
        return found
    return evolve(found, case=case, shown=shown, runs=found.runs + 1)


def breaks(
    attachment: Attached, key: Key, tolerance_s: float = 0.0, *, afresh: bool = False
) -> Shows:
    """The question whether a controller breaks a requirement in a case, in one way of several.

    Args:
        attachment: the controller.
        key: the requirement, and the way.
        tolerance_s: declared tolerance of the controller's clock, s.
        afresh: ask on a program on which nothing ran before.
    """
    role = role_of(attachment)

    def shows(case: Any) -> Shown | None:
        if role.cannot_be_told(attachment, case):
            return None
        trial = tried(attachment, case, afresh=afresh)
        finding = judged(trial, tolerance_s).found.get(key)
        if finding is None:
            return None
        if trial.run is not None and role.agrees(
            trial.run.answers, role.reference(case), trial.run.identity.features
        ):
            # What the reference answers as well is no fault of this controller.
            return None
        return Shown(finding, trial.run)

    def shows_cuts(case: Any) -> Shown | None:
        # Only where the cuts make it break something does a replay of the case show anything.
        trial = tried(attachment, case, afresh=afresh)
        whole = tried(attachment, evolve(case, cuts=()), afresh=afresh)
        finding = cut_finding(trial, whole)
        if finding is None or not judged(trial, tolerance_s).found:
            return None
        return Shown(finding, trial.run)

    return shows_cuts if key.requirement == CUTS else shows


@contextmanager
def _short_limit(attachment: Attached) -> Iterator[None]:
    limit_s = attachment.limit_s
    attachment.limit_s = min(limit_s, SHORT_LIMIT_S)
    try:
        yield
    finally:
        attachment.limit_s = limit_s
