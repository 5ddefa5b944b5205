"""What is made of temperature readings that freeze or jump. The group is `sensor`."""

from harness.cases.packs import sensed
from harness.cases.passages import Passages
from harness.cases.recipe import Book
from harness.cases.recipes.sensor import (
    COLD_C,
    HOT_C,
    MILD_C,
    OVERCHARGE,
    enters_at,
    need_cold,
    plain_but_not_cold,
)

BOOK = Book("sensor")


@BOOK.recipe(
    "frozen-in-the-cold",
    title="Frozen for long, a cold reading raises nothing any more",
    why="A converter that has died repeats its last value; the battery warms up meanwhile.",
    requirements="COMPENSATE.frozen ENTRY.not-late",
    negative="ENTRY.held-long-enough COMPENSATE.frozen",
    features="requests compensation sensor_checks",
    settings=sensed(sensor_frozen_s=80),
    catches=("believes a frozen sensor", "has no time for frozen"),
)
def frozen_in_the_cold(b: Passages) -> None:
    """10 degrees C to the last bit: raised for sensor_frozen_s, then the plain voltages."""
    frozen_s = b.need_more("sensor_frozen_s", 0)
    need_cold(b)
    b.set(temp_c=COLD_C)
    level_v = plain_but_not_cold(b)
    first_s = b.clock_s
    b.charge(10)
    b.run(0.5 * frozen_s, v=level_v)
    b.lost(frozen_s, first_s)
    enters_at(b, level_v)


@BOOK.recipe(
    "frozen-and-thawed",
    title="A frozen reading that changes is believed again",
    why="A battery in a cellar is steady for hours, and its sensor is sound.",
    requirements="COMPENSATE.found-again COMPENSATE.frozen ENTRY.not-late",
    negative="COMPENSATE.missing",
    features="requests compensation sensor_checks",
    settings=sensed(sensor_frozen_s=80),
    catches=("never believes it again",),
)
def frozen_and_thawed(b: Passages) -> None:
    """Frozen until it is lost, then half a degree more: the voltages of that temperature."""
    frozen_s = b.need_more("sensor_frozen_s", 0)
    need_cold(b)
    plain_v = b.charging_v
    b.set(temp_c=COLD_C)
    first_s = b.clock_s
    b.run(0.5 * frozen_s, v=plain_v)
    b.lost(frozen_s, first_s)
    b.charge(20)
    b.set(temp_c=COLD_C + 0.6)
    b.charge(5)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "moves-a-little",
    title="A reading that moves a little is not frozen",
    why="A tenth of a degree is what a sound sensor does.",
    requirements="ENTRY.not-late",
    negative="COMPENSATE.frozen",
    features="requests compensation sensor_checks",
    settings=sensed(sensor_frozen_s=80),
    catches=("compares with the temperature at power-up", "counts frozen time over changes"),
)
def moves_a_little(b: Passages) -> None:
    """A tenth of a degree every half of sensor_frozen_s, for three times as long: still cold."""
    frozen_s = b.need_more("sensor_frozen_s", 0)
    need_cold(b)
    for step in range(6):
        b.set(temp_c=round(COLD_C + 0.1 * (step % 2), 3))
        b.charge(0.5 * frozen_s)
    b.set(temp_c=COLD_C + 0.3)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "jumps",
    title="A reading that jumps is not believed",
    why="A battery is heavy: 40 degrees in a second is a wire, not a winter.",
    requirements="ENTRY.not-late",
    negative="COMPENSATE.jump",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=("believes every reading", "compares with the reference temperature"),
)
def jumps(b: Passages) -> None:
    """35 degrees C, then 5 for half of sensor_lost_s: a cycle with the voltages of 35 degrees C."""
    lost_s = b.need_more("sensor_lost_s", 0)
    jump_c = b.need_more("sensor_jump_c", 0, "K")
    need_cold(b)
    b.need(jump_c + 1.0 < HOT_C - 5.0, "sensor_jump_c is too large")
    b.set(temp_c=HOT_C)
    b.charge(10)
    b.set(temp_c=5.0)
    b.felt_c = HOT_C
    b.charge(0.5 * lost_s)
    b.set(temp_c=HOT_C - 1.0)
    b.charge(5)
    b.cycle()
    b.stay_in_float(10)


