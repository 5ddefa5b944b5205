"""What temperature does to the charge. The group is `protect`."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("protect")


def _cold(b: Passages) -> float:
    low_c = b.settings.charge_min_c
    b.need(low_c is not None, "charge_min_c is none")
    assert low_c is not None
    return low_c - 5.0


def _hot(b: Passages) -> float:
    high_c = b.settings.charge_max_c
    b.need(high_c is not None, "charge_max_c is none")
    assert high_c is not None
    return high_c + 5.0


@BOOK.recipe(
    "cold",
    title="Too cold blocks charging",
    why="Charging LFP cells below freezing plates lithium: damage that does not show.",
    requirements="PROTECT.temperature-trips PROTECT.releases PROTECT.to-bulk",
    features="temperature_protection",
    settings=hut(),
    catches=("ignores temp_c", "looks at the upper limit only"),
)
def cold(b: Passages) -> None:
    """In bulk the coldest sensor falls under charge_min_c: blocked; mild again: bulk."""
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.charge()
    b.trip(temp_c=_cold(b))
    b.run(20)
    b.release(temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "hot",
    title="Too hot blocks charging; temp_c stands for both where there is no other sensor",
    why="Many packs have one sensor: it is the coldest and the hottest at once.",
    requirements="PROTECT.temperature-trips PROTECT.temperature-held PROTECT.releases",
    features="temperature_protection",
    settings=pier(trip_dwell_s=5),
    catches=("looks for heat in temp_max_c only", "looks at the lower limit only"),
)
def hot(b: Passages) -> None:
    """Without temp_max_c, temp_c rises above charge_max_c: blocked; mild again: bulk."""
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.charge()
    b.trip(temp_c=_hot(b))
    b.run(20)
    b.release(temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "hottest-sensor",
    title="The hottest sensor blocks charging while the coldest is mild",
    why="The two ends of a pack can be far apart: each limit has a sensor of its own.",
    requirements="PROTECT.temperature-trips PROTECT.releases",
    features="temperature_protection",
    settings=hut(),
    catches=("ignores temp_max_c", "lets go when temp_c alone is mild"),
)
def hottest_sensor(b: Passages) -> None:
    """temp_max_c rises above charge_max_c, temp_c stays mild throughout."""
    b.set(temp_c=b.mild_c, temp_max_c=b.mild_c)
    b.charge()
    b.trip(temp_max_c=_hot(b))
    b.run(3 * b.settings.release_dwell_s + 5)
    b.release(temp_max_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "coldest-sensor",
    title="The coldest sensor blocks charging while the hottest is mild",
    why="The two ends of a pack can be far apart: each limit has a sensor of its own.",
    requirements="PROTECT.temperature-trips PROTECT.releases",
    features="temperature_protection",
    settings=hut(),
    catches=("looks for cold at temp_max_c", "lets go when temp_max_c alone is mild"),
)
def coldest_sensor(b: Passages) -> None:
    """temp_c falls under charge_min_c, temp_max_c stays mild throughout."""
    s = b.settings
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    assert s.charge_min_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c, temp_max_c=b.mild_c)
    b.charge()
    b.trip(temp_c=s.charge_min_c - 5)
    b.run(3 * s.release_dwell_s + 5)
    b.release(temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "exactly-at-the-temperature-limits",
    title="At the temperature limits themselves charging is allowed",
    why="Bounds are included: at 0 degrees C a limit of 0 blocks nothing.",
    requirements="HOLD.full-length",
    negative="PROTECT.temperature-trips",
    features="temperature_protection",
    settings=hut(),
    catches=("compares with <= instead of <", "compares with >= instead of >"),
    tags="boundary",
)
def exactly_at_the_temperature_limits(b: Passages) -> None:
    """A whole cycle with the coldest sensor at charge_min_c and the hottest at charge_max_c."""
    s = b.settings
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    b.need(s.charge_max_c is not None, "charge_max_c is none")
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=s.charge_min_c, temp_max_c=s.charge_max_c)
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "temperature-spikes",
    title="A temperature outside its limits for less than the trip dwell blocks nothing",
    why="A noisy sensor must not stop the charge.",
    requirements="HOLD.full-length",
    negative="PROTECT.temperature-held PROTECT.temperature-trips",
    features="temperature_protection",
    settings=hut(trip_dwell_s=5),
    catches=("trips at the first reading", "adds cold and hot spikes up"),
)
def temperature_spikes(b: Passages) -> None:
    """Cold and hot spikes of six tenths of the dwell in bulk, then a whole cycle."""
    dwell_s = b.need_more("trip_dwell_s", 0)
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.charge()
    for temp_c in (_cold(b), _hot(b), _cold(b)):
        b.run(0.6 * dwell_s, temp_c=temp_c)
        b.run(0.4 * dwell_s, temp_c=b.mild_c)
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "cold-in-the-hold",
    title="Too cold in the hold: the hold is abandoned",
    why="Cells cool down at night while the charger still holds the voltage.",
    requirements="PROTECT.temperature-trips PROTECT.to-bulk PROTECT.releases HOLD.full-length",
    negative="PROTECT.blocks-full FULL.at-hold-end",
    features="temperature_protection full_reset",
    settings=pier(),
    catches=("looks at the temperature in bulk only", "resumes the hold after the release"),
)
def cold_in_the_hold(b: Passages) -> None:
    """Too cold in the middle of the hold, mild again before it would have ended: a whole new hold."""
    s = b.settings
    b.need(s.hold_s > 6 * (s.trip_dwell_s + s.release_dwell_s), "hold_s is too short")
    b.need_more("entry_dwell_s", 0)
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.reach_absorption()
    b.hold(0.5)
    b.trip(temp_c=_cold(b))
    b.release(temp_c=b.mild_c)
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "inside-the-band",
    title="Inside the temperature limits, but not by the band: still blocked",
    why="The band keeps a pack at the limit from switching the charger on and off.",
    requirements="PROTECT.temperature-trips PROTECT.releases",
    negative="PROTECT.releases",
    features="temperature_protection",
    settings=hut(),
    catches=("lets go at the limit itself",),
)
def inside_the_band(b: Passages) -> None:
    """Too cold; back inside the limits by half of the band for long; then by more than the band."""
    s = b.settings
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    assert s.charge_min_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.charge()
    b.trip(temp_c=s.charge_min_c - 5)
    b.run(10)
    b.run(5 * s.release_dwell_s + 10, temp_c=s.charge_min_c + s.temp_band_c / 2)
    b.release(temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "exactly-at-the-band",
    title="Inside by exactly the band is enough",
    why="Bounds are included.",
    requirements="PROTECT.temperature-trips PROTECT.releases",
    features="temperature_protection",
    settings=pier(),
    catches=("compares with > instead of >=",),
    tags="boundary",
)
def exactly_at_the_band(b: Passages) -> None:
    """Too cold, then charge_min_c plus temp_band_c to the last bit: let go."""
    s = b.settings
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    assert s.charge_min_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.charge()
    b.trip(temp_c=s.charge_min_c - 5)
    b.run(10)
    b.release(temp_c=s.charge_min_c + s.temp_band_c)
    b.charge()


@BOOK.recipe(
    "heat-inside-the-band",
    title="Cooler than the upper limit, but not by the band: still blocked",
    why="The band keeps a pack at the limit from switching the charger on and off.",
    requirements="PROTECT.temperature-trips PROTECT.releases PROTECT.release-held",
    negative="PROTECT.release-held",
    features="temperature_protection",
    settings=hut(),
    catches=("lets go at the upper limit itself", "has a band at the lower limit only"),
)
def heat_inside_the_band(b: Passages) -> None:
    """Too hot; back under the limit by half of the band for long; then by more than the band."""
    s = b.settings
    b.need(s.charge_max_c is not None, "charge_max_c is none")
    assert s.charge_max_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.charge()
    b.trip(temp_c=s.charge_max_c + 5)
    b.run(10)
    b.run(5 * s.release_dwell_s + 10, temp_c=s.charge_max_c - s.temp_band_c / 2)
    b.release(temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "heat-without-a-cold-limit",
    title="Heat is let go of where no lowest temperature is set",
    why="None means off: a limit that is off must not hold a pack back either.",
    requirements="PROTECT.temperature-trips PROTECT.releases",
    features="temperature_protection",
    settings=hut(charge_min_c=None),
    catches=("compares with a limit that is none", "never lets go without both limits"),
)
def heat_without_a_cold_limit(b: Passages) -> None:
    """Without charge_min_c: too hot, blocked; mild again: bulk."""
    s = b.settings
    b.need_setting("charge_min_c", None)
    b.need(s.charge_max_c is not None, "charge_max_c is none")
    assert s.charge_max_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.charge()
    b.trip(temp_c=s.charge_max_c + 5)
    b.run(10)
    b.release(temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "missing-temperature-breaks-the-release",
    title="A temperature that is missing is not clear",
    why="A sensor that falls off after a trip must not switch the charger on.",
    requirements="PROTECT.release-held PROTECT.releases",
    negative="PROTECT.release-held",
    features="temperature_protection",
    settings=hut(),
    catches=("takes a missing temperature for a mild one",),
)
def missing_temperature_breaks_the_release(b: Passages) -> None:
    """Too cold; the reading is missing for long: blocked; mild: bulk after the dwell."""
    s = b.settings
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    assert s.charge_min_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.charge()
    b.trip(temp_c=s.charge_min_c - 5)
    b.run(10)
    b.run(3 * s.release_dwell_s + 5, temp_c=None)
    b.release(temp_c=b.mild_c)
    b.charge()
