"""What gaps and steps back in time do."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("time")


def _gap(b: Passages, times: float = 2.0) -> None:
    """No sample at all for some times `max_gap_s`; the next segment begins after it."""
    b.begin_now()
    b.skip(times * b.settings.max_gap_s)


@BOOK.recipe(
    "gap-abandons-the-hold",
    title="A gap longer than max_gap_s abandons the hold",
    why="Nobody saw the voltage meanwhile; the proof has a hole.",
    requirements="TIME.gap-abandons-hold HOLD.full-length FULL.granted",
    negative="HOLD.ends",
    settings=hut(),
    catches=("lets the hold timer run over a gap", "resumes the hold after the gap"),
)
def gap_abandons_the_hold(b: Passages) -> None:
    """A gap in the hold: bulk at the sample after it; dwell from that sample, whole hold, reset."""
    b.need_more("entry_dwell_s", 0)
    b.reach_absorption()
    b.hold(0.6)
    _gap(b)
    b.begin_now()
    b.expect("bulk")
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "gap-abandons-the-confirmation",
    title="A gap longer than max_gap_s abandons the confirmation too",
    why="The confirmation is part of the same proof.",
    requirements="TIME.gap-abandons-hold FULL.confirmed HOLD.full-length",
    negative="FULL.granted FULL.at-hold-end",
    features="confirm",
    settings=pier(confirm_s=30),
    catches=("counts a gap as confirmed time", "denies to float instead of going to bulk"),
)
def gap_abandons_the_confirmation(b: Passages) -> None:
    """A gap half-way through the confirmation: bulk, and everything again."""
    confirm_s = b.need_more("confirm_s", 0)
    b.need_more("entry_dwell_s", 0)
    b.reach_absorption()
    b.expire()
    b.run(0.5 * confirm_s)
    _gap(b)
    b.begin_now()
    b.expect("bulk")
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "short-gap-keeps-the-hold",
    title="A gap shorter than max_gap_s changes nothing",
    why="Readings come late now and then; the hold goes on with the time stamps.",
    requirements="HOLD.full-length HOLD.ends",
    negative="TIME.gap-abandons-hold TIME.gap-restarts-dwell",
    settings=hut(entry_dwell_s=40),
    catches=("counts samples instead of seconds", "takes twice the usual interval for a gap"),
)
def short_gap_keeps_the_hold(b: Passages) -> None:
    """Gaps of seven tenths of max_gap_s in the entry dwell and in the hold: both end on schedule."""
    s = b.settings
    b.need(s.entry_dwell_s > s.max_gap_s, "entry_dwell_s must be longer than max_gap_s")
    b.need(s.hold_s > 2 * s.max_gap_s, "hold_s must be longer than two max_gap_s")
    from_s = b.charge()
    b.run(0.1 * s.entry_dwell_s, v=b.held_v)
    _gap(b, 0.7)
    b.enter(since_s=from_s)
    b.hold(0.3)
    _gap(b, 0.7)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "gap-of-exactly-max-gap",
    title="A gap of exactly max_gap_s is still continuous",
    why="At most max_gap_s: the bound is included.",
    requirements="HOLD.ends",
    negative="TIME.gap-abandons-hold",
    settings=hut(),
    catches=("compares with >= instead of >",),
    tags="boundary",
)
def gap_of_exactly_max_gap(b: Passages) -> None:
    """One interval of max_gap_s to the last bit in the hold: it ends on schedule."""
    b.need(b.settings.hold_s > 2 * b.settings.max_gap_s, "hold_s must be longer than two max_gap_s")
    b.reach_absorption()
    b.hold(0.3)
    _gap(b, 1.0)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "gap-restarts-the-entry-dwell",
    title="A gap starts the entry dwell again",
    why="Two readings above the voltage far apart are no voltage that stood.",
    requirements="TIME.gap-restarts-dwell ENTRY.held-long-enough ENTRY.not-late",
    negative="ENTRY.held-long-enough",
    settings=hut(),
    catches=("takes the gap for time at the voltage",),
)
def gap_restarts_the_entry_dwell(b: Passages) -> None:
    """Above entry_v, a gap, above entry_v: the dwell counts from the sample after the gap."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    b.charge()
    b.run(0.5 * dwell_s, v=b.held_v)
    _gap(b)
    b.enter()
    b.hold(0.1)


