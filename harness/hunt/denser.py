"""The same trace with more samples: where nothing moves, sampling twice as often changes nothing.

Two runs cannot be compared sample by sample here: the denser one may see that a timer is over half an
interval earlier, and everything after it comes earlier too. So what is compared is decisions, in
their order, up to the first that falls on another sample. That one may do so by one interval for
each timer that leads to it, and only where the readings stand still around it is it held against
the controller.
"""

from __future__ import annotations

from itertools import zip_longest
from math import ceil

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.hunt.changes import joined_rows, valid_rows, with_more
from harness.hunt.difference import Difference, decided_by_count, stage_before
from harness.run import Answers, Case, Flags, Floats, Run


@frozen
class Decision:
    """A change of stage, or a full reset.

    Attributes:
        at: the row of the original trace; a half where it fell on a sample that was added.
        before: the stage before.
        after: the stage after.
        full_reset: whether it was a full reset.
    """

    at: float
    before: Stage
    after: Stage
    full_reset: bool

    @property
    def words(self) -> str:
        """The decision in words."""
        way = f"{self.before.word} -> {self.after.word}"
        return f"{way} with a full reset" if self.full_reset else way


def still_intervals(case: Case) -> Flags:
    """Whether nothing moves from a sample to the next one; shape (samples - 1,).

    Both are valid and read the same, time goes on without a gap, and nothing happens in between.
    """
    still = joined_rows(case) & valid_rows(case)[1:]
    for name in case.trace.columns[1:]:
        column = case.trace.column(name)
        both_nan = np.isnan(column[1:]) & np.isnan(column[:-1])
        still &= (column[1:] == column[:-1]) | both_nan
    for k in (*case.power_cycles, *case.equalise_requests):
        if k > 0:
            still[k - 1] = False
    return still


def denser(case: Case) -> tuple[Case, Floats]:
    """The case with a sample more wherever nothing moves; as `harness.hunt.changes.with_more`."""
    return with_more(case, still_intervals(case))


def decisions(answers: Answers, at: Floats) -> list[Decision]:
    """What was decided, in order; `at` holds the row in the original trace of each answer."""
    stage = np.concatenate([[int(Stage.BULK)], answers.stage])
    reset = answers.full_reset
    news = stage[1:] != stage[:-1]
    if reset is not None:
        news = news | reset
    return [
        Decision(
            float(at[row]),
            Stage(int(stage[row])),
            Stage(int(stage[row + 1])),
            False if reset is None else bool(reset[row]),
        )
        for row in np.flatnonzero(news).tolist()
    ]


def beyond_an_interval(run: Run, denser_run: Run, at: Floats) -> Difference | None:
    """The first decision that the denser run takes otherwise than its sampling explains; or None."""
    rows = np.arange(len(run.case.trace), dtype=np.float64)
    pairs = zip_longest(decisions(run.answers, rows), decisions(denser_run.answers, at))
    for one, two in pairs:
        if one == two:
            continue
        known = [each for each in (one, two) if each is not None]
        first = min(known, key=lambda each: each.at)
        window = _window(run, first)
        if window is None or _hangs_on_count(run, denser_run, at, window, known):
            return None
        # Where two timers race for the same stage, an interval may decide between them.
        same_stage = one is not None and two is not None and one.before is two.before
        if same_stage and max(each.at for each in known) < window.stop:
            return None
        row = ceil(first.at)
        return Difference(
            row,
            "stage",
            _told(one, run, row, window),
            _told(two, run, row, window),
            stage_before(run.answers, row),
        )
    return None


def _window(run: Run, first: Decision) -> range | None:
    """The rows over which a decision may move, and those that it is judged by; None if not still."""
    row = ceil(first.at)
    t, last = run.case.trace.t, row
    if first.before is Stage.ABSORPTION:
        # The hold timer may have run out an interval earlier, and nobody saw in which.
        late = np.flatnonzero(t[row:] >= t[row] + _longest_s(run, row))
        if not len(late):
            return None
        last += int(late[0])
    later = np.flatnonzero(t[last:] > t[last])
    if not len(later):
        return None
    last += int(later[0])
    begin = max(row - 2, 0)
    if not still_intervals(run.case)[begin:last].all():
        return None
    return range(begin, last + 1)


def _longest_s(run: Run, row: int) -> float:
    """The longest interval of the stage before a row, s; gaps apart."""
    stage = run.answers.stage[:row]
    other = np.flatnonzero(stage != stage[-1:])
    entered = int(other[-1]) + 1 if len(other) else 0
    joined = joined_rows(run.case)[entered:row]
    interval_s = np.diff(run.case.trace.t[entered : row + 1])[joined]
    return float(interval_s.max(initial=0.0))


def _hangs_on_count(
    run: Run, denser_run: Run, at: Floats, window: range, known: list[Decision]
) -> bool:
    if all((each.before, each.after) != (Stage.FLOAT, Stage.BULK) for each in known):
        return False
    within = (at >= window.start) & (at < window.stop)
    one, two = run.answers.soc, denser_run.answers.soc
    return decided_by_count(
        run.case.settings,
        None if one is None else one[window.start : window.stop],
        None if two is None else two[within],
    )


def _told(decision: Decision | None, run: Run, row: int, window: range) -> str:
    if decision is None or decision.at >= window.stop:
        return f"{stage_before(run.answers, row).word} kept"
    return decision.words
