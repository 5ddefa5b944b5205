"""Whether what a decision is taken by stays for a while after it.

A controller whose timers are one sample late is within the tolerance of the checks. Where a reading
goes away, power is lost or the trace ends right after a decision, such a controller would be blamed
for what it never got to see; and a fault in the last decision of a trace would go unseen.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.cases.builder import LAST_SAMPLES, SETTLING_SAMPLES
from harness.cases.margins import Samples, samples_of
from harness.run import Case


def unsettled(case: Case) -> Iterator[str]:
    """Say which decisions of a case that states its stages have no time to settle."""
    samples = samples_of(case)
    decisions = sorted({*_changes(samples), *_emptied(case, samples)})
    for k in decisions:
        last = k == decisions[-1]
        count = LAST_SAMPLES if last else SETTLING_SAMPLES
        if k + count >= len(case.trace):
            yield f"{_name(case, k)} is less than {count} samples before the end of the trace"
            return
        for follows in range(k + 1, k + SETTLING_SAMPLES + 1):
            what = _disturbed(case, samples, follows)
            if what:
                yield (
                    f"{_name(case, k)} is less than {SETTLING_SAMPLES} samples before {what} "
                    f"at t {case.trace.t[follows]:g} s"
                )
                return


def _name(case: Case, k: int) -> str:
    return f"the decision at t {case.trace.t[k]:g} s"


def _changes(samples: Samples) -> Iterator[int]:
    """The samples on which a new stage is expected."""
    for k in range(1, len(samples.stage)):
        if samples.stage[k] != samples.stage[k - 1]:
            yield k


def _emptied(case: Case, samples: Samples) -> Iterator[int]:
    """The samples on which the count of an empty pack is set to 0."""
    s = case.settings
    if s.empty_v is None:
        return
    since_s, done = np.nan, False
    for k, t in enumerate(case.trace.t):
        if k in case.power_cycles:
            since_s, done = np.nan, False
        if not samples.valid[k]:
            continue
        low = bool(case.trace.v[k] <= s.empty_v)
        if not low:
            since_s, done = np.nan, False
        elif np.isnan(since_s) or not samples.joined[k]:
            since_s = t
        if low and not done and t - since_s >= s.empty_dwell_s - 1e-9:
            done = True
            yield k


def _disturbed(case: Case, samples: Samples, k: int) -> str:
    """What is different at sample `k` from the one before; empty if nothing is."""
    if k in case.power_cycles:
        return "a loss of power"
    if samples.valid[k] and samples.valid[k - 1] and not samples.joined[k]:
        return "a break in time"
    for name in case.trace.columns[1:]:
        before, now = case.trace.column(name)[k - 1 : k + 1]
        if not np.array_equal(before, now, equal_nan=True):
            return f"another {name}"
    return ""