@BOOK.recipe(
    "at-the-jump-itself",
    title="A reading exactly sensor_jump_c away is believed, and a little further away it is not",
    why="Bounds are included.",
    requirements="ENTRY.not-late COMPENSATE.jump",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=("compares with >= instead of >", "takes half of the jump, or twice as much"),
    tags="boundary",
)
def at_the_jump_itself(b: Passages) -> None:
    """25 degrees C, then one jump less, then a little more than one jump up: the colder voltages."""
    jump_c = b.need_more("sensor_jump_c", 0, "K")
    need_cold(b)
    cold_c = MILD_C - jump_c
    b.need_mild(cold_c)
    b.set(temp_c=MILD_C)
    b.charge(10)
    b.set(temp_c=cold_c)
    b.charge(10)
    b.set(temp_c=round(cold_c + jump_c + 0.2, 3))
    b.felt_c = cold_c
    b.charge(10)
    b.set(temp_c=cold_c)
    b.charge(5)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "jumps-and-stays",
    title="A reading that jumps and stays does not become believed by staying",
    why=OVERCHARGE,
    requirements="ENTRY.not-late",
    negative="COMPENSATE.jump",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=(
        "takes the new temperature once the old one is lost",
        "compares with the last reading",
    ),
)
def jumps_and_stays(b: Passages) -> None:
    """25 degrees C, then 0 for four times sensor_lost_s: the plain voltages throughout."""
    lost_s = b.need_more("sensor_lost_s", 0)
    jump_c = b.need_more("sensor_jump_c", 0, "K")
    need_cold(b)
    b.need(jump_c + 1.0 < MILD_C, "sensor_jump_c is too large")
    b.need(b.settings.reference_c == MILD_C, f"reference_c must be {MILD_C:g}")
    b.need(b.settings.charge_min_c is None, "charge_min_c must be none")
    b.set(temp_c=MILD_C)
    b.charge(10)
    b.set(temp_c=0.0)
    b.felt_c = MILD_C
    b.charge(4.3 * lost_s)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "falls-in-steps",
    title="A reading that falls in steps under the jump is believed all the way",
    why="A cold night is real.",
    requirements="ENTRY.not-late REQUEST.compensated",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=("compares with the temperature at power-up", "believes nothing but the first reading"),
)
def falls_in_steps(b: Passages) -> None:
    """From 35 to 10 degrees C in steps of half the jump: a hold that starts at the cold voltage."""
    jump_c = b.need_more("sensor_jump_c", 0, "K")
    need_cold(b)
    temp_c = HOT_C
    while temp_c > COLD_C + 0.6:
        b.set(temp_c=round(temp_c, 3))
        b.charge(5)
        temp_c -= 0.5 * jump_c
    b.set(temp_c=COLD_C)
    b.charge(5)
    b.run(20, v=plain_but_not_cold(b))
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "frozen-and-a-clock-set-back",
    title="Set back to the very stamp of the last reading, a frozen sensor stays as frozen as it was",
    why=OVERCHARGE,
    requirements="COMPENSATE.frozen ENTRY.not-late",
    negative="COMPENSATE.frozen",
    features="requests compensation sensor_checks",
    settings=sensed(sensor_frozen_s=80),
    catches=("knows a new reading by its stamp",),
    tags="backward boundary",
)
def frozen_and_a_clock_set_back(b: Passages) -> None:
    """Cold; missing for 20 s; the stamp of the last reading again, with the same reading."""
    frozen_s = b.need_more("sensor_frozen_s", 60)
    need_cold(b)
    b.set(temp_c=COLD_C)
    level_v = plain_but_not_cold(b)
    first_s = b.clock_s
    b.run(10, v=level_v)
    last_s = b.after(1.0)
    b.set(temp_c=None)
    missing_s = b.after(20.0)
    b.set(temp_c=COLD_C)
    b.at(last_s)
    b.lost(frozen_s, first_s - (missing_s - last_s))
    enters_at(b, level_v)
