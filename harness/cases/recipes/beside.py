"""Protection at its limits to the last digit, and just beside them. The group is `protect`."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("protect")


def _limit_c(b: Passages, name: str) -> float:
    value = getattr(b.settings, name)
    b.need(value is not None, f"{name} is none")
    return float(value)


def _at_the_limit(b: Passages, column: str, limit: float, outward: float, release: float) -> None:
    """At a limit nothing, beyond it a trip; short of the release nothing, at it bulk.

    Args:
        b: the vector.
        column: the reading.
        limit: the last value that is allowed.
        outward: the smallest step beyond it that must be seen.
        release: the first value at which protection lets go.
    """
    b.run(5 * b.settings.trip_dwell_s + 5, **{column: limit})
    b.trip(**{column: limit + outward})
    b.run(3 * b.settings.release_dwell_s + 5, **{column: release + outward})
    b.release(**{column: release})
    b.charge()


@BOOK.recipe(
    "cell-one-millivolt-beside",
    title="One millivolt under the limit is allowed, one above the release is not clear",
    why="A reading rounded to 10 mV trips a healthy pack, or lets go one that is not.",
    requirements="PROTECT.cell-trips PROTECT.cell-held PROTECT.releases PROTECT.release-held",
    negative="PROTECT.cell-held PROTECT.release-held",
    features="cell_protection",
    settings=hut(),
    catches=("cell voltages rounded to 10 mV", "a hidden margin at limit or release"),
    tags="boundary",
)
def cell_one_millivolt_beside(b: Passages) -> None:
    """1 mV under cell_limit_v, then at it; 1 mV above cell_release_v, then at it."""
    b.charge()
    _at_the_limit(b, "cell_max_v", b.cell(-0.001), 0.001, b.settings.cell_release_v)


@BOOK.recipe(
    "cold-at-the-limit",
    title="The lowest temperature itself is allowed; the band is to the last tenth",
    why="Limits are inclusive: a sensor of whole degrees stands on them for hours.",
    requirements="PROTECT.temperature-trips PROTECT.temperature-held PROTECT.releases",
    negative="PROTECT.temperature-held PROTECT.release-held",
    features="temperature_protection",
    settings=hut(),
    catches=("compares with <= instead of <", "temperatures in whole degrees", "a smaller band"),
    tags="boundary",
)
def cold_at_the_limit(b: Passages) -> None:
    """At charge_min_c, then 0.1 degrees under it; 0.1 short of the band, then at it."""
    b.need_setting("compensation_v_per_c", 0.0)
    low_c = _limit_c(b, "charge_min_c")
    b.set(temp_c=b.mild_c)
    b.charge()
    _at_the_limit(b, "temp_c", low_c, -0.1, low_c + b.settings.temp_band_c)


@BOOK.recipe(
    "hot-at-the-limit",
    title="The highest temperature itself is allowed; the band is to the last tenth",
    why="The same at the other end, with the one sensor that many packs have.",
    requirements="PROTECT.temperature-trips PROTECT.temperature-held PROTECT.releases",
    negative="PROTECT.temperature-held PROTECT.release-held",
    features="temperature_protection",
    settings=pier(),
    catches=("compares with >= instead of >", "temperatures cut to whole degrees"),
    tags="boundary",
)
def hot_at_the_limit(b: Passages) -> None:
    """At charge_max_c, then 0.1 degrees above it; 0.1 short of the band, then at it."""
    b.need_setting("compensation_v_per_c", 0.0)
    top_c = _limit_c(b, "charge_max_c")
    b.set(temp_c=b.mild_c)
    b.charge()
    _at_the_limit(b, "temp_c", top_c, 0.1, top_c - b.settings.temp_band_c)


@BOOK.recipe(
    "hottest-at-the-limit",
    title="The hottest sensor at its limit, and just beyond it",
    why="One hot cell in the middle of a pack decides, and only its own sensor sees it.",
    requirements="PROTECT.temperature-trips PROTECT.temperature-held PROTECT.releases",
    negative="PROTECT.temperature-held PROTECT.release-held",
    features="temperature_protection",
    settings=hut(),
    catches=("compares with >= instead of >", "the hottest sensor cut to whole degrees"),
    tags="boundary",
)
def hottest_at_the_limit(b: Passages) -> None:
    """temp_max_c at charge_max_c, 0.1 degrees above it; 0.1 short of the band, then at it."""
    b.need_setting("compensation_v_per_c", 0.0)
    top_c = _limit_c(b, "charge_max_c")
    b.set(temp_c=b.mild_c, temp_max_c=b.mild_c)
    b.charge()
    _at_the_limit(b, "temp_max_c", top_c, 0.1, top_c - b.settings.temp_band_c)


@BOOK.recipe(
    "heat-clear-without-a-lower-limit",
    title="Without a lower limit the coldest sensor has no say",
    why="A pack with heating needs no lower limit, and its cold sensor may be missing.",
    requirements="PROTECT.temperature-trips PROTECT.releases",
    negative="PROTECT.temperature-held",
    features="temperature_protection",
    settings=hut(charge_min_c=None),
    catches=("takes a limit that is off for 0 degrees", "asks a sensor that is of no use"),
)
def heat_clear_without_a_lower_limit(b: Passages) -> None:
    """Very cold: nothing. Too hot: blocked. temp_c missing and temp_max_c clear: bulk."""
    b.need_setting("compensation_v_per_c", 0.0)
    b.need_setting("charge_min_c", None)
    top_c = _limit_c(b, "charge_max_c")
    cool_c = top_c - b.settings.temp_band_c - 5.0
    b.set(temp_c=-10.0, temp_max_c=cool_c)
    b.charge(5 * b.settings.trip_dwell_s + 5)
    b.trip(temp_max_c=top_c + 5.0)
    b.run(5)
    b.release(temp_c=None, temp_max_c=cool_c)
    b.charge()


@BOOK.recipe(
    "missing-sensor-is-not-its-last-value",
    title="A sensor that is missing does not keep its last value",
    why="A loose plug after one hot reading must not block the charge for the rest of the day.",
    requirements="HOLD.full-length",
    negative="PROTECT.temperature-held",
    features="temperature_protection",
    settings=hut(trip_dwell_s=5),
    catches=("keeps the last temperature", "a missing reading does not break the trip dwell"),
)
def missing_sensor_is_not_its_last_value(b: Passages) -> None:
    """One hot reading, then the sensor is missing for long; the same with a cold one: no trip."""
    b.need_setting("compensation_v_per_c", 0.0)
    dwell_s = b.need_more("trip_dwell_s", 0)
    low_c, top_c = _limit_c(b, "charge_min_c"), _limit_c(b, "charge_max_c")
    b.set(temp_c=b.mild_c, temp_max_c=b.mild_c)
    b.charge()
    b.run(0.4 * dwell_s, temp_max_c=top_c + 5.0)
    b.run(4 * dwell_s, temp_max_c=None)
    b.run(0.4 * dwell_s, temp_c=low_c - 5.0)
    b.run(4 * dwell_s, temp_c=None)
    b.set(temp_c=b.mild_c)
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "cold-in-float",
    title="Cold blocks charging in float too",
    why="The night after a full day is the coldest: float must not go on below the limit.",
    requirements="PROTECT.temperature-trips PROTECT.temperature-held PROTECT.releases",
    features="temperature_protection",
    settings=hut(trip_dwell_s=5),
    catches=("looks at the temperature while it charges only",),
)
def cold_in_float(b: Passages) -> None:
    """In float the coldest sensor falls under charge_min_c: blocked; mild again: bulk."""
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.need_float_room(b.settings.trip_dwell_s)
    b.trip(temp_c=_limit_c(b, "charge_min_c") - 5.0)
    b.run(10)
    b.release(temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "cold-through-a-bad-reading",
    title="The trip dwell of the temperature goes on over a bad reading and a change of stage",
    why="A cold pack with a noisy meter is still cold.",
    requirements="PROTECT.temperature-trips PROTECT.temperature-held",
    features="temperature_protection",
    settings=hut(trip_dwell_s=20),
    catches=("an invalid reading starts the dwell again", "a new stage starts the dwell again"),
)
def cold_through_a_bad_reading(b: Passages) -> None:
    """Cold, with invalid samples within the dwell; released; cold, with the hold's start within it."""
    b.need_setting("compensation_v_per_c", 0.0)
    s = b.settings
    dwell_s = b.need_more("trip_dwell_s", 2 * s.entry_dwell_s + 5)
    b.need(0.2 * dwell_s < s.max_gap_s, "trip_dwell_s must be shorter than five max_gap_s")
    cold_c = _limit_c(b, "charge_min_c") - 5.0
    b.set(temp_c=b.mild_c)
    from_s = b.charge()
    b.run(0.4 * dwell_s, temp_c=cold_c)
    b.run(0.2 * dwell_s, v=None)
    b.set(v=b.charging_v)
    b.until(dwell_s, since_s=from_s)
    b.expect("inhibited")
    b.run(5)
    b.release(temp_c=b.mild_c)
    from_s = b.charge()
    b.run(0.2 * dwell_s, temp_c=cold_c)
    b.enter()
    b.until(dwell_s, since_s=from_s)
    b.expect("inhibited")
    b.run(5)


