"""What is made of a temperature sensor that cannot be believed. The group is `sensor`."""

from harness.cases.packs import sensed
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("sensor")
COLD_C, HOT_C, MILD_C = 10.0, 35.0, 25.0
OVERCHARGE = "A pack that is warm and passes for a cold one is charged too high."


def need_cold(b: Passages) -> None:
    """Go on only if the voltages rise in the cold."""
    b.need(b.settings.compensation_v_per_c < 0, "compensation_v_per_c must be negative")
    b.need_mild(COLD_C)
    b.need_mild(HOT_C)


def plain_but_not_cold(b: Passages) -> float:
    """A voltage above the plain thresholds of the hold, and under those at `COLD_C`, V."""
    felt_c, b.felt_c = b.felt_c, COLD_C
    cold_v = min(b.shifted(name) for name in ("full_v", "entry_v", "sag_v"))
    b.felt_c = felt_c
    plain_v = b.settings.entry_v
    b.need(cold_v - plain_v > 0.05, "the shift is too small")
    return round((plain_v + cold_v) / 2, 6)


def enters_at(b: Passages, v: float) -> None:
    """A hold starts at a voltage that started none as long as the sensor was believed."""
    b.enter(v)
    b.run(0.2 * b.settings.hold_s)


@BOOK.recipe(
    "colder-than-its-bound",
    title="Colder than compensation_min_c, nothing rises further",
    why="A frozen sensor wire must not ask for a voltage that no battery wants.",
    requirements="COMPENSATE.bounded ENTRY.not-late",
    negative="COMPENSATE.bounded",
    features="requests compensation compensation_limits",
    settings=sensed(sensor_jump_c=None, charge_min_c=-30),
    catches=("has no lower bound", "stops compensating beyond the bound"),
)
def colder_than_its_bound(b: Passages) -> None:
    """15 degrees under the bound: a cycle with the voltages of the bound."""
    s = b.settings
    b.need(s.compensation_min_c is not None, "compensation_min_c is none")
    assert s.compensation_min_c is not None
    cold_c = s.compensation_min_c - 15.0
    b.need(
        s.charge_min_c is None or s.charge_min_c + s.temp_band_c + 1.0 < cold_c,
        f"charging must be allowed at {cold_c:g} degrees C",
    )
    b.set(temp_c=cold_c)
    b.reach_float()
    b.stay_in_float(20, v=b.charging_v)


@BOOK.recipe(
    "hotter-than-its-bound",
    title="Hotter than compensation_max_c, nothing falls further",
    why="A float voltage that follows a hot sensor down for ever discharges the battery.",
    requirements="COMPENSATE.bounded ENTRY.not-late",
    features="requests compensation compensation_limits",
    settings=sensed(sensor_jump_c=None, charge_max_c=75, equalisation_max_c=70),
    catches=("has no upper bound", "swaps the bounds"),
)
def hotter_than_its_bound(b: Passages) -> None:
    """15 degrees above the bound: a cycle with the voltages of the bound."""
    s = b.settings
    b.need(s.compensation_max_c is not None, "compensation_max_c is none")
    assert s.compensation_max_c is not None
    hot_c = s.compensation_max_c + 15.0
    b.need(
        s.charge_max_c is None or hot_c < s.charge_max_c - s.temp_band_c - 1.0,
        f"charging must be allowed at {hot_c:g} degrees C",
    )
    b.set(temp_c=hot_c)
    b.reach_float()
    b.stay_in_float(20, v=b.charging_v)


@BOOK.recipe(
    "goes-missing-in-the-cold",
    title="Missing for long, a cold sensor raises nothing any more",
    why=OVERCHARGE,
    requirements="COMPENSATE.missing ENTRY.not-late",
    negative="ENTRY.held-long-enough COMPENSATE.missing",
    features="requests compensation sensor_checks",
    settings=sensed(sensor_frozen_s=300),
    catches=("keeps the last temperature for ever", "drops it at the first missing reading"),
)
def goes_missing_in_the_cold(b: Passages) -> None:
    """10 degrees C, then nothing: the voltages stay up for sensor_lost_s, then they are the plain ones."""
    lost_s = b.need_more("sensor_lost_s", 0)
    need_cold(b)
    b.set(temp_c=COLD_C)
    b.charge(10)
    level_v = plain_but_not_cold(b)
    b.run(10, v=level_v)
    last_s = b.after(1.0)
    b.run(0.5 * lost_s, temp_c=None)
    b.lost(lost_s, last_s)
    enters_at(b, level_v)


@BOOK.recipe(
    "goes-missing-in-the-heat",
    title="Missing for long, a hot sensor still lowers",
    why="What was hot when the wire came off is hot still, for all that anybody knows.",
    requirements="ENTRY.not-late",
    negative="COMPENSATE.missing",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=("goes back to the plain voltages in either direction",),
)
def goes_missing_in_the_heat(b: Passages) -> None:
    """35 degrees C, then nothing for twice sensor_lost_s: a cycle with the voltages of 35 degrees C."""
    lost_s = b.need_more("sensor_lost_s", 0)
    need_cold(b)
    b.set(temp_c=HOT_C)
    b.charge(10)
    last_s = b.after(1.0)
    b.run(0.5 * lost_s, temp_c=None)
    b.lost(lost_s, last_s)
    b.run(lost_s)
    b.cycle()
    b.stay_in_float(10)


