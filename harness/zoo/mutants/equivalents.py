"""Mutants that no test can find, each with the reason; none of them is ever left out without a word.

Two kinds. An *equivalent* mutant answers every trace as the reference does, to the last bit: that is
tested. A *tolerated* one answers in another way that the requirements allow: within one sampling
interval, between the two rectangle sums of the count, or within the slack of 1e-9 s in which stamps
are compared; no trace may raise a finding about it, which is tested as well. Those of the slack are
recognised by what is compared (`harness.zoo.mutants.proofs`); the others stand here.
"""

from __future__ import annotations

from attrs import frozen

from harness.zoo.mutants.mutant import Mutant
from harness.zoo.mutants.proofs import differs_by_slack_only, same_code

SLACK = (
    "the two guards differ only where a time is exactly 1e-9 s short of its limit, which is inside the"
    " slack of every comparison of times"
)
SAME_CODE = "the changed function compiles to the code of the right one"


@frozen
class Reason:
    """Why a mutant cannot be found.

    Attributes:
        text: the reason.
        exact: its answers are those of the reference to the last bit; else they may differ by what
            the requirements allow.
        proved: worked out from the code; else it stands in the list below.
    """

    text: str
    exact: bool = True
    proved: bool = False


_STARTS = "no controller is ever started with a count outside 0..1: the settings are checked before"
_CEILING = "at equality both branches give the same count"
_CROSSING = "where one current is 0 the crossing lies at the end of the interval, and both ways give the same"
_SHORTCUT = "the guard only saves work: what it lets pass changes nothing"
_FIRST = "the stamp of the first sample is read only before there was a valid one, and no valid one is here"
_UNSAID = "what happened is not in the answers, save a full reset, which this does not touch"
_NOT_RUNNING = "this part of the state is at rest already whenever this is reached"
_UNREAD = "no rule reads this part of the state before it is set anew"
_FIRST_VALID = (
    "the first valid sample after a loss of power is never continuous, so every dwell begins there"
)
_RECTANGLE = "the result lies between the two rectangle sums, and any rule between them is accepted"

