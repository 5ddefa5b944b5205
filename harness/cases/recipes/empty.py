"""What an empty pack does to the count. The vectors belong to the group `soc`."""

from harness.cases.packs import hut, lead_acid, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("soc")


@BOOK.recipe(
    "empty",
    title="A voltage at or under empty_v for the dwell sets the count to 0",
    why="At the bottom of the curve the voltage does tell the charge.",
    requirements="SOC.empty",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("never resets to 0", "resets at the first low sample"),
)
def empty(b: Passages) -> None:
    """In bulk the voltage falls under empty_v and stays there: 0 after empty_dwell_s."""
    b.set(i=-b.small_a)
    b.soc = 0.3
    b.charge()
    b.until(b.settings.empty_dwell_s, v=b.empty_v)
    b.expect_empty()
    b.run(10)
    b.begin_now()
    b.expect_soc(0.0, 0.0)


@BOOK.recipe(
    "empty-too-short",
    title="Short visits under empty_v do not touch the count",
    why="A heavy load pulls the voltage down for seconds; the pack is far from empty.",
    requirements="SOC.no-jump",
    negative="SOC.empty SOC.no-jump",
    features="soc empty_reset",
    settings=pier(empty_v=22.4),
    catches=("resets at the first low sample", "adds the visits up"),
)
def empty_too_short(b: Passages) -> None:
    """Three visits of six tenths of the dwell under empty_v, without current: the count stays."""
    dwell_s = b.need_more("empty_dwell_s", 0)
    b.soc = 0.3
    b.set(i=0.0)
    b.charge()
    for _ in range(3):
        b.run(0.6 * dwell_s, v=b.empty_v)
        b.run(0.3 * dwell_s, v=b.charging_v)
    b.begin_now()
    b.expect_soc(0.3, 0.0)


@BOOK.recipe(
    "empty-once",
    title="The count is set to 0 once until the voltage has been above empty_v again",
    why="While the pack charges up from empty its voltage is low, and what flows in counts.",
    requirements="SOC.empty SOC.counts",
    negative="SOC.empty",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("sets the count to 0 at every low sample", "never does it a second time"),
)
def empty_once(b: Passages) -> None:
    """Set to 0; charged under empty_v: counts up; up and down again: set to 0 a second time."""
    s = b.settings
    dwell_s = b.need_more("empty_dwell_s", 0)
    coulombs = 3600 * s.capacity_ah
    i = b.need_current(0.2 * s.capacity_ah)
    b.need(s.soc_ceiling * coulombs > 5 * dwell_s * i, "soc_ceiling is too low")
    b.soc = 0.3
    b.set(i=-b.small_a)
    b.charge()
    b.until(dwell_s, v=b.empty_v)
    b.expect_empty()
    b.after(0.05, i=i)
    b.run(3 * dwell_s)
    b.begin_now()
    b.expect_soc(
        3 * dwell_s * i * s.charge_efficiency / coulombs, (i + b.small_a) * 0.05 / coulombs
    )
    b.run(5, v=b.charging_v)
    b.until(dwell_s, v=b.empty_v)
    b.expect_empty()


@BOOK.recipe(
    "empty-across-stages",
    title="The empty dwell runs on across a change of stage",
    why="The pack does not fill up because its controller changes the stage.",
    requirements="SOC.empty RETURN.low-voltage",
    features="soc empty_reset return_voltage",
    settings=hut(empty_v=44.8, return_dwell_s=12, empty_dwell_s=20),
    catches=("starts the empty dwell again with the stage", "resets in bulk only"),
)
def empty_across_stages(b: Passages) -> None:
    """Under empty_v from float on: bulk by low voltage first, then the dwell of empty ends."""
    s = b.settings
    b.need(
        0 < 1.5 * s.return_dwell_s < s.empty_dwell_s,
        "empty_dwell_s must be longer than return_dwell_s",
    )
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.set(i=-b.small_a)
    b.run(5)
    low_from_s = b.clock_s
    b.fall_low(b.empty_v)
    b.until(s.empty_dwell_s, since_s=low_from_s)
    b.expect_empty()


@BOOK.recipe(
    "empty-in-float",
    title="The empty rule works in float too",
    why="A pack in float can be used up before it has returned to bulk.",
    requirements="SOC.empty FLOAT.stays",
    features="soc empty_reset",
    settings=pier(empty_v=22.4),
    catches=("looks for an empty pack in bulk only",),
)
def empty_in_float(b: Passages) -> None:
    """Under empty_v in float: the count is set to 0 before the dwell of the return has passed."""
    s = b.settings
    b.need_setting("return_soc", None)
    b.need(
        s.return_dwell_s > 1.5 * s.empty_dwell_s, "return_dwell_s must be longer than empty_dwell_s"
    )
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v, i=-b.small_a)
    b.need_float_room(s.empty_dwell_s)
    b.until(s.empty_dwell_s, v=b.empty_v)
    b.expect_empty()


