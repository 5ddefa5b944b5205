"""What blocks charging."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("protect")


def _calm(b: Passages) -> None:
    """A cell voltage at which nothing trips, from the first sample on."""
    b.set(cell_max_v=b.calm_cell_v)


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
    settings=pier(trip_dwell_s=0),
    catches=("applies the stage rules before protection", "resets and blocks on one sample"),
    tags="boundary",
)
def trip_wins_over_full(b: Passages) -> None:
    """Without a trip dwell, a cell goes over its limit on the sample that ends the hold: blocked."""
    b.need_setting("confirm_s", 0.0)
    b.need_setting("trip_dwell_s", 0.0)
    _calm(b)
    b.reach_absorption()
    b.expire_with(cell_max_v=b.cell(0.05))
    b.expect("inhibited")
    b.run(10)
