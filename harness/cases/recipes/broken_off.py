"""What breaks an equalisation off from outside: time, protection, power. The group is `equalise`."""

from harness.cases.packs import flooded
from harness.cases.passages import Passages
from harness.cases.recipe import Book
from harness.cases.recipes.equalise import MILD_C
from harness.cases.recipes.equalising import running, tried_again

BOOK = Book("equalise")


@BOOK.recipe(
    "gap",
    title="A gap ends it: abandoned at the sample after the gap",
    why="Nobody knows what happened meanwhile, and the timer cannot be trusted.",
    requirements="EQUALISE.break EQUALISE.after EQUALISE.starts EQUALISE.time",
    negative="EQUALISE.retry",
    features="equalisation",
    settings=flooded(),
    catches=("goes on after a gap", "counts the gap as time equalised"),
)
def gap(b: Passages) -> None:
    """No samples for twice max_gap_s: float at the next; a whole one later."""
    running(b)
    b.begin_now()
    b.float_from_s = b.after(2 * b.settings.max_gap_s)
    b.expect("float")
    b.stay_in_float(10)
    tried_again(b)


@BOOK.recipe(
    "clock-set-back",
    title="A clock that is set back ends it",
    why="A timer that starts anew each night would go on for ever.",
    requirements="EQUALISE.break EQUALISE.after",
    negative="EQUALISE.retry",
    features="equalisation",
    settings=flooded(),
    catches=("goes on after a step back", "lengthens the equalisation by the step"),
    tags="backward",
)
def clock_set_back(b: Passages) -> None:
    """A stamp 30 s back in the middle: float; the wait goes on from there."""
    running(b)
    b.begin_now()
    b.float_from_s = b.after(-30.0)
    b.expect("float")
    b.stay_in_float(0.5 * b.settings.equalisation_retry_s)


@BOOK.recipe(
    "protection-first",
    title="Protection trips in it: inhibited, and the request is kept",
    why="Protection comes before everything, and bulk comes after it.",
    requirements="PROTECT.temperature-trips PROTECT.to-bulk EQUALISE.starts EQUALISE.remembered",
    negative="EQUALISE.after",
    features="equalisation temperature_protection",
    settings=flooded(hold_s=150),
    catches=("does not watch the limits in it", "goes back to equalisation after the release"),
)
def protection_first(b: Passages) -> None:
    """Above charge_max_c in it: inhibited; mild: bulk; a whole cycle; then it is tried again."""
    s = b.settings
    b.need(s.charge_max_c is not None, "charge_max_c is none")
    assert s.charge_max_c is not None
    b.need(
        s.hold_s > s.equalisation_retry_s + s.release_dwell_s,
        "hold_s must be longer than equalisation_retry_s",
    )
    most_c = b.need_warm_room()
    b.need(s.charge_max_c > most_c, "charge_max_c must be above equalisation_max_c")
    running(b)
    b.trip(temp_max_c=s.charge_max_c + 5.0)
    b.run(20)
    b.release(temp_max_c=MILD_C)
    b.charge()
    b.cycle()
    b.start_equalising()
    b.equalise(0.3)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "cell-trips-in-it",
    title="A cell at its limit trips protection in it",
    why="The weakest cell is the first to reach its limit at this voltage.",
    requirements="PROTECT.cell-trips PROTECT.to-bulk EQUALISE.after",
    features="equalisation cell_protection",
    settings=flooded(cell_limit_v=2.7, cell_release_v=2.6),
    catches=("does not watch the cells in it", "leaves it for bulk with calm cells"),
)
def cell_trips_in_it(b: Passages) -> None:
    """Calm cells for a third of it, then one at its limit: inhibited; calm again: bulk."""
    b.set(cell_max_v=b.calm_cell_v)
    running(b)
    b.trip(cell_max_v=b.cell(0.05))
    b.run(10)
    b.release(cell_max_v=b.calm_cell_v)
    b.charge()


@BOOK.recipe(
    "no-reading",
    title="No valid reading for long: inhibited, and the wait counts from there",
    why="A battery that gasses must not be left alone with a meter that has died.",
    requirements="PROTECT.no-reading EQUALISE.after EQUALISE.starts EQUALISE.remembered",
    negative="EQUALISE.retry",
    features="equalisation",
    settings=flooded(hold_s=30, equalisation_retry_s=200),
    catches=("goes on without readings", "starts again as soon as float is reached"),
)
def no_reading(b: Passages) -> None:
    """Invalid samples for longer than max_gap_s: inhibited; valid again: bulk; float; the wait."""
    retry_s = b.settings.equalisation_retry_s
    running(b)
    b.begin_now()
    tripped_s = b.until(b.settings.max_gap_s, since_s=b.clock_s, v=None)
    b.expect("inhibited")
    b.run(10)
    b.release(v=b.charging_v)
    b.charge()
    b.cycle()
    b.need_float_room(retry_s)
    b.until(retry_s, since_s=tripped_s)
    b.equalising_from_s = b.clock_s
    b.expect("equalisation")
    b.equalise(0.3)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "power-lost",
    title="Power lost in it: bulk, and the request is forgotten",
    why="Nobody knows for how long it was off: an old request must not start one by itself.",
    requirements="POWER.starts-in-bulk EQUALISE.remembered",
    negative="EQUALISE.due EQUALISE.remembered",
    features="equalisation power_cycle",
    settings=flooded(),
    catches=("stores the request", "goes on with it after the loss of power"),
)
def power_lost(b: Passages) -> None:
    """Power is lost in the middle: bulk, a whole cycle, and float stays float."""
    running(b)
    b.begin_now()
    b.power_cycle()
    b.skip(2.0)
    b.begin_now()
    b.expect("bulk")
    b.cycle()
    b.stay_in_float(1.5 * b.settings.equalisation_retry_s)
