"""Shrinks a failing case to the smallest readable one that fails in the same way.

The rows go by delta debugging (Zeller and Hildebrandt, 'Simplifying and isolating failure-inducing
input', IEEE Transactions on Software Engineering 28(2), 2002), tried both with the stamps left as
they are, which samples wider, and with the time closed up. Settings, readings and stamps are made
plainer in turn. A step stays only where the failure stays and the case gets smaller
(`harness.hunt.size` for a controller), so the end is the same whenever the controller is.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, Literal

from attrs import frozen

from harness.hunt.edit import key, plain, prefix
from harness.hunt.passes import CONTROLLER_EDITS, Edits
from harness.run import Finding

RUNS = 1500
SECONDS = 60.0
# Rows behind the finding that the first try leaves in place, for what is judged by what follows.
TAIL_ROWS = (0, 1, 2, 4)


@frozen(eq=False)
class Shown:
    """A case that fails in the way asked for.

    Attributes:
        finding: what is wrong.
        run: what was answered; None where the controller failed to answer.
    """

    finding: Finding
    run: Any


Shows = Callable[[Any], Shown | None]


@frozen(eq=False)
class Reduced:
    """What became of a failing case.

    Attributes:
        case: the smallest one found.
        shown: how it fails; None where it does not fail again when it is run once more.
        runs: how often the controller was run.
        ended: why no more was tried: nothing makes it smaller, or a budget was spent.
    """

    case: Any
    shown: Shown | None
    runs: int
    ended: Literal["smallest", "runs", "seconds", "interrupted"]

    @property
    def flaky(self) -> bool:
        """Whether the controller answers the same case now this way, now another."""
        return self.shown is None


class _SpentError(Exception):
    """A budget is spent; the text is which."""


class Reducer:
    """The smallest case so far, and how the next one is tried.

    Attributes:
        case: the smallest failing case.
        shown: how it fails.
        runs: how often the controller was run.
        edits: how a case of its role is made smaller.
    """

    def __init__(
        self,
        case: Any,
        shown: Shown,
        shows: Shows,
        *,
        runs: int,
        until_s: float,
        interrupted: Callable[[], bool],
        edits: Edits,
    ) -> None:
        self.case = case
        self.shown = shown
        self.runs = 0
        self.edits = edits
        self._size = edits.size(case)
        self._shows = shows
        self._most_runs = runs
        self._until_s = until_s
        self._interrupted = interrupted
        self._in_vain: set[tuple[object, ...]] = set()

    def offer(self, candidate: Any) -> bool:
        """Take a case in place of the present one, where it is smaller and fails as well."""
        smaller = self.edits.size(candidate)
        if smaller >= self._size:
            return False
        name = key(candidate)
        if name in self._in_vain:
            return False
        shown = self._try(candidate)
        if shown is None:
            self._in_vain.add(name)
            return False
        self.case, self.shown, self._size = candidate, shown, smaller
        return True

    def cut_tail(self) -> None:
        """Take away what comes behind the finding."""
        found = self.shown.finding.index
        for more in TAIL_ROWS:
            rows = max(found, 0) + 1 + more
            if rows < len(self.case.trace) and self.offer(prefix(self.case, rows)):
                return

    def _try(self, candidate: Any) -> Shown | None:
        if self.runs >= self._most_runs:
            raise _SpentError("runs")
        if time.monotonic() >= self._until_s:
            raise _SpentError("seconds")
        if self._interrupted():
            raise _SpentError("interrupted")
        self.runs += 1
        return self._shows(candidate)


def reduced(
    case: Any,
    shows: Shows,
    *,
    confirms: Shows | None = None,
    settings_stay: bool = False,
    runs: int = RUNS,
    seconds: float = SECONDS,
    interrupted: Callable[[], bool] = lambda: False,
    edits: Edits = CONTROLLER_EDITS,
) -> Reduced:
    """The smallest case that can be found that fails in the same way.

    Args:
        case: one that fails; from a sweep, from Hypothesis, or from a log.
        shows: how a case fails; None where it does not, or in another way.
        confirms: the same for the last time, as whoever gets the case will run it; None for `shows`.
        settings_stay: the settings are not to be touched.
        runs: the most runs of the controller.
        seconds: after so many s of the wall clock no more is tried.
        interrupted: asked before each run; no more is tried when it says so.
        edits: how a case of its role is made smaller.
    """
    given = plain(case)
    shown = shows(given)
    if shown is None:
        return Reduced(given, None, 1, "smallest")
    reducer = Reducer(
        given,
        shown,
        shows,
        runs=runs - 2,
        until_s=time.monotonic() + seconds,
        interrupted=interrupted,
        edits=edits,
    )
    ended: Literal["smallest", "runs", "seconds", "interrupted"] = "smallest"
    passes = [p for p in edits.passes if not (settings_stay and p in edits.settings_passes)]
    try:
        before = None
        while before is not reducer.case:
            before = reducer.case
            for each in passes:
                reducer.cut_tail()
                each(reducer)
    except _SpentError as spent:
        ended = spent.args[0]
    # Run once more: what does not fail twice in the same way is no case to hand on.
    confirmed = (confirms or shows)(reducer.case)
    return Reduced(reducer.case, confirmed, reducer.runs + 2, ended)