LISTED: dict[str, Reason] = {
    "part-powered-up-and-isfinite-soc": Reason(_STARTS),
    "part-powered-up-and-0-0-le-soc-le-1-0": Reason(_STARTS),
    "boundary-counted-coulombs-gt-0-0": Reason(
        "without charge the count stays as it is on both branches"
    ),
    "boundary-counted-before-a-ge-0-0": Reason(_CROSSING),
    "boundary-counted-now-a-ge-0-0": Reason(_CROSSING),
    "boundary-counted-now-a-le-0-0": Reason(_CROSSING),
    "boundary-counted-before-a-gt-0-0": Reason(
        "a current of 0 before has been dealt with by the branches above"
    ),
    "boundary-counted-moved-gt-0-0": Reason(_CEILING),
    "boundary-counted-soc-gt-soc-ceiling": Reason(_CEILING),
    "boundary-counted-moved-lt-top": Reason(_CEILING),
    "boundary-watched-cell-since-s-lt-never": Reason(_SHORTCUT),
    "boundary-watched-temperature-since-s-lt-never": Reason(_SHORTCUT),
    "part-all-clear-and-charge-max-c-lt-inf": Reason(
        "with no charge_max_c every reading is at or below the limit, and one that is missing has failed"
        " the limit of the cold already"
    ),
    "boundary-all-clear-charge-max-c-lt-inf": Reason(
        "with no charge_max_c every reading is at or below the limit, and one that is missing has failed"
        " the limit of the cold already"
    ),
    "boundary-shifted-shift-v-gt-0-0": Reason("a shift of 0 is 0 on both ways"),
    "part-absorption-and-proved": Reason(
        "while nothing is proved the dwell has begun at no time, so it is never over"
    ),
    "part-absorption-or-not-rule-sustained": Reason("the reset rule of the reference is sustained"),
    "boundary-floating-dwell-since-s-lt-never": Reason(_SHORTCUT),
    "part-unreadable-or-isfinite-state-t": Reason(
        "once there was a valid sample, the stamp of the first one is not read any more"
    ),
    "part-decide-or-joined": Reason("a stamp that joins on to a finite one is finite"),
    "part-decide-and-equalises": Reason(
        "without equalisation_v no request is remembered and no schedule begins, so none is ever due"
    ),
    "part-decide-and-stage-is-not-bulk": Reason(_SHORTCUT),
    "part-decide-and-stage-is-not-absorption": Reason(_SHORTCUT),
    "boundary-decide-temp-c-lt-charge-min-c": Reason(_SHORTCUT),
    "boundary-decide-temp-c-gt-charge-max-c": Reason(_SHORTCUT),
    "boundary-decide-temp-max-c-gt-charge-max-c": Reason(_SHORTCUT),
    "boundary-decide-interval-s-gt-0-0": Reason("an interval of 0 is 0 on both ways"),
    "negate-decide-happened-ne-0": Reason(_UNSAID),
    "negate-decide-tripped-has-cell-voltage": Reason(
        "both rows lead to inhibited; the cause is not in the answers"
    ),
    "source-break-in-time-in-bulk": Reason(
        "bulk entered anew is bulk with its dwell begun at this sample, as after any break in time"
    ),
    "reset-counted-s-kept-into-absorption": Reason(_NOT_RUNNING),
    "reset-watched-first-t-lost": Reason(_FIRST),
    "reset-let-go-first-t-lost": Reason(_FIRST),
    "reset-shifted-first-t-lost": Reason(_FIRST),
    "reset-dwelling-counted-s-lost": Reason(_UNREAD),
    "reset-hold-timer-dwell-since-s-lost": Reason(_NOT_RUNNING),
    "reset-hold-timer-expired-s-kept": Reason(_NOT_RUNNING),
    "reset-absorption-dwell-since-s-lost": Reason(_NOT_RUNNING),
    "reset-absorption-timer-from-s-kept": Reason(_UNREAD),
    "reset-absorption-counted-s-kept": Reason(_UNREAD),
    "reset-floating-dwell-since-s-lost": Reason(
        "a stamp that steps back restarts this dwell in any case"
    ),
    "reset-floating-counted-s-kept": Reason(_NOT_RUNNING),
    "reset-floating-expired-s-kept": Reason(_NOT_RUNNING),
    "reset-expired-s-kept-into-equalisation": Reason(_NOT_RUNNING),
    "reset-equalising-counted-s-kept": Reason(_NOT_RUNNING),
    "reset-counting-not-before-s-lost": Reason(
        "the schedule begins at the first valid sample, before which none can have been abandoned"
    ),
    "reset-with-request-from-s-lost": Reason(
        "one that is asked for is due until it is completed, and the schedule begins anew then"
    ),
    "reset-decide-not-before-s-kept": Reason(
        "it started when the wait of the one before was over, and no clock was set back since"
    ),
    "swap-return-soc-none-for-zero": Reason("no count is below 0"),
    "drop-absorption-happened-happened-hold-over": Reason(_UNSAID),
    "drop-unreadable-news-numbered-happened-trip-no-reading-cause-etc": Reason(_UNSAID),
    "drop-decide-happened-empty-reset": Reason(_UNSAID),
    "drop-decide-happened-on-the-way": Reason(_UNSAID),
    "drop-decide-news-numbered-happened-0-was": Reason(_UNSAID),
    "memory-cell-since-s-kept-over-power": Reason(_FIRST_VALID),
    "memory-temperature-since-s-kept-over-power": Reason(_FIRST_VALID),
    "memory-empty-since-s-kept-over-power": Reason(_FIRST_VALID),
    "memory-dwell-since-s-kept-over-power": Reason(_FIRST_VALID),
    "part-counted-and-before-a-ge-0-0": Reason(_RECTANGLE, exact=False),
    "part-counted-and-now-a-ge-0-0": Reason(_RECTANGLE, exact=False),
    "boundary-counted-before-a-le-0-0": Reason(_RECTANGLE, exact=False),
}


def reason(mutant: Mutant) -> Reason | None:
    """Why a mutant cannot be found; None where it can."""
    if same_code(mutant):
        return Reason(SAME_CODE, proved=True)
    if differs_by_slack_only(mutant):
        return Reason(SLACK, exact=False, proved=True)
    return LISTED.get(mutant.name)
