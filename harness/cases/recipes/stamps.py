"""Time stamps that step back, repeat or are large. The group is `time`."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("time")


def _step_back(b: Passages, seconds: float) -> None:
    """The next segment begins `seconds` before the last sample."""
    b.begin_now()
    b.skip(-seconds)


@BOOK.recipe(
    "step-back-abandons-the-hold",
    title="A time stamp that steps back abandons the hold",
    why="After a clock was set nobody knows how long the voltage has stood.",
    requirements="TIME.backward-step HOLD.full-length",
    negative="HOLD.ends",
    settings=hut(),
    catches=("lets the hold timer run backwards", "waits for the clock to catch up"),
    tags="backward",
)
def step_back_abandons_the_hold(b: Passages) -> None:
    """The clock is set back in the hold: bulk at that sample; dwell, whole hold, reset."""
    b.need_more("entry_dwell_s", 0)
    b.reach_absorption()
    b.hold(0.6)
    _step_back(b, 1003.7)
    b.begin_now()
    b.expect("bulk")
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "step-back-restarts-the-dwell",
    title="A time stamp that steps back starts the entry dwell again",
    why="A dwell over a stretch of time that never was proves nothing.",
    requirements="TIME.backward-step ENTRY.held-long-enough ENTRY.not-late",
    negative="ENTRY.held-long-enough",
    settings=pier(entry_dwell_s=10),
    catches=("lets the dwell go on", "never enters until the clock has caught up"),
    tags="backward",
)
def step_back_restarts_the_dwell(b: Passages) -> None:
    """Above entry_v, the clock is set back, above entry_v: the dwell counts from the step."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    b.clock_s = 2000.0
    b.charge()
    b.run(0.6 * dwell_s, v=b.held_v)
    _step_back(b, 1003.7)
    b.enter()
    b.hold(0.1)


@BOOK.recipe(
    "step-back-restarts-the-float-timer",
    title="A time stamp that steps back starts the float timer again",
    why="Over a gap the stamps still tell the time; over a step back they do not.",
    requirements="TIME.backward-step FLOAT.timer-full-length FLOAT.timer-ends FLOAT.stays",
    negative="FLOAT.timer-ends",
    features="float_timer",
    settings=hut(float_s=200),
    catches=("counts on from the first entry", "leaves float at the step"),
    tags="backward",
)
def step_back_restarts_the_float_timer(b: Passages) -> None:
    """The clock is set back in the middle of float: float lasts float_s from there."""
    float_s = b.need_more("float_s", 0)
    b.reach_float()
    b.run(0.6 * float_s, v=b.charging_v)
    _step_back(b, 0.2 * float_s + 0.33)
    b.float_from_s = b.clock_s
    b.leave_float(float_s)
    b.charge()


@BOOK.recipe(
    "step-back-adds-nothing",
    title="A time stamp that steps back adds nothing to the count",
    why="A negative interval would take charge away that never flowed.",
    requirements="TIME.backward-step TIME.gap-adds-nothing SOC.counts",
    negative="SOC.no-jump SOC.counts",
    features="soc",
    settings=pier(),
    catches=("counts a negative interval",),
    tags="backward",
)
def step_back_adds_nothing(b: Passages) -> None:
    """Charge, the clock is set back, charge: only the two stretches count."""
    s = b.settings
    b.need(s.soc_ceiling > 0.4, "soc_ceiling must be more than 0.4")
    b.soc = 0.3
    b.clock_s = 3000.0
    i = b.need_current(0.2 * s.capacity_ah)
    b.run(100, v=b.charging_v, i=i)
    _step_back(b, 1500.3)
    b.run(100)
    b.begin_now()
    b.expect_soc(0.3 + 200 * i * s.charge_efficiency / (3600 * s.capacity_ah))


@BOOK.recipe(
    "clock-wraps",
    title="A millisecond clock of 32 bits that starts again at 0 is a step back",
    why="2^32 ms are 49.7 days: every controller that runs for that long meets it.",
    requirements="TIME.backward-step HOLD.full-length",
    negative="TIME.backward-step HOLD.ends",
    settings=hut(),
    catches=("takes the wrap for a very long interval", "never leaves bulk again"),
    tags="backward",
)
def clock_wraps(b: Passages) -> None:
    """The stamp goes from just under 4294967.296 s to just above 0 in the hold: bulk, a new hold."""
    b.need_more("entry_dwell_s", 0)
    wrap_s = 2**32 / 1000
    s = b.settings
    # The bulk of 5 s, the dwell and part of the hold end just before the wrap.
    b.clock_s = round(wrap_s - 6.0 - s.entry_dwell_s - 0.4 * s.hold_s)
    b.reach_absorption()
    b.hold(0.4)
    b.begin_now()
    b.skip(-wrap_s + 1.0)
    b.begin_now()
    b.expect("bulk")
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "same-stamp-twice",
    title="Two samples with the same time stamp follow each other",
    why="Two readings within one tick of the clock are no step back.",
    requirements="HOLD.ends HOLD.full-length ENTRY.not-late",
    negative="TIME.backward-step",
    settings=hut(),
    catches=("takes an interval of zero for a step back", "divides by the interval"),
    tags="boundary",
)
def same_stamp_twice(b: Passages) -> None:
    """Repeated stamps in the entry dwell, the hold and float: everything ends on schedule."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    from_s = b.charge()
    b.run(0.5 * dwell_s, v=b.held_v)
    b.begin_now()
    b.after(0.0)
    b.enter(since_s=from_s)
    b.hold(0.5)
    b.begin_now()
    b.after(0.0)
    b.expire()
    b.confirm()
    b.stay_in_float(3)
    b.after(0.0)


@BOOK.recipe(
    "seconds-since-1970",
    title="Large time stamps change nothing",
    why="Stamps in seconds since 1970 need more digits than a float of 32 bits has.",
    requirements="HOLD.full-length HOLD.ends ENTRY.held-long-enough",
    negative="TIME.gap-abandons-hold",
    settings=pier(),
    catches=("keeps time in single precision", "takes the first stamp for a gap"),
)
def seconds_since_1970(b: Passages) -> None:
    """One cycle that begins 1,700,000,000 s after 0."""
    b.clock_s = 1_700_000_000.0
    b.reach_float()
    b.stay_in_float()
