"""How a blocked charge is let go, and what missing readings do. The group is `protect`."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("protect")


def _blocked_by_cell(b: Passages) -> float:
    """Blocked by a cell for a while; returns the voltage of a cell that is clear, V."""
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(10)
    return b.calm_cell_v


def _between_release_and_limit(b: Passages) -> float:
    limit_v = b.cell(0.0)
    return round((b.settings.cell_release_v + limit_v) / 2, 6)


@BOOK.recipe(
    "release-is-held",
    title="Protection lets go only after the release dwell, in one piece",
    why="A cell that swings around its limits must not switch the charger on and off.",
    requirements="PROTECT.release-held PROTECT.releases PROTECT.to-bulk",
    negative="PROTECT.release-held",
    features="cell_protection",
    settings=hut(),
    catches=("lets go at the first clear reading", "adds the clear times up"),
)
def release_is_held(b: Passages) -> None:
    """Clear for six tenths of the dwell twice, with a reading above the release between: then to stay."""
    dwell_s = b.need_more("release_dwell_s", 0)
    calm_v = _blocked_by_cell(b)
    for _ in range(2):
        b.run(0.6 * dwell_s, cell_max_v=calm_v)
        b.run(0.2 * dwell_s, cell_max_v=_between_release_and_limit(b))
    b.release(cell_max_v=calm_v)
    b.charge()


@BOOK.recipe(
    "not-under-the-release",
    title="Under the limit but above the release nothing is let go",
    why="The distance between limit and release is what keeps the charger from hunting.",
    requirements="PROTECT.cell-trips",
    negative="PROTECT.releases PROTECT.to-bulk",
    features="cell_protection",
    settings=pier(),
    catches=("lets go under cell_limit_v",),
)
def not_under_the_release(b: Passages) -> None:
    """The cell comes down to the middle between release and limit and stays: still blocked."""
    _blocked_by_cell(b)
    stay_s = 5 * b.settings.release_dwell_s + 10
    b.run(stay_s, cell_max_v=_between_release_and_limit(b))


@BOOK.recipe(
    "missing-cell-reading-breaks-the-release",
    title="A missing cell reading breaks the dwell of the release",
    why="A condition that is not read is not true: not to see the cell is no proof that it is clear.",
    requirements="PROTECT.release-held PROTECT.releases",
    negative="PROTECT.release-held PROTECT.releases",
    features="cell_protection",
    settings=hut(),
    catches=("takes a missing reading for clear", "pauses the dwell"),
)
def missing_cell_reading_breaks_the_release(b: Passages) -> None:
    """No reading for long: blocked. Clear, one reading missing, clear: let go by the second dwell."""
    dwell_s = b.need_more("release_dwell_s", 0)
    calm_v = _blocked_by_cell(b)
    b.run(3 * dwell_s, cell_max_v=None)
    b.run(0.6 * dwell_s, cell_max_v=calm_v)
    b.run(0.1 * dwell_s, cell_max_v=None)
    b.release(cell_max_v=calm_v)
    b.charge()


@BOOK.recipe(
    "second-cause-joins",
    title="A second cause that trips while blocked must be clear too",
    why="Let go by the first cause alone, the pack would be charged in the cold.",
    requirements="PROTECT.releases PROTECT.release-held PROTECT.temperature-trips",
    negative="PROTECT.releases",
    features="cell_protection temperature_protection",
    settings=hut(),
    catches=("remembers only the cause that tripped first",),
)
def second_cause_joins(b: Passages) -> None:
    """Blocked by a cell; then too cold; the cell is clear for long: blocked; warm again: bulk."""
    s = b.settings
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    assert s.charge_min_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    calm_v = _blocked_by_cell(b)
    b.run(3 * s.trip_dwell_s + 5, temp_c=s.charge_min_c - 5)
    b.run(3 * s.release_dwell_s + 5, cell_max_v=calm_v)
    b.release(temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "second-cause-needs-its-dwell",
    title="A second cause joins only after its own trip dwell",
    why="A noisy sensor must not keep a pack blocked any more than it may block it.",
    requirements="PROTECT.releases",
    negative="PROTECT.temperature-held",
    features="cell_protection temperature_protection",
    settings=hut(trip_dwell_s=5, release_dwell_s=20),
    catches=("lets a second cause join at its first reading",),
)
def second_cause_needs_its_dwell(b: Passages) -> None:
    """Blocked by a cell that is clear again; a cold spike in the release dwell does not break it."""
    s = b.settings
    dwell_s = b.need_more("trip_dwell_s", 0)
    b.need(s.release_dwell_s > 3 * dwell_s, "release_dwell_s must be longer than trip_dwell_s")
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    assert s.charge_min_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c)
    calm_v = _blocked_by_cell(b)
    clear_from_s = b.clock_s
    b.run(0.2 * s.release_dwell_s, cell_max_v=calm_v)
    b.run(0.6 * dwell_s, temp_c=s.charge_min_c - 5)
    b.release(since_s=clear_from_s, temp_c=b.mild_c)
    b.charge()


@BOOK.recipe(
    "invalid-sample-in-the-release",
    title="An invalid sample does not break the release dwell",
    why="An invalid sample is skipped: it says nothing, neither good nor bad.",
    requirements="PROTECT.releases PROTECT.release-held TIME.invalid-skipped",
    negative="TIME.invalid-skipped",
    features="cell_protection",
    settings=pier(),
    catches=("starts the dwell again after an invalid sample", "believes what comes with it"),
)
def invalid_sample_in_the_release(b: Passages) -> None:
    """Clear; invalid samples with a cell over its limit; clear: let go as if they had not been."""
    s = b.settings
    dwell_s = b.need_more("release_dwell_s", 0)
    calm_v = _blocked_by_cell(b)
    clear_from_s = b.clock_s
    voltage_v = b.charging_v
    b.run(0.4 * dwell_s, cell_max_v=calm_v)
    b.run(min(0.2 * dwell_s, 0.5 * s.max_gap_s), v=None, cell_max_v=b.cell(0.05))
    b.release(since_s=clear_from_s, v=voltage_v, cell_max_v=calm_v)
    b.charge()


@BOOK.recipe(
    "no-reading",
    title="Without a valid reading for more than max_gap_s charging is blocked",
    why="A controller that sees nothing must not ask for current.",
    requirements="PROTECT.no-reading PROTECT.releases PROTECT.to-bulk REQUEST.current",
    settings=hut(),
    catches=("goes on with the last reading for ever", "blocks at the first invalid sample"),
)
def no_reading(b: Passages) -> None:
    """In bulk the voltage reads as missing for longer than max_gap_s: blocked; valid again: bulk."""
    b.charge()
    _lose_the_reading(b)
    b.run(10)
    b.release(v=b.charging_v)
    b.charge()


def _lose_the_reading(b: Passages) -> None:
    """From the clock on the voltage is missing, until charging is blocked."""
    b.begin_now()
    b.until(b.settings.max_gap_s, since_s=b.clock_s, v=None)
    b.expect("inhibited")


@BOOK.recipe(
    "no-reading-in-the-hold",
    title="Without a reading the hold is abandoned",
    why="What was not seen is not proved: after the release a whole hold is due.",
    requirements="PROTECT.no-reading PROTECT.to-bulk HOLD.full-length",
    negative="PROTECT.blocks-full FULL.at-hold-end",
    settings=pier(),
    catches=("goes back to absorption when the reading returns", "lets the hold timer run on"),
)
def no_reading_in_the_hold(b: Passages) -> None:
    """In the hold the voltage is missing until charging is blocked; then bulk, dwell, whole hold."""
    b.need(b.settings.hold_s > 2 * b.settings.max_gap_s, "hold_s must be longer than two max_gap_s")
    b.need_more("entry_dwell_s", 0)
    b.reach_absorption()
    b.hold(0.3)
    _lose_the_reading(b)
    b.run(5)
    b.release(v=b.held_v)
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "no-reading-from-the-start",
    title="A controller that never got a reading blocks charging after max_gap_s",
    why="Before the first valid sample the time runs from the first sample.",
    requirements="PROTECT.no-reading PROTECT.releases",
    settings=hut(),
    catches=("waits for a first reading for ever", "blocks charging at power-up"),
)
def no_reading_from_the_start(b: Passages) -> None:
    """Only invalid samples from the start: bulk, blocked after max_gap_s, let go when they are valid."""
    b.set(v=None)
    b.until(b.settings.max_gap_s)
    b.expect("inhibited")
    b.run(10)
    b.release(v=b.charging_v)
    b.charge()


@BOOK.recipe(
    "no-reading-for-a-while",
    title="Without a reading for less than max_gap_s nothing happens",
    why="A meter that drops out for a few seconds is no reason to stop.",
    requirements="HOLD.ends HOLD.full-length TIME.invalid-skipped",
    negative="PROTECT.no-reading TIME.gap-abandons-hold",
    settings=hut(),
    catches=("blocks at the first invalid sample", "stops the hold timer meanwhile"),
)
def no_reading_for_a_while(b: Passages) -> None:
    """In the hold the voltage is missing for seven tenths of max_gap_s: the hold ends on schedule."""
    gap_s = b.settings.max_gap_s
    b.need(b.settings.hold_s > 2 * gap_s, "hold_s must be longer than two max_gap_s")
    b.reach_absorption()
    b.hold(0.3)
    b.run(0.7 * gap_s, v=None)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "first-cause-must-clear-too",
    title="The cause that tripped first must be clear too",
    why="Let go by the last cause alone, the pack would be charged with a cell at its limit.",
    requirements="PROTECT.releases PROTECT.release-held PROTECT.temperature-trips",
    negative="PROTECT.release-held",
    features="cell_protection temperature_protection",
    settings=hut(),
    catches=("remembers only the cause that tripped last",),
)
def first_cause_must_clear_too(b: Passages) -> None:
    """Blocked by a cell, then by cold; warm, and the cell not yet clear: blocked; clear: bulk."""
    s = b.settings
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    assert s.charge_min_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c, cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(10)
    b.run(3 * s.trip_dwell_s + 5, temp_c=s.charge_min_c - 5)
    b.run(5, cell_max_v=round((s.cell_release_v + b.cell(0.0)) / 2, 6))
    b.run(3 * s.release_dwell_s + 5, temp_c=b.mild_c)
    b.release(cell_max_v=b.calm_cell_v)
    b.charge()


@BOOK.recipe(
    "second-cause-inside-its-band",
    title="The cause that tripped second must be clear by its band too",
    why="A second trip that is not remembered is one that comes back as soon as the charger is on.",
    requirements="PROTECT.releases PROTECT.release-held PROTECT.temperature-trips",
    negative="PROTECT.release-held",
    features="cell_protection temperature_protection",
    settings=hut(),
    catches=("remembers only the cause that tripped first",),
)
def second_cause_inside_its_band(b: Passages) -> None:
    """Blocked by a cell; then too cold; the cell clear, and warmer by half the band: blocked; mild: bulk."""
    s = b.settings
    b.need(s.charge_min_c is not None, "charge_min_c is none")
    assert s.charge_min_c is not None
    b.need_setting("compensation_v_per_c", 0.0)
    b.set(temp_c=b.mild_c, cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(10)
    b.run(3 * s.trip_dwell_s + 5, temp_c=s.charge_min_c - 5)
    b.run(5, cell_max_v=b.calm_cell_v)
    b.run(3 * s.release_dwell_s + 5, temp_c=s.charge_min_c + s.temp_band_c / 2)
    b.release(temp_c=b.mild_c)
    b.charge()