@BOOK.recipe(
    "exactly-empty",
    title="A voltage equal to empty_v is empty",
    why="At or under: bounds are included.",
    requirements="SOC.empty",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("compares with < instead of <=",),
    tags="boundary",
)
def exactly_empty(b: Passages) -> None:
    """The voltage stands at empty_v to the last bit: 0 after the dwell."""
    empty_v = b.settings.empty_v
    b.need(empty_v is not None, "empty_v is none")
    b.set(i=-b.small_a)
    b.soc = 0.3
    b.charge()
    b.until(b.settings.empty_dwell_s, v=empty_v)
    b.expect_empty()


@BOOK.recipe(
    "empty-is-off",
    title="Without empty_v no voltage sets the count to 0",
    why="None means off.",
    requirements="SOC.no-jump",
    negative="SOC.empty SOC.no-jump",
    features="soc",
    settings=hut(),
    catches=("takes none for a default value", "takes none for zero or the lowest voltage"),
)
def empty_is_off(b: Passages) -> None:
    """A minute at the lowest believable voltages, without current: the count stays."""
    b.need_setting("empty_v", None)
    b.soc = 0.3
    b.set(i=0.0)
    b.charge()
    b.run(60, v=b.settings.plausible_v[0] + 0.1 * b.settings.cells)
    b.begin_now()
    b.expect_soc(0.3, 0.0)


@BOOK.recipe(
    "empty-is-not-compensated",
    title="empty_v does not move with the temperature",
    why="Six voltages are compensated; empty_v is none of them.",
    requirements="SOC.no-jump REQUEST.compensated",
    negative="SOC.empty SOC.no-jump",
    features="soc empty_reset compensation requests",
    settings=lead_acid(4, empty_v=7.0),
    catches=("compensates every voltage of the settings",),
)
def empty_is_not_compensated(b: Passages) -> None:
    """In the cold, between empty_v and what it would be if it moved too: the count stays."""
    s = b.settings
    b.need(s.compensation_v_per_c < 0, "compensation_v_per_c must be negative")
    b.need(s.charge_min_c is None, "charge_min_c must be none")
    b.need(s.empty_v is not None, "empty_v is none")
    assert s.empty_v is not None
    b.set(temp_c=s.reference_c - 25, i=0.0)
    level_v = round(s.empty_v - 12.5 * s.compensation_v_per_c, 6)
    b.need(s.empty_v + 0.02 < level_v < b.charging_v, "the shift does not fit")
    b.soc = 0.3
    b.charge()
    b.run(3 * s.empty_dwell_s + 5, v=level_v)
    b.begin_now()
    b.expect_soc(0.3, 0.0)


@BOOK.recipe(
    "empty-while-blocked",
    title="The empty rule works while charging is blocked",
    why="A blocked pack is still used: it can run empty before it is let go.",
    requirements="SOC.empty PROTECT.cell-trips",
    features="soc empty_reset cell_protection",
    settings=pier(empty_v=22.4),
    catches=("looks for an empty pack only while charging is allowed",),
)
def empty_while_blocked(b: Passages) -> None:
    """Blocked by a cell, then under empty_v: the count is set to 0, charging stays blocked."""
    b.set(cell_max_v=b.calm_cell_v, i=-b.small_a)
    b.soc = 0.3
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(10)
    b.until(b.settings.empty_dwell_s, v=b.empty_v)
    b.expect_empty()
    b.run(5)


@BOOK.recipe(
    "gap-restarts-the-empty-dwell",
    title="A gap starts the empty dwell again",
    why="One low reading before a gap and one after it are no voltage that stood.",
    requirements="SOC.empty SOC.no-jump",
    negative="SOC.empty TIME.gap-restarts-dwell",
    features="soc empty_reset",
    settings=hut(empty_v=44.8),
    catches=("takes the gap for time under empty_v",),
)
def gap_restarts_the_empty_dwell(b: Passages) -> None:
    """Under empty_v, a gap, under it: the count is set to 0 one dwell after the gap, not before."""
    dwell_s = b.need_more("empty_dwell_s", 0)
    b.set(i=0.0)
    b.soc = 0.3
    b.charge()
    b.run(0.5 * dwell_s, v=b.empty_v)
    b.begin_now()
    b.skip(2 * b.settings.max_gap_s)
    from_s = b.clock_s
    b.run(0.5 * dwell_s)
    b.begin_now()
    b.expect_soc(0.3, 0.0)
    b.until(dwell_s, since_s=from_s)
    b.expect_empty()
