"""How absorption begins: the entry voltage must have stood."""

from harness.cases.packs import common_practice, hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("entry")


@BOOK.recipe(
    "after-dwell",
    title="The hold starts once the entry voltage has stood",
    why="Every later timer counts from this sample: too early or too late and all that follows is off.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    settings=hut(),
    catches=(
        "starts the hold at the first touch of entry_v",
        "counts the dwell in samples instead of seconds",
        "never starts the hold",
    ),
)
def after_dwell(b: Passages) -> None:
    """Charge under the entry voltage, then hold a voltage above it: absorption after entry_dwell_s."""
    b.charge(20)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "after-dwell-8-cells",
    title="The same on a pack of 8 cells with a longer dwell",
    why="Thresholds belong to the settings: a controller built for 16 cells never starts here.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    settings=pier(entry_dwell_s=8),
    catches=("voltages of 16 cells built in", "a dwell of 3 s built in"),
)
def after_dwell_8_cells(b: Passages) -> None:
    """As entry/after-dwell, on the ferry pier's pack."""
    b.need_more("entry_dwell_s", 0)
    b.charge(20)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "too-short",
    title="Short visits above the entry voltage start nothing",
    why="A gust of charging current lifts the voltage for a moment; the pack is far from full.",
    requirements="ENTRY.held-long-enough",
    negative="ENTRY.held-long-enough ENTRY.not-late",
    settings=hut(),
    catches=("starts the hold at the first touch of entry_v", "adds the visits up"),
)
def too_short(b: Passages) -> None:
    """Five visits above the entry voltage, each shorter than entry_dwell_s: bulk throughout."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    for _ in range(5):
        b.charge(3)
        b.run(0.6 * dwell_s, v=b.held_v)
    b.charge(5)


@BOOK.recipe(
    "dip-starts-the-dwell-again",
    title="A dip starts the entry dwell again from zero",
    why="The voltage must stand without interruption, else noise on a low voltage adds up to an entry.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    negative="ENTRY.held-long-enough",
    settings=hut(entry_dwell_s=10),
    catches=("a dwell that pauses instead of starting again", "a dwell counted down by dips"),
)
def dip_starts_the_dwell_again(b: Passages) -> None:
    """Above the entry voltage for part of the dwell, one sample under it, then above it to stay."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    b.charge()
    b.run(0.6 * dwell_s, v=b.held_v)
    b.run(0.1 * dwell_s, v=b.charging_v)
    b.enter()
    b.hold(0.1)


@BOOK.recipe(
    "flicker-10-mv-under",
    title="A voltage that keeps flickering 10 mV under the entry voltage starts nothing",
    why="The most common complaint about a pack that never resets: the charger's setting is a hair low.",
    requirements="ENTRY.held-long-enough",
    negative="ENTRY.held-long-enough ENTRY.not-late",
    settings=common_practice(),
    catches=(
        "averages or filters the voltage before it compares",
        "a hidden hysteresis at entry_v",
    ),
    tags="common-practice",
)
def flicker_10_mv_under(b: Passages) -> None:
    """Up to 10 mV over the entry voltage, and 10 mV under it before the dwell has passed, again and again."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    entry_v = b.shifted("entry_v")
    b.charge()
    for _ in range(20):
        b.run(0.6 * dwell_s, v=entry_v + 0.010)
        b.run(0.3 * dwell_s, v=entry_v - 0.010)
    b.charge()


@BOOK.recipe(
    "exact-voltage",
    title="A voltage equal to the entry voltage is enough",
    why="A charger set to exactly entry_v must not depend on how a comparison was written.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    settings=hut(),
    catches=("compares with > instead of >=",),
    tags="boundary",
)
def exact_voltage(b: Passages) -> None:
    """The voltage stands at entry_v to the last bit."""
    b.charge()
    b.enter(b.settings.entry_v)
    b.hold(0.1)


@BOOK.recipe(
    "one-millivolt-under",
    title="One millivolt under the entry voltage is not enough",
    why="A hidden tolerance at the threshold makes two packs of one bank disagree.",
    requirements="ENTRY.held-long-enough",
    negative="ENTRY.held-long-enough ENTRY.not-late",
    settings=hut(),
    catches=("a hidden tolerance at entry_v", "voltages rounded before they are compared"),
    tags="boundary",
)
def one_millivolt_under(b: Passages) -> None:
    """The voltage stands 1 mV under entry_v for many times the dwell: bulk throughout."""
    b.charge()
    b.run(10 * max(b.settings.entry_dwell_s, 3), v=b.settings.entry_v - 0.001)


@BOOK.recipe(
    "dwell-ends-on-a-sample",
    title="A dwell that ends exactly on a sample ends there",
    why="With readings once a second and a dwell of whole seconds this is the usual case.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    settings=hut(),
    catches=("compares elapsed time with > instead of >=",),
    tags="boundary",
)
def dwell_ends_on_a_sample(b: Passages) -> None:
    """The sample at which entry_dwell_s have passed to the last bit starts the hold."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    b.charge()
    b.run(dwell_s, v=b.held_v)
    b.begin_now()
    b.hold_from_s = b.clock_s
    b.expect("absorption")
    b.hold(0.1)


