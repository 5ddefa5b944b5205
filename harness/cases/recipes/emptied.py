"""An empty pack is set to 0 once, whatever happens meanwhile. The group is `soc`."""

from harness.cases.packs import hut
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("soc")


def _set_to_zero(b: Passages) -> float:
    """Charge under empty_v until the count is set to 0; returns the dwell, s."""
    s = b.settings
    dwell_s = b.need_more("empty_dwell_s", 1)
    i = b.need_current(0.05 * s.capacity_ah)
    b.set(i=i, cell_max_v=b.calm_cell_v)
    b.soc = 0.3
    b.charge()
    b.until(dwell_s, v=b.empty_v)
    b.expect_empty()
    b.run(0.5 * dwell_s)
    return dwell_s


@BOOK.recipe(
    "empty-once-over-bad-readings",
    title="Set to 0 once: a bad reading does not set it to 0 again",
    why="A pack charged back from the bottom keeps what it was given.",
    requirements="SOC.empty SOC.counts",
    negative="SOC.empty SOC.no-jump",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("forgets that it was empty at an invalid reading",),
)
def empty_once_over_bad_readings(b: Passages) -> None:
    """Empty, charged under empty_v, an invalid sample, charged on for two dwells: counted on."""
    dwell_s = _set_to_zero(b)
    low_v = b.empty_v
    b.run(2, v=None)
    b.run(2.5 * dwell_s, v=low_v)
    b.charge()


@BOOK.recipe(
    "empty-once-over-a-gap",
    title="Set to 0 once: a gap does not set it to 0 again",
    why="A pack charged back from the bottom keeps what it was given.",
    requirements="SOC.empty SOC.counts",
    negative="SOC.empty SOC.no-jump",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("forgets that it was empty at a gap",),
)
def empty_once_over_a_gap(b: Passages) -> None:
    """Empty, charged under empty_v, a gap, charged on for two dwells: counted on."""
    dwell_s = _set_to_zero(b)
    b.skip(2 * b.settings.max_gap_s)
    b.run(2.5 * dwell_s)
    b.charge()


@BOOK.recipe(
    "empty-once-over-a-step-back",
    title="Set to 0 once: a stamp that steps back does not set it to 0 again",
    why="A clock that is set must not cost a pack its count.",
    requirements="SOC.empty SOC.counts TIME.backward-step",
    negative="SOC.empty SOC.no-jump",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("forgets that it was empty when the clock is set",),
    tags="backward",
)
def empty_once_over_a_step_back(b: Passages) -> None:
    """Empty, charged under empty_v, a step back, charged on for two dwells: counted on."""
    dwell_s = _set_to_zero(b)
    b.skip(-3.0)
    b.run(2.5 * dwell_s)
    b.charge()


@BOOK.recipe(
    "empty-once-over-a-trip",
    title="Set to 0 once: a trip and a release do not set it to 0 again",
    why="A stage that changes has nothing to do with the count.",
    requirements="SOC.empty SOC.counts PROTECT.cell-trips PROTECT.releases",
    negative="SOC.empty SOC.no-jump",
    features="soc empty_reset cell_protection",
    settings=hut(empty_v=44.8),
    catches=("forgets that it was empty when the stage changes",),
)
def empty_once_over_a_trip(b: Passages) -> None:
    """Empty, charged under empty_v, tripped and let go by a cell, charged on: counted on."""
    dwell_s = _set_to_zero(b)
    b.trip(cell_max_v=b.cell(0.05))
    b.run(5)
    b.release(cell_max_v=b.calm_cell_v)
    b.run(2.5 * dwell_s)
    b.charge()


@BOOK.recipe(
    "empty-dwell-over-a-bad-reading",
    title="The empty dwell goes on over a bad reading and over a release",
    why="The bottom is the bottom, whatever one sample or another rule says.",
    requirements="SOC.empty TIME.invalid-skipped",
    negative="TIME.invalid-skipped",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("an invalid reading starts the empty dwell again",),
)
def empty_dwell_over_a_bad_reading(b: Passages) -> None:
    """Four tenths of the dwell under empty_v, invalid samples, and set to 0 when it is over."""
    dwell_s = b.need_more("empty_dwell_s", 1)
    b.soc = 0.3
    b.set(i=-b.small_a)
    from_s = b.charge()
    low_v = b.empty_v
    b.run(0.4 * dwell_s, v=low_v)
    b.run(0.2 * dwell_s, v=None)
    b.set(v=low_v)
    b.until(dwell_s, since_s=from_s)
    b.expect_empty()
    b.run(5)


