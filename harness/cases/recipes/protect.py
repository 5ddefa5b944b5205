"""What blocks charging."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("protect")


def _calm(b: Passages) -> None:
    """A cell voltage at which nothing trips, from the first sample on."""
    b.set(cell_max_v=b.calm_cell_v)


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
    "cell",
    title="A cell at its limit blocks charging after the trip dwell",
    why="One cell over its limit is the fault that destroys packs; the pack's voltage hides it.",
    requirements="PROTECT.cell-trips PROTECT.releases PROTECT.to-bulk REQUEST.current",
    features="cell_protection",
    settings=hut(),
    catches=("does not look at the highest cell", "never lets go"),
)
def cell(b: Passages) -> None:
    """In bulk a cell goes over its limit and stays: blocked; it falls well under: bulk."""
    _calm(b)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(20)
    b.release(cell_max_v=b.calm_cell_v)
    b.charge()


@BOOK.recipe(
    "cell-in-float",
    title="A cell at its limit blocks charging in float too",
    why="Protection knows no stage in which it may sleep.",
    requirements="PROTECT.cell-trips PROTECT.releases PROTECT.to-bulk PROTECT.cell-held",
    features="cell_protection",
    settings=pier(trip_dwell_s=5),
    catches=("looks at the cells in absorption only", "goes back to float when released"),
)
def cell_in_float(b: Passages) -> None:
    """In float a cell goes over its limit: blocked; released to bulk, not to float."""
    _calm(b)
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.need_float_room(b.settings.trip_dwell_s)
    b.trip(cell_max_v=b.cell(0.05))
    b.run(20)
    b.release(cell_max_v=b.calm_cell_v)
    b.charge()


@BOOK.recipe(
    "cell-under-its-limit",
    title="A cell just under its limit blocks nothing",
    why="A limit with a hidden margin stops charges that should go on.",
    requirements="HOLD.full-length",
    negative="PROTECT.cell-trips",
    features="cell_protection",
    settings=hut(),
    catches=("a hidden margin under cell_limit_v", "trips at cell_release_v"),
)
def cell_under_its_limit(b: Passages) -> None:
    """A whole cycle with a cell 10 mV under its limit."""
    b.set(cell_max_v=b.cell(-0.010))
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "cell-spikes",
    title="Spikes shorter than the trip dwell block nothing",
    why="A single noisy reading must not stop the charge of a whole bank.",
    requirements="HOLD.full-length",
    negative="PROTECT.cell-held PROTECT.cell-trips",
    features="cell_protection",
    settings=pier(trip_dwell_s=5),
    catches=("trips at the first reading", "adds the spikes up"),
)
def cell_spikes(b: Passages) -> None:
    """Four spikes of six tenths of the dwell in the hold: it ends as if nothing had been."""
    dwell_s = b.need_more("trip_dwell_s", 0)
    b.need(b.settings.hold_s > 6 * dwell_s, "hold_s must be longer than six trip dwells")
    _calm(b)
    b.reach_absorption()
    b.hold(0.1)
    for _ in range(4):
        b.run(0.6 * dwell_s, cell_max_v=b.cell(0.05))
        b.run(0.4 * dwell_s, cell_max_v=b.calm_cell_v)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "cell-exactly-at-its-limit",
    title="A cell equal to its limit trips, and equal to its release lets go",
    why="Bounds are included on both sides.",
    requirements="PROTECT.cell-trips PROTECT.releases",
    features="cell_protection",
    settings=hut(),
    catches=("compares with > instead of >=", "compares with < instead of <="),
    tags="boundary",
)
def cell_exactly_at_its_limit(b: Passages) -> None:
    """The highest cell stands at cell_limit_v, later at cell_release_v, to the last bit."""
    _calm(b)
    b.charge()
    b.need(b.settings.cell_limit_v is not None, "cell_limit_v is none")
    b.trip(cell_max_v=b.settings.cell_limit_v)
    b.run(10)
    b.release(cell_max_v=b.settings.cell_release_v)
    b.charge()


@BOOK.recipe(
    "cell-limit-is-off",
    title="Without cell_limit_v no cell voltage blocks charging",
    why="None means off: the limit may be kept by something else.",
    requirements="HOLD.full-length",
    negative="PROTECT.cell-trips",
    settings=hut(cell_limit_v=None),
    catches=("takes none for a default value",),
)
def cell_limit_is_off(b: Passages) -> None:
    """A whole cycle with a very high cell voltage."""
    b.need_setting("cell_limit_v", None)
    b.set(cell_max_v=3.9)
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "missing-cell-reading-breaks-the-trip",
    title="A missing cell reading breaks the dwell of a trip",
    why="A condition that is not read is not true: a half-seen excess is not sustained.",
    requirements="FLOAT.stays",
    negative="PROTECT.cell-held",
    features="cell_protection",
    settings=hut(trip_dwell_s=6),
    catches=("takes the last reading for a missing one", "pauses the dwell"),
)
def missing_cell_reading_breaks_the_trip(b: Passages) -> None:
    """High for six tenths of the dwell, one reading missing, high again for as long: no trip."""
    dwell_s = b.need_more("trip_dwell_s", 0)
    _calm(b)
    b.charge()
    for _ in range(3):
        b.run(0.6 * dwell_s, cell_max_v=b.cell(0.05))
        b.run(0.1 * dwell_s, cell_max_v=None)
    b.run(10, cell_max_v=b.calm_cell_v)
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "trip-dwell-across-stages",
    title="The trip dwell runs on across a change of stage",
    why="The cell does not cool down because absorption begins.",
    requirements="PROTECT.cell-trips PROTECT.cell-held ENTRY.not-late",
    features="cell_protection",
    settings=hut(trip_dwell_s=10),
    catches=("starts the trip dwell again with the stage",),
)
def trip_dwell_across_stages(b: Passages) -> None:
    """A cell goes over its limit in bulk; absorption begins; blocked trip_dwell_s after the first."""
    s = b.settings
    b.need(
        0 < 1.5 * s.entry_dwell_s < s.trip_dwell_s, "trip_dwell_s must be longer than entry_dwell_s"
    )
    b.need(s.hold_s > s.trip_dwell_s, "hold_s must be longer than trip_dwell_s")
    _calm(b)
    high_from_s = b.charge()
    b.set(cell_max_v=b.cell(0.05))
    b.enter()
    b.until(s.trip_dwell_s, since_s=high_from_s)
    b.expect("inhibited")
    b.run(10)


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
    "hold-is-abandoned",
    title="Blocked in the hold: no full reset, and afterwards a whole new hold",
    why="A cell at its limit in the hold means imbalance: the pack as a whole is not full.",
    requirements="PROTECT.blocks-full PROTECT.to-bulk HOLD.full-length FULL.granted",
    negative="PROTECT.blocks-full FULL.at-hold-end PROTECT.to-bulk",
    features="cell_protection full_reset",
    settings=hut(),
    catches=(
        "lets the hold timer run while blocked",
        "resumes the hold after the release",
        "resets while blocked",
    ),
)
def hold_is_abandoned(b: Passages) -> None:
    """Blocked in the middle of the hold for longer than a hold; released; dwell, whole hold, reset."""
    b.need(
        b.settings.hold_s > 3 * b.settings.trip_dwell_s, "hold_s must be longer than trip_dwell_s"
    )
    b.need_more("entry_dwell_s", 0)
    _calm(b)
    b.reach_absorption()
    b.hold(0.5)
    b.trip(cell_max_v=b.cell(0.05))
    b.run(1.5 * b.settings.hold_s)
    b.release(cell_max_v=b.calm_cell_v)
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "trip-wins-over-full",
    title="A trip on the sample on which the pack would be full wins",
    why="Protection comes before the stage rules.",
    requirements="PROTECT.cell-trips",
    negative="PROTECT.blocks-full FULL.granted FULL.at-hold-end",
    features="cell_protection full_reset",
    settings=pier(trip_dwell_s=5),
    catches=("applies the stage rules before protection", "resets and blocks on one sample"),
    tags="boundary",
)
def trip_wins_over_full(b: Passages) -> None:
    """Trip dwell and hold end between the same two samples: blocked, no full reset."""
    s = b.settings
    b.need_setting("confirm_s", 0.0)
    b.need(s.hold_s > 2 * s.trip_dwell_s > 0, "hold_s must be longer than trip_dwell_s")
    _calm(b)
    b.reach_absorption()
    b.run(s.hold_s - s.trip_dwell_s, v=b.held_v)
    b.expire(v=b.held_v, cell_max_v=b.cell(0.05))
    b.expect("inhibited")
    b.run(10)


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
