"""Temperatures that drift, and a shift that must be kept. The group is `request`."""

from harness.cases.packs import hut
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("request")

_COMPENSATED = {"compensation_v_per_c": -0.03, "charge_min_c": 0.0, "charge_max_c": 45.0}


def _drift(b: Passages, count: int, **readings: float | None) -> None:
    """So many samples, one a second, at a temperature that is another one at each."""
    from_s = b.clock_s
    for k in range(1, count + 1):
        b.at(from_s + k, temp_c=10.0 + 0.5 * (k % 5), **readings)


def _begin(b: Passages, **readings: float | None) -> None:
    b.need(b.settings.compensation_v_per_c != 0.0, "compensation_v_per_c is 0")
    b.set(temp_c=10.0, **readings)
    b.charge()
    b.begin_now()


@BOOK.recipe(
    "shift-is-kept-while-the-sensor-is-missing",
    title="The last shift is kept over a trip, a release, a gap and a step back",
    why="A sensor that is missing tells nothing: the last known temperature is the best there is.",
    requirements="REQUEST.compensated REQUEST.voltage PROTECT.cell-trips PROTECT.releases",
    features="requests compensation cell_protection",
    settings=hut(**_COMPENSATED),
    catches=("the shift is lost at a trip or release", "or at a gap, or when the clock is set"),
    tags="backward",
)
def shift_is_kept_while_the_sensor_is_missing(b: Passages) -> None:
    """Cold once, then no sensor: a trip, a release, a gap and a step back leave the shift as it is."""
    _begin(b, cell_max_v=b.calm_cell_v)
    b.run(5, temp_c=None)
    b.trip(cell_max_v=b.cell(0.05))
    b.run(5)
    b.release(cell_max_v=b.calm_cell_v)
    b.run(5)
    b.skip(2 * b.settings.max_gap_s)
    b.run(5)
    b.skip(-8.0)
    b.run(5)


@BOOK.recipe(
    "drift-does-not-break-a-trip",
    title="A temperature that drifts does not break the trip dwell of a cell",
    why="Each new temperature shifts the voltages, and nothing else.",
    requirements="PROTECT.cell-trips PROTECT.cell-held PROTECT.releases REQUEST.compensated",
    features="requests compensation cell_protection",
    settings=hut(trip_dwell_s=5, **_COMPENSATED),
    catches=("a new shift throws away a dwell", "or what has tripped"),
    tags="boundary",
)
def drift_does_not_break_a_trip(b: Passages) -> None:
    """Another temperature at each sample: a cell trips in time, and is let go in time."""
    s = b.settings
    _begin(b, cell_max_v=b.calm_cell_v)
    count = round(b.need_more("trip_dwell_s", 2))
    _drift(b, count + 1, cell_max_v=b.cell(0.05))
    b.expect("inhibited")
    between_v = round((s.cell_release_v + b.cell(0.0)) / 2, 6)
    _drift(b, 3, cell_max_v=b.cell(0.05))
    _drift(b, 3 * round(s.release_dwell_s), cell_max_v=between_v)
    _drift(b, round(s.release_dwell_s) + 1, cell_max_v=b.calm_cell_v)
    b.expect("bulk")
    _drift(b, 5, cell_max_v=b.calm_cell_v)


@BOOK.recipe(
    "drift-does-not-break-the-cold",
    title="A temperature that drifts outside its limits trips in time",
    why="A pack that cools down reads another temperature every time.",
    requirements="PROTECT.temperature-trips REQUEST.compensated",
    features="requests compensation temperature_protection",
    settings=hut(trip_dwell_s=5, **_COMPENSATED),
    catches=("a new shift throws away the dwell of the temperature",),
    tags="boundary",
)
def drift_does_not_break_the_cold(b: Passages) -> None:
    """Colder at every sample, under charge_min_c all the while: blocked after the dwell."""
    _begin(b)
    low_c = b.settings.charge_min_c
    b.need(low_c is not None, "charge_min_c is none")
    assert low_c is not None
    count = round(b.need_more("trip_dwell_s", 2))
    from_s = b.clock_s
    for k in range(1, count + 2):
        b.at(from_s + k, temp_c=low_c - 2.0 - 0.5 * k)
    b.expect("inhibited")
    for k in range(count + 2, count + 8):
        b.at(from_s + k, temp_c=low_c - 2.0 - 0.5 * k)


@BOOK.recipe(
    "drift-does-not-break-the-empty-rule",
    title="A temperature that drifts does not break the empty dwell, nor what follows it",
    why="The count of an empty pack has nothing to do with its temperature.",
    requirements="SOC.empty REQUEST.compensated SOC.counts",
    negative="SOC.empty SOC.no-jump",
    features="requests compensation empty_reset soc",
    settings=hut(empty_v=44.8, **_COMPENSATED),
    catches=("a new shift throws away the empty dwell", "or that the pack was set to 0"),
    tags="boundary",
)
def drift_does_not_break_the_empty_rule(b: Passages) -> None:
    """Another temperature at each sample: set to 0 in time, charged on under empty_v, and not again."""
    s = b.settings
    b.soc = 0.3
    b.set(i=b.need_current(0.05 * s.capacity_ah))
    _begin(b)
    count = round(b.need_more("empty_dwell_s", 2))
    _drift(b, count + 1, v=b.empty_v)
    b.expect_empty()
    _drift(b, 3 * count, v=b.empty_v)


@BOOK.recipe(
    "to-the-ten-millivolts",
    title="Requests to 10 mV and half an ampere",
    why="At the end of a charge a tenth of a volt decides whether the hold starts.",
    requirements="REQUEST.voltage REQUEST.current REQUEST.never-above",
    features="requests",
    settings=hut(absorption_v=56.04, float_v=54.03, charge_current_a=37.5),
    catches=("voltages rounded to a tenth of a volt", "currents in steps of ten amperes"),
)
def to_the_ten_millivolts(b: Passages) -> None:
    """A whole cycle with settings that are no round numbers."""
    b.reach_float()
    b.stay_in_float(10)


@BOOK.recipe(
    "half-seconds",
    title="Timers of fractions of a second, sampled ten times a second",
    why="Timers in whole seconds are short by up to one, which shows where readings are frequent.",
    requirements="ENTRY.held-long-enough HOLD.full-length FULL.confirmed REQUEST.voltage",
    features="requests confirm",
    settings=hut(entry_dwell_s=2.9, hold_s=10.9, confirm_s=3.9),
    catches=("timers cut to whole seconds",),
)
def half_seconds(b: Passages) -> None:
    """Entry dwell, hold and confirmation of almost a second more than they would be in whole ones."""
    b.longest_interval_s = 0.1
    b.reach_float()
    b.stay_in_float(2)