@BOOK.recipe(
    "cold-broken-by-a-gap",
    title="A gap starts the trip dwell of the temperature again",
    why="What happened in the gap nobody knows.",
    requirements="PROTECT.temperature-held TIME.gap-adds-nothing",
    negative="PROTECT.temperature-held",
    features="temperature_protection",
    settings=hut(trip_dwell_s=20),
    catches=("the trip dwell runs on over a gap",),
)
def cold_broken_by_a_gap(b: Passages) -> None:
    """Cold for six tenths of the dwell, a gap, cold for six tenths again: no trip."""
    b.need_setting("compensation_v_per_c", 0.0)
    dwell_s = b.need_more("trip_dwell_s", 0)
    b.set(temp_c=b.mild_c)
    b.charge()
    b.run(0.6 * dwell_s, temp_c=_limit_c(b, "charge_min_c") - 5.0)
    b.skip(2 * b.settings.max_gap_s)
    b.run(0.6 * dwell_s)
    b.run(10, temp_c=b.mild_c)


@BOOK.recipe(
    "no-reading-in-float",
    title="Missing readings block the charge in float too",
    why="A meter that has died says nothing, whatever the stage.",
    requirements="PROTECT.no-reading PROTECT.releases",
    settings=hut(),
    catches=("looks for missing readings in bulk and absorption only",),
)
def no_reading_in_float(b: Passages) -> None:
    """In float no valid reading for more than max_gap_s: blocked; readings again: bulk."""
    s = b.settings
    b.reach_float()
    end_s = b.stay_in_float(10, v=b.charging_v)
    b.begin_now()
    b.need_float_room(2 * s.max_gap_s)
    step_s = 0.22 * s.max_gap_s
    for k in range(1, 6):
        b.at(end_s + k * step_s, v=None)
    b.expect("inhibited")
    b.at(end_s + 5.5 * step_s)
    b.at(end_s + 6 * step_s)
    b.skip(1.0)
    b.release(v=b.charging_v)
    b.charge()


