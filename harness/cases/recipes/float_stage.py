"""How long float lasts. The vectors belong to the group `float`."""

from harness.cases.builder import SETTLING_SAMPLES
from harness.cases.packs import common_practice, hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("float")


@BOOK.recipe(
    "stays",
    title="Without a timer float lasts",
    why="A full pack is left alone until it is used or its voltage falls.",
    requirements="FLOAT.stays REQUEST.voltage EQUALISE.allowed",
    negative="FLOAT.timer-ends FLOAT.stays",
    settings=hut(),
    catches=("a float timer although float_s is none", "goes back to bulk under float_v"),
)
def stays(b: Passages) -> None:
    """Ten minutes in float at a voltage between return_v and float_v: float throughout."""
    b.need_setting("float_s", None)
    b.reach_float()
    b.stay_in_float(600, v=b.between("return_v", "float_v"))


@BOOK.recipe(
    "load-does-not-end-it",
    title="A load does not end float while voltage and count stay up",
    why="Float carries the loads of the house; only return_v and return_soc say when it has had enough.",
    requirements="FLOAT.stays",
    negative="FLOAT.stays RETURN.low-voltage",
    settings=pier(),
    catches=("goes back to bulk as soon as the pack discharges",),
)
def load_does_not_end_it(b: Passages) -> None:
    """Two minutes of discharge in float, above return_v: float throughout."""
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.stay_in_float(120, i=-b.small_a)


@BOOK.recipe(
    "timer-ends",
    title="The float timer ends float float_s after it was entered",
    why="A pack that idles in float is charged and proved again from time to time.",
    requirements="FLOAT.timer-full-length FLOAT.timer-ends FLOAT.stays RETURN.to-bulk",
    features="float_timer",
    settings=hut(float_s=300),
    catches=("a float timer that never ends", "a float timer that runs from the start of the hold"),
)
def timer_ends(b: Passages) -> None:
    """Float at rest for float_s, then bulk."""
    float_s = b.need_more("float_s", 0)
    b.reach_float()
    b.leave_float(float_s, v=b.charging_v)
    b.charge()


@BOOK.recipe(
    "timer-ends-after-denial",
    title="The float timer runs after a denial too",
    why="Float is float, however it was entered.",
    requirements="FLOAT.timer-full-length FLOAT.timer-ends FULL.denied",
    features="float_timer",
    settings=pier(float_s=200),
    catches=("starts the float timer only with a full reset",),
)
def timer_ends_after_denial(b: Passages) -> None:
    """Denied into float, and float_s later bulk."""
    float_s = b.need_more("float_s", 0)
    b.reach_absorption()
    b.deny(v=b.charging_v)
    b.leave_float(float_s)
    b.charge()


@BOOK.recipe(
    "timer-ends-on-a-sample",
    title="A float timer that ends exactly on a sample ends there",
    why="With readings once a second and a timer of whole seconds this is the usual case.",
    requirements="FLOAT.timer-full-length FLOAT.timer-ends",
    features="float_timer",
    settings=hut(float_s=100),
    catches=("compares elapsed time with > instead of >=",),
    tags="boundary",
)
def timer_ends_on_a_sample(b: Passages) -> None:
    """The sample at which float_s have passed to the last bit leads to bulk."""
    float_s = b.need_more("float_s", 0)
    b.reach_float()
    b.set(v=b.charging_v)
    b.run(b.float_from_s + float_s - b.clock_s)
    b.begin_now()
    b.expect("bulk")
    for _ in range(4):
        b.after(min(1.0, 0.01 * float_s))


@BOOK.recipe(
    "timer-starts-anew",
    title="Each visit to float has a timer of its own",
    why="A timer that keeps what an earlier visit had counted ends the next one too early.",
    requirements="FLOAT.timer-ends RETURN.low-voltage",
    negative="FLOAT.timer-full-length FLOAT.timer-ends",
    features="float_timer return_voltage",
    settings=hut(float_s=300),
    catches=("a float timer that is not started again", "a float timer that adds the visits up"),
)
def timer_starts_anew(b: Passages) -> None:
    """Float for half of float_s, bulk by low voltage, a hold, float again: now for all of float_s."""
    float_s = b.need_more("float_s", 2.5 * b.settings.return_dwell_s)
    b.reach_float()
    b.stay_in_float(0.5 * float_s, v=b.charging_v)
    b.fall_low()
    b.charge()
    b.cycle()
    b.leave_float(float_s, v=b.charging_v)
    b.charge()


@BOOK.recipe(
    "cycles-with-the-voltage-held",
    title="With the voltage held, holds and floats follow each other",
    why="Common practice: a charger that never lets go makes the pack prove itself again and again.",
    requirements="FLOAT.timer-full-length FLOAT.timer-ends HOLD.full-length RETURN.to-bulk",
    negative="RETURN.to-bulk",
    features="float_timer",
    settings=common_practice(hold_s=60, float_s=90),
    catches=("goes from float straight to absorption", "timers that drift from cycle to cycle"),
    tags="common-practice",
)
def cycles_with_the_voltage_held(b: Passages) -> None:
    """Three cycles at a constant voltage, each with dwell, hold and float timer of full length."""
    float_s = b.need_more("float_s", 0)
    b.need_more("entry_dwell_s", SETTLING_SAMPLES * b.longest_interval_s)
    b.charge()
    for _ in range(3):
        b.cycle()
        b.leave_float(float_s)
    b.charge()
