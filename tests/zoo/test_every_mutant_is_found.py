"""The vectors alone find every mutant that can be found, in a requirement that it may break."""

from __future__ import annotations

import pytest

from harness.run import Case
from harness.zoo.matrix import Known, finds, without_faults
from harness.zoo.subject import Subject, subjects

MADE = tuple(each for each in subjects() if not each.by_hand and each.reason is None)
# So that several processes can share the work.
PARTS = 24
# Those that no vector finds yet: as soon as one does, its name must go.
NOT_YET = frozenset(
    {
        "boundary-all-clear-charge-min-c-gt-minus-inf",
        "boundary-all-clear-hottest-c-sample-le-release-max-c",
        "boundary-decide-i-le-high-i",
        "boundary-decide-low-v-le-v",
        "boundary-entered-level-v-ge-entry-v",
        "boundary-entered-level-v-lt-return-v",
        "boundary-floating-soc-lt-return-soc",
        "boundary-powered-up-0-0-le-soc",
        "boundary-watched-hottest-c-sample-gt-charge-max-c",
        "boundary-watched-present-temp-c-lt-charge-min-c",
        "drop-unreadable-charge-dwelling-charge-never",
        "memory-counted-s-forgotten-at-bad-reading",
        "memory-emptied-forgotten-at-bad-reading",
        "memory-emptied-forgotten-at-change-of-stage",
        "memory-emptied-forgotten-at-gap",
        "memory-emptied-forgotten-at-step-back",
        "memory-empty-since-s-forgotten-at-bad-reading",
        "memory-first-t-kept-over-power",
        "memory-shift-v-forgotten-at-gap",
        "memory-shift-v-forgotten-at-step-back",
        "memory-temp-c-held-where-missing",
        "memory-temp-max-c-held-where-missing",
        "memory-temperature-since-s-forgotten-at-bad-reading",
        "memory-temperature-since-s-forgotten-at-change-of-stage",
        "memory-tripped-forgotten-at-change-of-stage",
        "memory-tripped-forgotten-at-step-back",
        "negate-counted-before-a-gt-0-0",
        "part-all-clear-and-charge-min-c-gt-minus-inf",
        "part-counted-and-before-a-le-0-0",
        "part-counted-and-now-a-le-0-0",
        "part-watched-or-emptied",
        "precision-cell-10mv",
        "precision-cell-10mv-down",
        "precision-hottest-whole-down",
        "precision-request-100mv",
        "precision-request-ten-amperes",
        "precision-settings-seconds-whole",
        "precision-temperature-whole",
        "precision-temperature-whole-down",
        "reset-dwell-since-s-kept-into-float",
        "reset-dwell-since-s-kept-into-inhibited",
        "reset-dwelling-timer-from-s-lost",
        "reset-entered-level-v-ge-entry-v-not-at-entry",
        "reset-entered-level-v-ge-entry-v-runs-at-once",
        "reset-entered-level-v-lt-return-v-not-at-entry",
        "reset-entered-level-v-lt-return-v-runs-at-once",
        "reset-let-go-cell-since-s-lost",
        "reset-let-go-emptied-lost",
        "reset-let-go-empty-since-s-lost",
        "reset-let-go-shift-v-lost",
        "reset-let-go-temperature-since-s-lost",
        "reset-shifted-cell-since-s-lost",
        "reset-shifted-emptied-lost",
        "reset-shifted-empty-since-s-lost",
        "reset-shifted-quiet-lost",
        "reset-shifted-temperature-since-s-lost",
        "reset-shifted-tripped-lost",
        "reset-unreadable-emptied-lost",
        "reset-unreadable-empty-since-s-lost",
        "reset-unreadable-temperature-since-s-lost",
        "reset-watched-shift-v-lost",
        "reset-watched-temperature-since-s-over-breaks",
        "shift-cell-limit-v-2mv-lower",
        "shift-cell-release-v-20mv-higher",
        "shift-cell-release-v-2mv-higher",
        "shift-charge-max-c-0-2c-higher",
        "shift-charge-min-c-0-2c-lower",
        "shift-empty-v-100mv-higher",
        "shift-empty-v-5mv-higher",
        "shift-plausible-i-high-0-5a-higher",
        "shift-plausible-i-high-0-5a-lower",
        "shift-plausible-i-high-20a-higher",
        "shift-plausible-i-high-20a-lower",
        "shift-plausible-i-low-0-5a-lower",
        "shift-plausible-i-low-20a-lower",
        "shift-plausible-v-high-10mv-higher",
        "shift-plausible-v-high-1v-higher",
        "shift-plausible-v-low-10mv-higher",
        "shift-plausible-v-low-10mv-lower",
        "shift-plausible-v-low-1v-higher",
        "shift-sag-v-100mv-lower",
        "shift-sag-v-5mv-lower",
        "shift-taper-a-0-5a-higher",
        "shift-taper-a-10a-higher",
        "shift-temp-band-c-0-2c-lower",
        "source-soc-low-in-inhibited",
        "source-trip-no-reading-missing-in-float",
        "source-trip-temperature-missing-in-float",
        "source-waited-too-long-in-bulk",
        "swap-charge-min-c-none-for-zero",
        "swap-empty-v-none-for-zero",
        "swap-return-v-for-empty-v",
        "swap-sag-v-for-float-v",
    }
)


@pytest.fixture(scope="module")
def right(cases: tuple[Case, ...]) -> Known:
    """What the reference answers to the vectors."""
    return without_faults(cases)[1]


def first_found(subject: Subject, cases: tuple[Case, ...], right: Known) -> str:
    """The first vector that finds it in a requirement that it may break; empty where none does."""
    with subject.attached() as attachment:
        for case in cases:
            found = finds(attachment, case, right[case.id]) or ()
            if any(map(subject.is_right, found)):
                return case.id
    return ""


@pytest.mark.parametrize("part", range(PARTS))
def test_every_mutant_is_found(part: int, cases: tuple[Case, ...], right: Known) -> None:
    mine = MADE[part::PARTS]
    missed = {each.name for each in mine if not first_found(each, cases, right)}
    assert missed == NOT_YET & {each.name for each in mine}