@BOOK.recipe(
    "gap-restarts-the-return-dwell",
    title="A gap starts the return dwell again; the stage stays",
    why="One low reading before a gap and one after it are no low voltage that stood.",
    requirements="TIME.gap-restarts-dwell RETURN.voltage-held RETURN.low-voltage",
    negative="RETURN.voltage-held",
    features="return_voltage",
    settings=pier(),
    catches=("takes the gap for time under return_v", "leaves float at a gap"),
)
def gap_restarts_the_return_dwell(b: Passages) -> None:
    """In float: low, a gap longer than the dwell, low: bulk one dwell after the gap."""
    dwell_s = b.need_more("return_dwell_s", 0)
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.stay_in_float(0.5 * dwell_s, v=b.low_v)
    _gap(b, max(2.0, 1.5 * dwell_s / b.settings.max_gap_s))
    b.fall_low()


@BOOK.recipe(
    "gap-restarts-the-trip-dwell",
    title="A gap starts the trip dwell again",
    why="Every dwell needs samples that follow each other.",
    requirements="TIME.gap-restarts-dwell PROTECT.cell-held PROTECT.cell-trips",
    negative="PROTECT.cell-held",
    features="cell_protection",
    settings=hut(trip_dwell_s=10),
    catches=("takes the gap for time at the limit",),
)
def gap_restarts_the_trip_dwell(b: Passages) -> None:
    """A cell over its limit, a gap, still over it: blocked one trip dwell after the gap."""
    dwell_s = b.need_more("trip_dwell_s", 0)
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.run(0.5 * dwell_s, cell_max_v=b.cell(0.05))
    _gap(b)
    b.trip()
    b.run(5)


@BOOK.recipe(
    "gap-restarts-the-release-dwell",
    title="A gap starts the release dwell again",
    why="Every dwell needs samples that follow each other.",
    requirements="TIME.gap-restarts-dwell PROTECT.release-held PROTECT.releases",
    negative="PROTECT.release-held",
    features="cell_protection",
    settings=pier(),
    catches=("takes the gap for clear time", "lets go at a gap"),
)
def gap_restarts_the_release_dwell(b: Passages) -> None:
    """Blocked; clear, a gap, clear: let go one release dwell after the gap."""
    dwell_s = b.need_more("release_dwell_s", 0)
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(5)
    b.run(0.5 * dwell_s, cell_max_v=b.calm_cell_v)
    _gap(b)
    b.release()
    b.charge()


@BOOK.recipe(
    "trip-wins-over-gap",
    title="A trip on the sample after a gap wins over the abandoned hold",
    why="Protection comes first: blocked is safe, bulk asks for current.",
    requirements="PROTECT.cell-trips PROTECT.blocks-full",
    negative="TIME.gap-abandons-hold",
    features="cell_protection",
    settings=hut(trip_dwell_s=0),
    catches=("goes to bulk first and blocks one sample late",),
)
def trip_wins_over_gap(b: Passages) -> None:
    """Without a trip dwell, a gap in the hold, and a cell over its limit right after it: blocked."""
    b.need_setting("trip_dwell_s", 0)
    b.set(cell_max_v=b.calm_cell_v)
    b.reach_absorption()
    b.hold(0.4)
    _gap(b)
    b.trip(cell_max_v=b.cell(0.05))
    b.run(5)


