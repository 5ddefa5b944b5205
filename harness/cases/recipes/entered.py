"""What counts at the very sample on which bulk is entered. The group is `entry`."""

from harness.cases.packs import hut
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("entry")


def _denied(b: Passages, v: float) -> float:
    """Denied by its current at a voltage, into bulk; returns the stamp, s."""
    taper_a = b.need_more("taper_a", 0, "A")
    b.need_more("confirm_s", 2)
    b.need_setting("on_unconfirmed", "bulk")
    b.need(
        5 < b.settings.entry_dwell_s < 1.6 * b.settings.max_gap_s, "entry_dwell_s must fit a gap"
    )
    b.reach_absorption()
    b.hold(0.95)
    b.until(b.settings.hold_s, since_s=b.hold_from_s)
    at_s = b.clock_s
    b.at(at_s + 1.0, v=v, i=b.need_current(3 * taper_a + 1))
    return at_s


def _go_on(b: Passages, from_s: float, due_s: float, v: float) -> None:
    """A long interval up to `from_s`, short ones from there until the hold is due, and on."""
    b.at(from_s, v=v, i=b.small_a)
    for k in range(1, round(due_s - from_s)):
        b.at(from_s + k)
    b.at(due_s)
    b.expect("absorption")
    for k in range(1, 6):
        b.at(due_s + k)


_SETTINGS = hut(taper_a=14, on_unconfirmed="bulk", entry_dwell_s=20, confirm_s=5)


@BOOK.recipe(
    "first-sample-counts-over-a-long-interval",
    title="The sample on which bulk is entered counts for the dwell",
    why="With readings far apart the first one is half of the dwell.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    features="taper confirm",
    settings=_SETTINGS,
    catches=("begins the dwell with the second sample", "compares with > where bulk is entered"),
    tags="boundary",
)
def first_sample_counts_over_a_long_interval(b: Passages) -> None:
    """Denied into bulk at exactly entry_v, the next reading half a dwell later: the hold starts in time."""
    entry_v = b.settings.entry_v
    at_s = _denied(b, entry_v) + 1.0
    b.expect("bulk")
    _go_on(b, at_s + 0.5 * b.settings.entry_dwell_s, at_s + b.settings.entry_dwell_s, entry_v)


@BOOK.recipe(
    "first-sample-under-the-voltage-does-not-count",
    title="A first sample under the entry voltage does not count for the dwell",
    why="The dwell begins with the voltage, not with the stage.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    negative="ENTRY.held-long-enough",
    features="taper confirm",
    settings=_SETTINGS,
    catches=("begins the dwell with the stage",),
    tags="boundary",
)
def first_sample_under_the_voltage_does_not_count(b: Passages) -> None:
    """Denied into bulk under entry_v, the next reading half a dwell later above it: a dwell from there."""
    s = b.settings
    at_s = _denied(b, b.charging_v) + 1.0
    b.expect("bulk")
    next_s = at_s + 0.5 * s.entry_dwell_s
    _go_on(b, next_s, next_s + s.entry_dwell_s, b.held_v)


@BOOK.recipe(
    "waits-its-own-dwell",
    title="The longest wait after a hold has no say in bulk",
    why="Two timers with one name in the firmware end each other.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    negative="ENTRY.held-long-enough",
    features="wait",
    settings=hut(entry_dwell_s=30, wait_limit_s=8, on_unconfirmed="wait"),
    catches=("one timer for the wait and the dwell",),
)
def waits_its_own_dwell(b: Passages) -> None:
    """The entry dwell is longer than the longest wait: the hold starts when the dwell is over."""
    b.need_more("entry_dwell_s", 2 * b.settings.wait_limit_s)
    b.reach_absorption()
    b.hold(0.1)
