"""Samples that cannot be believed. The group is `time`."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("time")


@BOOK.recipe(
    "invalid-in-the-entry-dwell",
    title="Invalid samples do not break the entry dwell",
    why="Skipped means skipped: neither for nor against.",
    requirements="TIME.invalid-skipped ENTRY.not-late ENTRY.held-long-enough",
    negative="TIME.invalid-skipped",
    settings=hut(entry_dwell_s=10),
    catches=("takes a missing voltage for 0 V", "starts the dwell again"),
)
def invalid_in_the_entry_dwell(b: Passages) -> None:
    """In the dwell the voltage, then the current is missing, then the voltage is absurd."""
    s = b.settings
    dwell_s = b.need_more("entry_dwell_s", 0)
    b.need(dwell_s < 2 * s.max_gap_s, "entry_dwell_s must be shorter than two max_gap_s")
    from_s = b.charge()
    b.run(0.3 * dwell_s, v=b.held_v)
    b.run(0.1 * dwell_s, v=None)
    b.run(0.1 * dwell_s, v=b.held_v, i=None)
    b.run(0.1 * dwell_s, v=s.plausible_v[0] - 1, i=b.small_a)
    b.enter(since_s=from_s)
    b.hold(0.1)


@BOOK.recipe(
    "absurd-voltage-starts-nothing",
    title="A voltage outside the plausible range starts nothing",
    why="A broken wire reads as full scale: that is no voltage to hold.",
    requirements="TIME.invalid-skipped",
    negative="ENTRY.held-long-enough TIME.invalid-skipped",
    settings=hut(),
    catches=("does not look at plausible_v", "takes an absurd reading for a high one"),
)
def absurd_voltage_starts_nothing(b: Passages) -> None:
    """In bulk, most samples read more than plausible_v allows, some are plain: bulk throughout."""
    absurd_v = b.settings.plausible_v[1] + 5
    for _ in range(4):
        b.charge(2)
        b.run(min(10.0, 0.6 * b.settings.max_gap_s), v=absurd_v)
    b.charge(2)


@BOOK.recipe(
    "invalid-is-no-sag",
    title="An invalid sample is no sag",
    why="A reading that cannot be believed must not restart a hold.",
    requirements="TIME.invalid-skipped HOLD.ends",
    negative="HOLD.sag-restarts TIME.invalid-skipped",
    features="sag_restart",
    settings=hut(on_sag="restart"),
    catches=("takes a missing voltage for 0 V", "takes an absurd voltage for a sag"),
)
def invalid_is_no_sag(b: Passages) -> None:
    """Under on_sag = restart the voltage is missing, then absurdly low: the hold ends on schedule."""
    s = b.settings
    b.need_setting("on_sag", "restart")
    part_s = min(5.0, 0.05 * s.hold_s, 0.2 * s.max_gap_s)
    b.reach_absorption()
    b.hold(0.5)
    b.run(part_s, v=None)
    b.run(part_s, v=s.plausible_v[0] - 1)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "invalid-when-the-hold-ends",
    title="A hold that ends on an invalid sample ends at the next valid one",
    why="No timer moves a stage while nothing can be read.",
    requirements="TIME.invalid-skipped HOLD.ends FULL.granted",
    negative="HOLD.ends",
    settings=pier(),
    catches=("ends the hold on the invalid sample", "forgets that the hold has run out"),
)
def invalid_when_the_hold_ends(b: Passages) -> None:
    """The first sample after hold_s is invalid: absorption still; the next one ends it."""
    b.reach_absorption()
    interval_s = min(1.0, b.settings.hold_s / 20)
    b.expire_with(v=None)
    b.expired_s = b.after(interval_s / 2, v=b.held_v)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "optional-readings-of-invalid-samples",
    title="The cell voltage of an invalid sample trips nothing",
    why="What comes with an unbelievable reading is not believed either.",
    requirements="TIME.invalid-skipped",
    negative="PROTECT.cell-trips",
    features="cell_protection",
    settings=hut(),
    catches=("looks at the cells of invalid samples",),
)
def optional_readings_of_invalid_samples(b: Passages) -> None:
    """Invalid samples with a cell over its limit for much longer than the trip dwell: no trip."""
    s = b.settings
    b.need(s.trip_dwell_s < 0.4 * s.max_gap_s, "trip_dwell_s must be shorter than max_gap_s")
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.run(0.7 * s.max_gap_s, v=None, cell_max_v=b.cell(0.05))
    b.set(cell_max_v=b.calm_cell_v)
    b.charge(10)


@BOOK.recipe(
    "count-across-invalid-samples",
    title="The count runs from one valid sample to the next",
    why="Intervals run between consecutive valid samples: an invalid one in between costs nothing.",
    requirements="TIME.invalid-skipped SOC.counts",
    negative="TIME.invalid-skipped",
    features="soc",
    settings=pier(),
    catches=("counts nothing around an invalid sample", "counts a missing current as 0 A"),
)
def count_across_invalid_samples(b: Passages) -> None:
    """A constant current with stretches in which it is missing: counted as if it had been there."""
    s = b.settings
    b.need(s.soc_ceiling > 0.4, "soc_ceiling must be more than 0.4")
    b.soc = 0.3
    i = b.need_current(0.2 * s.capacity_ah)
    part_s = min(10.0, 0.5 * s.max_gap_s)
    b.set(v=b.charging_v)
    for _ in range(5):
        b.run(part_s, i=i)
        b.run(part_s, i=None)
    b.run(part_s, i=i)
    b.begin_now()
    b.expect_soc(0.3 + 11 * part_s * i * s.charge_efficiency / (3600 * s.capacity_ah))


@BOOK.recipe(
    "exactly-plausible",
    title="Readings equal to the plausible bounds are valid",
    why="Both bounds are inside the range.",
    requirements="ENTRY.not-late HOLD.ends FULL.granted",
    negative="TIME.invalid-skipped",
    settings=hut(),
    catches=("compares with < instead of <=",),
    tags="boundary",
)
def exactly_plausible(b: Passages) -> None:
    """One cycle with the voltage at the upper bound and the current at the lower one, to the last bit."""
    s = b.settings
    b.need_setting("taper_a", None)
    b.soc = 1.0
    b.need(s.return_soc is None, "return_soc must be none")
    b.charge()
    b.set(i=s.plausible_i[0])
    b.enter(s.plausible_v[1])
    b.expire(v=s.plausible_v[1])
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "stamp-is-missing",
    title="A sample without a time stamp is invalid and does nothing",
    why="A reading that nobody can place in time is worth nothing.",
    requirements="TIME.invalid-skipped HOLD.ends",
    negative="TIME.invalid-skipped PROTECT.no-reading",
    settings=hut(),
    catches=("takes a missing stamp for 0 s", "blocks charging"),
)
def stamp_is_missing(b: Passages) -> None:
    """Samples without a stamp in bulk and in the hold: everything ends on schedule."""
    b.charge()
    b.begin_now()
    b.at(None)
    b.charge()
    b.enter()
    b.hold(0.5)
    b.begin_now()
    for _ in range(3):
        b.at(None, v=b.low_v)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "absurd-current-is-not-counted",
    title="A current outside the plausible range is not counted",
    why="One glitch of the current meter can be worth more than a day of charging.",
    requirements="TIME.invalid-skipped SOC.counts",
    negative="TIME.invalid-skipped SOC.no-jump",
    features="soc",
    settings=hut(),
    catches=("does not look at plausible_i",),
)
def absurd_current_is_not_counted(b: Passages) -> None:
    """A constant current with readings far above plausible_i in between: counted as if not there."""
    s = b.settings
    b.need(s.soc_ceiling > 0.4, "soc_ceiling must be more than 0.4")
    b.soc = 0.3
    i = b.need_current(0.2 * s.capacity_ah)
    part_s = min(5.0, 0.3 * s.max_gap_s)
    b.set(v=b.charging_v)
    for _ in range(5):
        b.run(part_s, i=i)
        b.run(part_s, i=10 * s.plausible_i[1])
    b.run(part_s, i=i)
    b.begin_now()
    b.expect_soc(0.3 + 11 * part_s * i * s.charge_efficiency / (3600 * s.capacity_ah))


@BOOK.recipe(
    "invalid-after-the-reset",
    title="An invalid sample after a full reset does not repeat it",
    why="The outputs stay as they were, the full reset excepted: it is the news of one sample.",
    requirements="FULL.granted TIME.invalid-skipped",
    negative="TIME.invalid-skipped FULL.at-hold-end",
    features="full_reset",
    settings=hut(),
    catches=("repeats all outputs of the sample before",),
    tags="boundary",
)
def invalid_after_the_reset(b: Passages) -> None:
    """A full reset, on the very next sample no voltage, then float."""
    at_s = b.reach_float()
    b.at(at_s + 0.2, v=None)
    b.at(at_s + 0.4, v=b.held_v)
    b.stay_in_float()


@BOOK.recipe(
    "invalid-in-the-trip-dwell",
    title="Invalid samples do not break a trip dwell",
    why="A meter that stutters while a cell is at its limit must not put protection off.",
    requirements="TIME.invalid-skipped PROTECT.cell-trips",
    negative="TIME.invalid-skipped",
    features="cell_protection",
    settings=hut(trip_dwell_s=10),
    catches=("starts the trip dwell again", "takes the cell of an invalid sample for absent"),
)
def invalid_in_the_trip_dwell(b: Passages) -> None:
    """A cell over its limit with single invalid samples in between: blocked after the dwell."""
    s = b.settings
    dwell_s = b.need_more("trip_dwell_s", 0)
    b.need(dwell_s < 2 * s.max_gap_s, "trip_dwell_s must be shorter than two max_gap_s")
    b.set(cell_max_v=b.calm_cell_v)
    from_s = b.charge()
    charging_v = b.charging_v
    b.run(0.6 * dwell_s, cell_max_v=b.cell(0.05))
    b.run(0.2 * dwell_s, v=None)
    b.set(v=charging_v)
    b.until(dwell_s, since_s=from_s)
    b.expect("inhibited")
    b.run(5)