@BOOK.recipe(
    "found-again",
    title="Back again within the jump, it is believed at once",
    why="Somebody has plugged it in again.",
    requirements="COMPENSATE.found-again COMPENSATE.missing ENTRY.not-late",
    negative="COMPENSATE.found-again",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=("never believes it again", "waits as long again"),
)
def found_again(b: Passages) -> None:
    """Cold, missing until it is lost, 3 degrees warmer then: the voltages of that temperature."""
    lost_s = b.need_more("sensor_lost_s", 0)
    need_cold(b)
    plain_v = b.charging_v
    b.set(temp_c=COLD_C)
    b.charge(10)
    last_s = b.after(1.0, v=plain_v)
    b.run(0.5 * lost_s, temp_c=None)
    b.lost(lost_s, last_s)
    b.charge(20)
    b.set(temp_c=COLD_C + 3.0)
    b.charge(10)
    b.cycle()
    b.stay_in_float(10, v=b.charging_v)


@BOOK.recipe(
    "missing-for-a-moment",
    title="Missing for less than sensor_lost_s, it keeps its shift",
    why="A loose plug must not make the voltages jump in the middle of a charge.",
    requirements="ENTRY.not-late",
    negative="COMPENSATE.missing",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=("adds up the time without a reading",),
)
def missing_for_a_moment(b: Passages) -> None:
    """Three times missing for six tenths of sensor_lost_s: the voltages of 10 degrees C throughout."""
    lost_s = b.need_more("sensor_lost_s", 0)
    need_cold(b)
    b.set(temp_c=COLD_C)
    b.charge(10)
    for _ in range(3):
        b.run(0.6 * lost_s, temp_c=None)
        b.run(5, temp_c=COLD_C)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "nothing-read-yet",
    title="Before the first reading nothing is shifted, and the first is believed",
    why="There is nothing to compare the first reading with.",
    requirements="ENTRY.not-late",
    negative="COMPENSATE.before-first",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=("compares the first reading with 0 degrees C", "is lost before it has read anything"),
)
def nothing_read_yet(b: Passages) -> None:
    """No temperature for twice sensor_lost_s: the plain voltages; then 10 degrees C: the cold ones."""
    lost_s = b.need_more("sensor_lost_s", 0)
    need_cold(b)
    b.set(temp_c=None)
    b.charge(2.3 * lost_s)
    b.set(temp_c=COLD_C)
    b.charge(5)
    b.run(20, v=plain_but_not_cold(b))
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "power-lost",
    title="A loss of power forgets the sensor: the next reading is believed",
    why="That is how a sensor is replaced.",
    requirements="ENTRY.not-late POWER.starts-in-bulk",
    negative="COMPENSATE.jump POWER.forgets",
    features="requests compensation sensor_checks power_cycle",
    settings=sensed(),
    catches=("stores the last temperature",),
)
def power_lost(b: Passages) -> None:
    """35 degrees C; power is lost; 10 degrees C at once: the cold voltages."""
    jump_c = b.need_more("sensor_jump_c", 0, "K")
    need_cold(b)
    b.need(jump_c + 1.0 < HOT_C - COLD_C, "sensor_jump_c is too large")
    b.set(temp_c=HOT_C)
    b.charge(10)
    b.begin_now()
    b.power_cycle()
    b.skip(2.0)
    b.at(b.clock_s, v=None)
    b.skip(2.0)
    b.at(b.clock_s, v=b.settings.float_v, temp_c=COLD_C)
    b.charge(5)
    b.run(20, v=plain_but_not_cold(b))
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "invalid-samples-keep-the-shift",
    title="Invalid samples leave the shift as it is",
    why="What is asked for must not jump with every garbled reading.",
    requirements="REQUEST.compensated ENTRY.not-late",
    negative="REQUEST.compensated",
    features="requests compensation",
    settings=sensed(),
    catches=("forgets the temperature at an invalid sample", "shifts by an invalid sample"),
)
def invalid_samples_keep_the_shift(b: Passages) -> None:
    """10 degrees C, three invalid samples in a row without a temperature: the cold voltages."""
    need_cold(b)
    b.set(temp_c=COLD_C)
    b.charge(10)
    b.begin_now()
    for _ in range(3):
        b.skip(1.0)
        b.at(b.clock_s, v=None, temp_c=None)
    b.skip(1.0)
    b.at(b.clock_s, v=b.charging_v, temp_c=COLD_C)
    b.charge(5)
    b.enter()
    b.hold(0.2)


@BOOK.recipe(
    "lost-and-a-clock-set-back",
    title="A clock that is set back does not make a sensor that is missing any fresher",
    why=OVERCHARGE,
    requirements="COMPENSATE.missing ENTRY.not-late",
    negative="COMPENSATE.missing",
    features="requests compensation sensor_checks",
    settings=sensed(),
    catches=("takes the time of the last reading for one that is still to come",),
    tags="backward",
)
def lost_and_a_clock_set_back(b: Passages) -> None:
    """Cold, then missing; 20 s back in the middle: lost after sensor_lost_s in all."""
    lost_s = b.need_more("sensor_lost_s", 0)
    need_cold(b)
    b.set(temp_c=COLD_C)
    b.charge(30)
    level_v = plain_but_not_cold(b)
    b.run(10, v=level_v)
    last_s = b.after(1.0)
    b.run(0.5 * lost_s, temp_c=None)
    b.begin_now()
    b.after(-20.0)
    b.lost(lost_s, last_s - 20.0)
    enters_at(b, level_v)
