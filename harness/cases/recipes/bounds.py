"""What can be believed, to the end of it, and the smallest step beyond. The group is `time`."""

from harness.cases.packs import hut
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("time")

_FLOWING_A = 50.0


def _believed_and_not(b: Passages, believed: dict[str, float], beyond: dict[str, float]) -> None:
    """Readings at a bound, which are counted, and just beyond it, which stop the count."""
    b.need(b.settings.max_gap_s > 6, "max_gap_s must be more than 6 s")
    b.charge()
    for readings in (believed, beyond, believed):
        b.run(4, **readings)
    b.set(v=b.charging_v, i=b.small_a)
    b.charge()


@BOOK.recipe(
    "voltage-at-its-bounds",
    title="A voltage at the bounds of what is believed is counted, 5 mV beyond it is not",
    why="The bounds belong to the range: a meter that ends there still measures.",
    requirements="TIME.invalid-skipped SOC.counts",
    negative="TIME.invalid-skipped",
    features="soc",
    settings=hut(plausible_v=(40.0, 58.0), entry_dwell_s=60),
    catches=("compares with < instead of <=", "a hidden margin at plausible_v"),
    tags="boundary",
)
def voltage_at_its_bounds(b: Passages) -> None:
    """The lowest voltage, 5 mV under it; the highest, 5 mV above it; the current flows all the while."""
    low_v, high_v = b.settings.plausible_v
    b.need_more("entry_dwell_s", 20)
    b.need_setting("empty_v", None)
    b.set(i=b.need_current(_FLOWING_A))
    for bound_v, beyond_v in ((low_v, -0.005), (high_v, 0.005)):
        _believed_and_not(b, {"v": bound_v}, {"v": round(bound_v + beyond_v, 6)})
        b.set(i=_FLOWING_A)


@BOOK.recipe(
    "current-at-its-bounds",
    title="A current at the bounds of what is believed is counted, 0.25 A beyond it is not",
    why="A shunt at the end of its range still measures; beyond it it shows what it shows.",
    requirements="TIME.invalid-skipped SOC.counts",
    negative="TIME.invalid-skipped",
    features="soc",
    settings=hut(plausible_i=(-150.0, 150.0)),
    catches=("compares with < instead of <=", "a hidden margin at plausible_i"),
    tags="boundary",
)
def current_at_its_bounds(b: Passages) -> None:
    """The largest current, 0.25 A above it; the lowest, 0.25 A under it."""
    low_a, high_a = b.settings.plausible_i
    for bound_a, beyond_a in ((high_a, 0.25), (low_a, -0.25)):
        _believed_and_not(b, {"i": bound_a}, {"i": bound_a + beyond_a})


@BOOK.recipe(
    "blind-while-blocked",
    title="Missing readings join as a cause while the charge is blocked already",
    why="A clock that jumps ahead and back shows a controller that was blind for a while.",
    requirements="PROTECT.release-held PROTECT.cell-trips",
    negative="PROTECT.release-held",
    features="cell_protection",
    settings=hut(),
    catches=("a dwell of the release that goes on over readings that were missing",),
    tags="boundary backward",
)
def blind_while_blocked(b: Passages) -> None:
    """Blocked by a cell, clear for half the release dwell, blind, and clear again for all of it."""
    s = b.settings
    dwell_s = b.need_more("release_dwell_s", 4)
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(4)
    from_s = b.run(0.5 * dwell_s, cell_max_v=b.calm_cell_v)
    volts = b.charging_v
    b.at(from_s + 2 * s.max_gap_s, v=None)
    b.at(from_s + 0.5, v=volts)
    b.until(dwell_s, since_s=from_s + 0.5)
    b.expect("bulk")
    b.charge()


@BOOK.recipe(
    "invalid-in-a-paused-hold",
    title="An invalid sample does not undo what a paused hold has counted",
    why="Skipped means skipped: the timer neither runs nor falls back.",
    requirements="TIME.invalid-skipped HOLD.sag-pauses HOLD.ends",
    negative="TIME.invalid-skipped",
    features="sag_pause",
    settings=hut(on_sag="pause"),
    catches=("an invalid reading puts the hold timer back",),
)
def invalid_in_a_paused_hold(b: Passages) -> None:
    """Three tenths of the hold, a sag with an invalid sample behind it, and the rest of the hold."""
    b.need_setting("on_sag", "pause")
    hold_s = b.settings.hold_s
    b.need(0.03 * hold_s < b.settings.max_gap_s, "max_gap_s is too short for this hold_s")
    b.reach_absorption()
    b.hold(0.3)
    sag_s = 0.1 * hold_s
    b.run(sag_s, v=b.charging_v)
    b.run(0.1 * hold_s, v=b.held_v)
    b.run(0.02 * hold_s, v=None)
    b.set(v=b.held_v)
    b.expire(late_s=sag_s)
    b.confirm()
    b.stay_in_float()
