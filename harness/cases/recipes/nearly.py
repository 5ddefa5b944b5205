"""A sag and a taper of the smallest amount that must be seen. The group is `hold`."""

from harness.cases.packs import hut
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("hold")


@BOOK.recipe(
    "sag-of-three-millivolts",
    title="A sag of 3 mV is a sag",
    why="A hidden margin at sag_v counts time that the pack has not spent at its voltage.",
    requirements="HOLD.sag-pauses",
    negative="HOLD.sag-pauses",
    features="sag_pause",
    settings=hut(on_sag="pause", sag_v=55.7),
    catches=("a hidden margin under sag_v", "reads another voltage for sag_v"),
    tags="boundary",
)
def sag_of_three_millivolts(b: Passages) -> None:
    """Half of the hold, then 3 mV under sag_v for as long again, then the other half."""
    s = b.settings
    b.need_setting("on_sag", "pause")
    b.need(s.sag_v is not None, "sag_v is none")
    assert s.sag_v is not None
    b.reach_absorption()
    b.hold(0.4)
    sag_s = 0.8 * s.hold_s
    b.run(sag_s, v=round(s.sag_v - 0.003, 6))
    b.set(v=b.held_v)
    b.expire(late_s=sag_s)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "taper-beside",
    title="A current 0.3 A beyond taper_a denies",
    why="A hidden margin at the taper calls a pack full that still takes current.",
    requirements="FULL.denied HOLD.full-length",
    negative="FULL.at-hold-end",
    features="taper full_reset",
    settings=hut(taper_a=14),
    catches=("a hidden margin at taper_a",),
    tags="boundary",
)
def taper_beside(b: Passages) -> None:
    """At the end of the hold the current is 0.3 A more than taper_a, and stays so: float without a reset."""
    taper_a = b.need_more("taper_a", 0, "A")
    b.need_setting("on_unconfirmed", "float")
    b.reach_absorption()
    b.hold(0.5)
    b.expire(v=b.held_v, i=taper_a + 0.3)
    b.expect("float")
    b.run(10)


@BOOK.recipe(
    "blocked-while-the-voltage-stands",
    title="The entry dwell does not count for the release",
    why="One variable for two dwells lets go at once.",
    requirements="PROTECT.release-held PROTECT.cell-trips",
    negative="PROTECT.release-held",
    features="cell_protection",
    settings=hut(entry_dwell_s=30, trip_dwell_s=0, release_dwell_s=15),
    catches=("one variable for the dwells of two stages",),
    tags="boundary",
)
def blocked_while_the_voltage_stands(b: Passages) -> None:
    """In the entry dwell a cell trips for one sample: blocked until the whole release dwell is over."""
    s = b.settings
    b.need_setting("trip_dwell_s", 0.0)
    b.need(s.entry_dwell_s > 1.5 * s.release_dwell_s > 0, "entry_dwell_s must be longer")
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.run(0.8 * s.entry_dwell_s, v=b.held_v)
    b.begin_now()
    b.at(b.clock_s + 1.0, cell_max_v=b.cell(0.05))
    b.expect("inhibited")
    from_s = b.clock_s + 1.0
    b.at(from_s, cell_max_v=b.calm_cell_v, v=b.charging_v)
    b.until(s.release_dwell_s, since_s=from_s)
    b.expect("bulk")
    b.charge()


@BOOK.recipe(
    "other-cause-while-let-go",
    title="A trip dwell that runs goes on over a release",
    why="To be let go by one cause is no reason for another to begin anew.",
    requirements="PROTECT.temperature-trips PROTECT.cell-trips PROTECT.releases",
    features="cell_protection temperature_protection",
    settings=hut(trip_dwell_s=20, release_dwell_s=10),
    catches=("forgets the other dwell when protection lets go",),
)
def other_cause_while_let_go(b: Passages) -> None:
    """Cell high before the release of the cold: it trips in time; and the other way round."""
    s = b.settings
    b.need_setting("compensation_v_per_c", 0.0)
    b.need(s.trip_dwell_s > 1.5 * s.release_dwell_s > 0, "trip_dwell_s must be longer")
    low_c = s.charge_min_c
    b.need(low_c is not None, "charge_min_c is none")
    assert low_c is not None
    b.set(temp_c=b.mild_c, cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(temp_c=low_c - 5.0)
    clear_s = b.run(5)
    b.run(0.4 * s.release_dwell_s, temp_c=b.mild_c)
    high_s = b.clock_s
    b.set(cell_max_v=b.cell(0.05))
    b.until(s.release_dwell_s, since_s=clear_s)
    b.expect("bulk")
    b.until(s.trip_dwell_s, since_s=high_s)
    b.expect("inhibited")
    clear_s = b.run(5)
    b.run(0.4 * s.release_dwell_s, cell_max_v=b.calm_cell_v)
    cold_s = b.clock_s
    b.set(temp_c=low_c - 5.0)
    b.until(s.release_dwell_s, since_s=clear_s)
    b.expect("bulk")
    b.until(s.trip_dwell_s, since_s=cold_s)
    b.expect("inhibited")
    b.run(5)


@BOOK.recipe(
    "blind-before-and-after-a-loss-of-power",
    title="How long a meter has been silent is counted from the last start",
    why="After a loss of power a meter may take its time once more.",
    requirements="POWER.starts-in-bulk POWER.forgets TIME.invalid-skipped",
    negative="TIME.invalid-skipped",
    features="power_cycle",
    settings=hut(),
    catches=("counts the silence from before the loss of power",),
)
def blind_before_and_after_a_loss_of_power(b: Passages) -> None:
    """Without a valid reading, a loss of power, and again without one for less than max_gap_s."""
    max_gap_s = b.settings.max_gap_s
    for k in range(3):
        b.at(0.25 * max_gap_s * k, v=None)
    b.power_cycle()
    for k in range(3, 6):
        b.at(0.25 * max_gap_s * k, v=None)
    b.at(1.5 * max_gap_s, v=b.charging_v)
    b.skip(1.0)
    b.charge()