@BOOK.recipe(
    "empty-dwell-over-a-release",
    title="The empty dwell goes on over a release",
    why="To be let go by one rule is no reason for another to begin anew.",
    requirements="SOC.empty PROTECT.releases",
    features="soc empty_reset cell_protection",
    settings=hut(empty_v=44.8),
    catches=("forgets the empty dwell when protection lets go",),
)
def empty_dwell_over_a_release(b: Passages) -> None:
    """Blocked by a cell; six tenths of the release dwell clear, then also under empty_v: both end in time."""
    s = b.settings
    dwell_s = b.need_more("empty_dwell_s", 0.5 * s.release_dwell_s)
    b.soc = 0.3
    b.set(i=-b.small_a, cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    clear_s = b.run(5)
    b.run(0.6 * s.release_dwell_s, cell_max_v=b.calm_cell_v)
    low_s = b.clock_s
    b.set(v=b.empty_v)
    b.until(s.release_dwell_s, since_s=clear_s)
    b.expect("bulk")
    b.until(dwell_s, since_s=low_s)
    b.expect_empty()
    b.run(5)


@BOOK.recipe(
    "five-millivolts-over-empty",
    title="A little above empty_v is not empty",
    why="A hidden margin at the bottom throws away what is left of a pack.",
    requirements="SOC.no-jump SOC.counts",
    negative="SOC.no-jump",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("a hidden margin above empty_v",),
    tags="boundary",
)
def five_millivolts_over_empty(b: Passages) -> None:
    """3 mV above empty_v for many times the dwell: counted, not set to 0."""
    empty_v = b.settings.empty_v
    b.need(empty_v is not None, "empty_v is none")
    assert empty_v is not None
    b.soc = 0.3
    b.set(i=-b.small_a)
    b.charge()
    b.run(4 * b.settings.empty_dwell_s + 5, v=round(empty_v + 0.003, 6))


@BOOK.recipe(
    "no-empty-rule-at-no-voltage",
    title="Without an empty rule not even 0 V is empty",
    why="None means off, and 0 is a voltage like any other.",
    requirements="SOC.no-jump SOC.counts",
    negative="SOC.no-jump",
    features="soc",
    settings=hut(plausible_v=(-1.0, 64.0)),
    catches=("takes an empty_v that is off for 0 V",),
)
def no_empty_rule_at_no_voltage(b: Passages) -> None:
    """0 V, believable by these settings, for a long time: counted, not set to 0."""
    b.need_setting("empty_v", None)
    b.need(b.settings.plausible_v[0] < -0.1, "plausible_v must begin under 0 V")
    b.soc = 0.3
    b.set(i=-b.small_a)
    b.charge()
    b.run(3 * b.settings.empty_dwell_s + 10, v=0.0)


@BOOK.recipe(
    "starts-at-zero",
    title="A pack may start with a count of exactly 0",
    why="A pack that was empty when the power went starts empty.",
    requirements="SOC.starts SOC.counts",
    features="soc",
    settings=hut(),
    catches=("refuses a starting count of 0", "takes 0 for not given"),
    tags="boundary",
)
def starts_at_zero(b: Passages) -> None:
    """The starting count is 0, and charge is counted from there."""
    b.need_setting("return_soc", None)
    b.soc = 0.0
    b.charge(30)


@BOOK.recipe(
    "current-through-zero",
    title="Of a current that crosses zero only the charging part is counted less",
    why="A load that comes and goes with the sun turns the current around many times a day.",
    requirements="SOC.efficiency SOC.counts",
    negative="SOC.efficiency",
    features="soc",
    settings=hut(charge_efficiency=0.4, capacity_ah=10),
    catches=("takes the efficiency off the discharge too", "or off the whole interval"),
)
def current_through_zero(b: Passages) -> None:
    """From a large charge to a small discharge and back, and the other way round, every second."""
    s = b.settings
    b.need(s.charge_efficiency < 0.5, "charge_efficiency must be less than 0.5")
    b.need_setting("return_soc", None)
    large_a = b.need_current(s.capacity_ah)
    b.charge()
    b.begin_now()
    from_s = b.clock_s
    for k in range(1, 17):
        forward = k <= 8
        b.at(from_s + k, i=large_a if k % 2 == forward else -0.8 if forward else 0.8)
        if not forward and k % 2:
            b.at(from_s + k + 0.5, i=-large_a)