@BOOK.recipe(
    "gap-adds-nothing",
    title="A gap adds nothing to the count",
    why="What flowed while nobody looked is not known; a guess would be an error without bound.",
    requirements="TIME.gap-adds-nothing SOC.counts",
    negative="SOC.counts SOC.no-jump",
    features="soc",
    settings=hut(),
    catches=("counts the current over the gap",),
)
def gap_adds_nothing(b: Passages) -> None:
    """Charge, a long gap, charge: only the two stretches count."""
    s = b.settings
    b.need(s.soc_ceiling > 0.4, "soc_ceiling must be more than 0.4")
    b.soc = 0.3
    i = b.need_current(0.2 * s.capacity_ah)
    b.run(100, v=b.charging_v, i=i)
    _gap(b, 10)
    b.run(100)
    b.begin_now()
    b.expect_soc(0.3 + 200 * i * s.charge_efficiency / (3600 * s.capacity_ah))


@BOOK.recipe(
    "short-gap-counts",
    title="A gap shorter than max_gap_s counts like any interval",
    why="Between two readings the current is taken as a straight line, however late the second is.",
    requirements="SOC.counts",
    negative="TIME.gap-adds-nothing",
    features="soc",
    settings=pier(),
    catches=("counts samples instead of seconds", "counts no interval longer than the usual one"),
)
def short_gap_counts(b: Passages) -> None:
    """Charge with intervals of seven tenths of max_gap_s: all of it counts."""
    s = b.settings
    b.need(s.soc_ceiling > 0.4, "soc_ceiling must be more than 0.4")
    b.soc = 0.3
    i = b.need_current(0.2 * s.capacity_ah)
    gap_s = 0.7 * s.max_gap_s
    b.set(v=b.charging_v, i=i)
    b.begin_now()
    for _ in range(10):
        b.after(gap_s)
    b.expect_soc(0.3 + 10 * gap_s * i * s.charge_efficiency / (3600 * s.capacity_ah))


@BOOK.recipe(
    "float-timer-over-a-gap",
    title="The float timer runs on over a gap",
    why="Float proves nothing, so there is nothing to lose: time is time.",
    requirements="TIME.float-timer-runs-on FLOAT.timer-full-length FLOAT.stays",
    features="float_timer",
    settings=hut(float_s=300),
    catches=(
        "starts the float timer again at a gap",
        "halts it over a gap",
        "leaves float at a gap",
    ),
)
def float_timer_over_a_gap(b: Passages) -> None:
    """A gap in the middle of float: the timer ends float_s after float was entered all the same."""
    float_s = b.need_more("float_s", 4 * b.settings.max_gap_s)
    b.reach_float()
    b.run(0.3 * float_s, v=b.charging_v)
    _gap(b)
    b.leave_float(float_s)
    b.charge()


@BOOK.recipe(
    "float-timer-ends-in-a-gap",
    title="A float timer that ends in a gap ends float at the sample after it",
    why="The float rules apply at the sample after a gap as at any other.",
    requirements="TIME.float-timer-runs-on",
    features="float_timer",
    settings=pier(float_s=200),
    catches=("skips the float rules at the sample after a gap",),
)
def float_timer_ends_in_a_gap(b: Passages) -> None:
    """The timer ends within a gap: bulk at the first sample after it."""
    float_s = b.need_more("float_s", 2 * b.settings.max_gap_s)
    b.reach_float()
    b.run(0.5 * float_s, v=b.charging_v)
    _gap(b, max(2.0, 0.8 * float_s / b.settings.max_gap_s))
    b.begin_now()
    b.expect("bulk")
    b.charge()


@BOOK.recipe(
    "float-stays-over-a-gap",
    title="A gap does not end float",
    why="Only a hold is abandoned; a pack in float stays in float.",
    requirements="FLOAT.stays",
    negative="TIME.float-timer-runs-on TIME.gap-abandons-hold",
    settings=hut(),
    catches=("goes to bulk at every gap", "takes float_s of none for zero at a gap"),
)
def float_stays_over_a_gap(b: Passages) -> None:
    """Float without a timer, three gaps of different length: float throughout."""
    b.need_setting("float_s", None)
    b.reach_float()
    for times in (2, 20, 200):
        b.run(20, v=b.charging_v)
        _gap(b, times)
    b.run(20)
