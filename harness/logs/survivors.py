"""Which findings are there whatever a log left out or rounded away."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from ctrl.vocabulary import Stage
from harness.judge import judge
from harness.logs.assembled import cut_out
from harness.logs.log import Indices
from harness.logs.variants import near_belief, variants
from harness.rules import REQUIREMENTS
from harness.rules.blame import INVALID
from harness.rules.request import ASKS
from harness.rules.requirement import Check
from harness.run import Finding, Run

REQUESTS = ("REQUEST.", "COMPENSATE.", ASKS)
# One decision may be blamed on one or the other group of these, by a hair.
BLAMED_TOGETHER = frozenset({"ENTRY", "HOLD", "FULL", "FLOAT", "RETURN"})
# Any analysis may put the blame on these.
BLAMED_BY_ANY = frozenset({"TIME", "POWER"})
# A count that is rounded may seem to be off by a step at each end of an interval.
ROUNDED_STEPS = 1.5
# What lies behind a change of stage can no longer change it; a decision on its row needs the next.
ROWS_BEHIND = 3

Steps = Mapping[str, float]


def beyond_rounding(finding: Finding, steps: Steps) -> bool:
    """Whether a finding is more than the steps in which the log is written."""
    if finding.unit == "SoC":
        return abs(finding.margin) > ROUNDED_STEPS * steps.get("soc", 0.0)
    if finding.requirement == INVALID and finding.unit == "mV":
        return finding.margin > 1000.0 * ROUNDED_STEPS * steps.get("voltage_request_v", 0.0)
    return True


def survivors(
    findings: Sequence[Finding],
    run: Run,
    names: set[str],
    *,
    complete: bool,
    steps: Steps,
    tolerance_s: float,
    without: Sequence[Check] = (),
) -> list[Finding]:
    """Those of the findings that other readings, which the log allows, show as well.

    Args:
        findings: what was found on the rows as they are.
        run: the rows.
        names: ids of the requirements that are judged.
        complete: whether every sample that the controller saw is a row.
        steps: the step in which each column is written; empty for numbers that are exact.
        tolerance_s: as they were judged, s.
        without: analyses that are left out.
    """
    stage = run.answers.stage
    changes: Indices = np.flatnonzero(stage[1:] != stage[:-1]) + 1
    # For each stage, the row on which it began; before that for the one before it.
    begins: Indices = np.concatenate((np.zeros(2, np.intp), changes))

    def number_of(row: int) -> int:
        return int(np.searchsorted(changes, row, side="right"))

    def begin_of(finding: Finding) -> int:
        # What ended a stage is judged by its course; what tripped one that is inhibited came before.
        j = number_of(finding.index) + 1
        j -= 1 if begins[j] == finding.index else 0
        j -= 1 if j and stage[begins[j]] == Stage.INHIBITED else 0
        return int(begins[j])

    def end_of(finding: Finding) -> int:
        # What is overdue may be overdue a little later on other readings.
        j = number_of(finding.index)
        on_change = j > 0 and changes[j - 1] == finding.index
        end = finding.index if on_change or j == len(changes) else int(changes[j])
        return (
            len(stage)
            if j == len(changes) and not on_change
            else min(end + ROWS_BEHIND, len(stage))
        )

    left = _sure_of_belief(findings, run, steps, begin_of)
    asked = [f for f in left if f.requirement.startswith(REQUESTS)]
    left = [f for f in left if f not in asked]
    windows = _windows([(begin_of(f), end_of(f)) for f in left])
    kept: list[Finding] = []
    for start, stop in windows:
        inside = [f for f in left if start <= f.index < stop]
        part = cut_out(run, start, stop)
        idle = (*without, *_idle(inside))
        for other in variants(part, complete=complete, steps=steps):
            found = judge(other, names, tolerance_s=tolerance_s, without=idle).findings
            there = {
                (_what(f), number_of(f.index + start)) for f in found if beyond_rounding(f, steps)
            }
            inside = [f for f in inside if (_what(f), number_of(f.index)) in there]
            if not inside:
                break
        kept += inside
    return kept + asked


def _idle(findings: Sequence[Finding]) -> set[Check]:
    """The analyses that cannot have found any of these."""
    groups = {f.requirement.partition(".")[0] for f in findings}
    if groups & BLAMED_BY_ANY:
        return set()
    return {r.check for r in REQUIREMENTS} - {r.check for r in REQUIREMENTS if r.group in groups}


def _what(finding: Finding) -> str:
    group = finding.requirement.partition(".")[0]
    return group if group in BLAMED_TOGETHER else finding.requirement


def _sure_of_belief(
    findings: Sequence[Finding], run: Run, steps: Steps, begin_of: Callable[[Finding], int]
) -> list[Finding]:
    """The findings before which no row may or may not have been believed, for two stages back."""
    doubtful = near_belief(run, steps) if steps and findings else np.empty(0, np.intp)
    if not len(doubtful):
        return list(findings)
    return [f for f in findings if not np.any((doubtful >= begin_of(f)) & (doubtful <= f.index))]


def _windows(wanted: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Stretches of rows that do not overlap."""
    merged: list[tuple[int, int]] = []
    for start, stop in sorted(wanted):
        if merged and start < merged[-1][1]:
            merged[-1] = (merged[-1][0], max(stop, merged[-1][1]))
        else:
            merged.append((start, stop))
    return merged