@BOOK.recipe(
    "no-dwell",
    title="Without a dwell the first sample at the entry voltage starts the hold",
    why="A dwell of 0 means at once, even on the first sample after power-up.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    settings=pier(entry_dwell_s=0),
    catches=("needs two samples for any dwell", "ignores the first sample"),
)
def no_dwell(b: Passages) -> None:
    """The very first sample is above the entry voltage, and absorption begins with it."""
    b.need_setting("entry_dwell_s", 0)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "at-power-up",
    title="The dwell runs from the first sample on",
    why="A pack switched on in the middle of a charge has seen no voltage before: it starts with bulk.",
    requirements="ENTRY.held-long-enough ENTRY.not-late",
    settings=hut(),
    catches=("starts in absorption when the voltage is high", "does not count the first sample"),
)
def at_power_up(b: Passages) -> None:
    """The first sample is already above the entry voltage: bulk, and absorption after the dwell."""
    b.need_more("entry_dwell_s", 0)
    b.set(v=b.held_v)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "not-from-float",
    title="A high voltage in float does not start another hold",
    why="A charger that keeps its voltage up would otherwise cycle the pack through holds for ever.",
    requirements="FLOAT.stays",
    negative="ENTRY.from-bulk-only FLOAT.stays",
    settings=hut(),
    catches=("goes from float straight back to absorption",),
)
def not_from_float(b: Passages) -> None:
    """After a confirmed hold the charger keeps the voltage above entry_v: float throughout."""
    b.reach_float()
    b.stay_in_float(20 * max(b.settings.entry_dwell_s, 3))


@BOOK.recipe(
    "not-from-inhibited",
    title="A high voltage while charging is blocked starts no hold",
    why="The only way out of a blocked charge is bulk; the dwell begins there.",
    requirements="ENTRY.from-bulk-only PROTECT.to-bulk",
    negative="ENTRY.from-bulk-only PROTECT.to-bulk",
    features="cell_protection",
    settings=hut(),
    catches=(
        "goes from inhibited straight to absorption",
        "lets the entry dwell run while charging is blocked",
    ),
)
def not_from_inhibited(b: Passages) -> None:
    """Blocked by a cell, the pack sits above entry_v; released, it waits for the dwell in bulk."""
    b.need_more("entry_dwell_s", 0)
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(10 * b.settings.entry_dwell_s, v=b.held_v)
    b.release(cell_max_v=b.calm_cell_v)
    b.enter()
    b.hold(0.1)


@BOOK.recipe(
    "again-after-float-timer",
    title="After the float timer the cycle starts again at once, with a dwell of its own",
    why="Common practice: the charger still holds the voltage, so the pack is charged and held anew.",
    requirements="ENTRY.held-long-enough ENTRY.not-late ENTRY.from-bulk-only FLOAT.timer-ends",
    features="float_timer",
    settings=common_practice(float_s=60),
    catches=(
        "lets the entry dwell run in float",
        "waits for the voltage to fall before it starts again",
    ),
    tags="common-practice",
)
def again_after_float_timer(b: Passages) -> None:
    """The voltage never leaves its level: float timer, bulk, dwell counted from there, absorption."""
    float_s = b.need_more("float_s", 0)
    b.need_more("entry_dwell_s", 0)
    b.reach_float()
    b.leave_float(float_s)
    b.enter()
    b.hold(0.1)
