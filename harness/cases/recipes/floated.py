"""What counts at the very sample on which float is entered, and beside it. The group is `return`."""

from harness.cases.packs import hut
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("return")

_SETTINGS = hut(return_dwell_s=20, confirm_s=5)


def _denied_at(b: Passages, v: float) -> float:
    """Denied at a voltage, into float; returns the stamp, s."""
    b.need_setting("on_unconfirmed", "float")
    b.need_setting("on_sag", "run")
    b.need(
        5 < b.settings.return_dwell_s < 1.6 * b.settings.max_gap_s, "return_dwell_s must fit a gap"
    )
    b.reach_absorption()
    b.need_more("confirm_s", 2)
    b.hold(0.95)
    # A controller that sees the end of the hold one sample late denies on the same sample.
    b.expire()
    b.at(b.clock_s + 1.0, v=v)
    b.expect("float")
    b.float_from_s = b.clock_s
    b.need_float_room(2 * b.settings.return_dwell_s)
    b.need_setting("return_soc", None)
    return b.clock_s


def _low_from(b: Passages, from_s: float, due_s: float) -> None:
    """Under return_v from a stamp on, until bulk is due."""
    b.at(from_s, v=b.low_v)
    for k in range(1, round(due_s - from_s)):
        b.at(from_s + k)
    b.at(due_s)
    b.expect("bulk")
    for k in range(1, 6):
        b.at(due_s + k)


@BOOK.recipe(
    "first-sample-at-the-voltage-does-not-count",
    title="A first sample at return_v, or above it, does not count for the return",
    why="The dwell begins with the low voltage, not with float.",
    requirements="RETURN.voltage-held RETURN.low-voltage",
    negative="RETURN.voltage-held",
    features="return_voltage confirm",
    settings=_SETTINGS,
    catches=("compares with <= where float is entered", "begins the dwell with the stage"),
    tags="boundary",
)
def first_sample_at_the_voltage_does_not_count(b: Passages) -> None:
    """Float entered at exactly return_v, the next reading half a dwell later under it: a dwell from there."""
    s = b.settings
    at_s = _denied_at(b, s.return_v)
    next_s = at_s + 0.5 * s.return_dwell_s
    _low_from(b, next_s, next_s + s.return_dwell_s)


@BOOK.recipe(
    "first-sample-counts-over-a-long-interval",
    title="The sample on which float is entered counts for the return",
    why="With readings far apart the first one is half of the dwell.",
    requirements="RETURN.voltage-held RETURN.low-voltage",
    features="return_voltage confirm",
    settings=_SETTINGS,
    catches=("begins the dwell with the second sample",),
    tags="boundary",
)
def first_sample_counts_over_a_long_interval(b: Passages) -> None:
    """Float entered under return_v, the next reading half a dwell later: bulk in time."""
    at_s = _denied_at(b, b.low_v)
    dwell_s = b.settings.return_dwell_s
    _low_from(b, at_s + 0.5 * dwell_s, at_s + dwell_s)


@BOOK.recipe(
    "confirmation-does-not-count",
    title="The time of the confirmation does not count for the return",
    why="One variable for two dwells ends float as soon as it has begun.",
    requirements="RETURN.voltage-held RETURN.low-voltage FULL.confirmed",
    negative="RETURN.voltage-held",
    features="return_voltage confirm full_reset",
    settings=hut(return_dwell_s=15, confirm_s=30, full_v=52.5),
    catches=("one variable for the dwells of two stages",),
)
def confirmation_does_not_count(b: Passages) -> None:
    """Confirmed at a voltage that is under return_v as well: the return dwell begins with float."""
    s = b.settings
    b.need_setting("on_sag", "run")
    b.need(s.full_v < s.return_v - 0.1, "full_v must be well under return_v")
    b.need(s.confirm_s > 1.5 * s.return_dwell_s, "confirm_s must be longer than return_dwell_s")
    both_v = round((s.full_v + s.return_v) / 2, 6)
    # There is no voltage at which such a pack charges in bulk.
    b.enter()
    b.hold(0.9)
    b.expire(v=both_v)
    from_s = b.confirm()
    b.until(s.return_dwell_s, since_s=from_s)
    b.expect("bulk")
    b.run(5)


@BOOK.recipe(
    "dips-leave-the-float-timer-alone",
    title="A dip under return_v does not disturb the float timer",
    why="Dwell and timer run side by side; what ends one does not touch the other.",
    requirements="FLOAT.timer-ends FLOAT.stays FLOAT.timer-full-length",
    features="return_voltage float_timer",
    settings=hut(return_dwell_s=15, float_s=60),
    catches=("the float timer is lost when the dwell begins or ends",),
)
def dips_leave_the_float_timer_alone(b: Passages) -> None:
    """Two dips of less than the return dwell, and the float timer ends when it is over."""
    dwell_s = b.need_more("return_dwell_s", 0)
    float_s = b.need_more("float_s", 4 * b.settings.return_dwell_s - 1)
    b.reach_float()
    for _ in range(2):
        b.run(0.6 * dwell_s, v=b.charging_v)
        b.run(0.6 * dwell_s, v=b.low_v)
    b.leave_float(float_s, v=b.charging_v)
    b.charge()


@BOOK.recipe(
    "between-empty-and-return",
    title="Between empty_v and return_v float is left",
    why="To read the lowest voltage for the return leaves a pack in float until it is empty.",
    requirements="RETURN.low-voltage RETURN.voltage-held RETURN.to-bulk",
    features="return_voltage",
    settings=hut(empty_v=44.8),
    catches=("reads empty_v for return_v",),
)
def between_empty_and_return(b: Passages) -> None:
    """In float a voltage between empty_v and return_v: bulk after the dwell."""
    b.need(b.settings.empty_v is not None, "empty_v is none")
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.fall_low()
    b.charge()


@BOOK.recipe(
    "count-at-its-threshold",
    title="A count of exactly return_soc does not end float",
    why="Below is below.",
    requirements="FLOAT.stays",
    negative="FLOAT.stays",
    features="return_soc soc",
    settings=hut(return_soc=0.5),
    catches=("compares with <= instead of <",),
    tags="boundary",
)
def count_at_its_threshold(b: Passages) -> None:
    """No current flows from the start, the count stands at return_soc, and a hold is denied: float."""
    soc = b.settings.return_soc
    b.need(soc is not None, "return_soc is none")
    assert soc is not None
    b.soc = soc
    b.set(i=0.0)
    b.charge()
    b.enter()
    b.deny(b.charging_v)
    b.stay_in_float(30)


@BOOK.recipe(
    "count-has-no-say-while-blocked",
    title="A low count does not end a block",
    why="The count asks for charge; protection says no.",
    requirements="PROTECT.cell-trips PROTECT.release-held PROTECT.releases",
    negative="PROTECT.release-held",
    features="cell_protection soc",
    settings=hut(return_soc=0.9),
    catches=("a low count leads back to bulk from every stage",),
)
def count_has_no_say_while_blocked(b: Passages) -> None:
    """The count is far under return_soc; blocked by a cell, it stays so until the release."""
    b.need(b.settings.return_soc is not None, "return_soc is none")
    b.soc = 0.3
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(20)
    b.release(cell_max_v=b.calm_cell_v)
    b.charge()