@BOOK.recipe(
    "between-release-and-limit-at-once",
    title="A trip is remembered when the clock steps back",
    why="The distance between limit and release is there for the reading that swings.",
    requirements="PROTECT.cell-trips PROTECT.releases PROTECT.release-held",
    negative="PROTECT.release-held",
    features="cell_protection",
    settings=hut(),
    catches=("forgets what has tripped when a stamp steps back",),
    tags="backward",
)
def between_release_and_limit_at_once(b: Passages) -> None:
    """Tripped; in the middle between release and limit, and a step back: blocked until it is clear."""
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.set(cell_max_v=round((b.settings.cell_release_v + b.cell(0.0)) / 2, 6))
    stay_s = 3 * b.settings.release_dwell_s + 5
    b.run(stay_s)
    b.skip(-stay_s / 2)
    b.run(stay_s)
    b.release(cell_max_v=b.calm_cell_v)
    b.charge()


@BOOK.recipe(
    "limit-breaks-the-dwell",
    title="A temperature that comes back to its limit breaks the trip dwell",
    why="At the limit charging is allowed, whatever was a moment before.",
    requirements="PROTECT.temperature-held",
    negative="PROTECT.temperature-held",
    features="temperature_protection",
    settings=hut(trip_dwell_s=10),
    catches=("takes the limit itself for outside once the dwell runs",),
    tags="boundary",
)
def limit_breaks_the_dwell(b: Passages) -> None:
    """Too cold for half the dwell, then at charge_min_c; too hot for half of it, then at charge_max_c."""
    b.need_setting("compensation_v_per_c", 0.0)
    dwell_s = b.need_more("trip_dwell_s", 2)
    low_c, top_c = _limit_c(b, "charge_min_c"), _limit_c(b, "charge_max_c")
    b.set(temp_c=b.mild_c, temp_max_c=b.mild_c)
    b.charge()
    b.run(0.5 * dwell_s, temp_c=low_c - 5.0)
    b.run(2 * dwell_s, temp_c=low_c)
    b.set(temp_c=b.mild_c)
    b.run(0.5 * dwell_s, temp_max_c=top_c + 5.0)
    b.run(2 * dwell_s, temp_max_c=top_c)
    b.run(5, temp_max_c=b.mild_c)
