"""What the schedule and the wait live through, and what ends float first. The group is `equalise`."""

from harness.cases.packs import flooded
from harness.cases.passages import Passages
from harness.cases.recipe import Book
from harness.cases.recipes.equalise import MILD_C, ready, whole

BOOK = Book("equalise")


def _starts_after(b: Passages, seconds: float, since_s: float) -> None:
    """Stay in float until a schedule or a wait is over, and one starts; go on to its end."""
    b.until(seconds, since_s=since_s)
    b.equalising_from_s = b.clock_s
    b.expect("equalisation")
    b.equalise(0.3)
    b.finish_equalising()
    b.stay_in_float(5)


def garbled(b: Passages) -> None:
    """One invalid sample between two good ones."""
    b.settle()
    b.skip(1.0)
    b.at(b.clock_s, v=None)
    b.skip(1.0)
    b.at(b.clock_s, v=b.charging_v)


@BOOK.recipe(
    "schedule-runs-on",
    title="The schedule runs on over invalid samples, a missing sensor and a gap",
    why="A month has more than one garbled reading.",
    requirements="EQUALISE.starts EQUALISE.due EQUALISE.time",
    features="equalisation",
    settings=flooded(equalisation_every_s=600),
    catches=("begins the schedule anew after a gap", "begins it anew at an invalid sample"),
)
def schedule_runs_on(b: Passages) -> None:
    """An invalid sample, no temperature for a while, a gap; one starts by the first sample's schedule."""
    every_s = b.need_more("equalisation_every_s", 0)
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C)
    b.charge(10)
    garbled(b)
    b.charge(5)
    b.set(temp_c=None)
    b.charge(5)
    b.set(temp_c=MILD_C)
    b.charge(5)
    b.begin_now()
    b.skip(2 * b.settings.max_gap_s)
    b.reach_float()
    b.need_float_room(every_s)
    _starts_after(b, every_s, 0.0)


@BOOK.recipe(
    "schedule-and-a-clock-set-back",
    title="A clock that is set back does not lengthen the schedule",
    why="What has elapsed has elapsed, whatever the clock shows.",
    requirements="EQUALISE.starts EQUALISE.due EQUALISE.time",
    features="equalisation",
    settings=flooded(equalisation_every_s=300),
    catches=("begins the schedule anew when the clock is set back", "adds the step to it"),
    tags="backward",
)
def schedule_and_a_clock_set_back(b: Passages) -> None:
    """20 s of bulk, a stamp 15.3 s back, a cycle; one starts as much earlier by the clock."""
    every_s = b.need_more("equalisation_every_s", 0)
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C)
    b.charge(20)
    b.begin_now()
    b.after(-15.3)
    b.reach_float()
    b.need_float_room(every_s)
    _starts_after(b, every_s, -15.3)


@BOOK.recipe(
    "schedule-and-a-loss-of-power",
    title="A loss of power begins the schedule anew",
    why="Nobody knows how long it was off: the clock is the one thing that did not run.",
    requirements="EQUALISE.starts EQUALISE.time",
    negative="EQUALISE.due",
    features="equalisation power_cycle",
    settings=flooded(equalisation_every_s=300),
    catches=("stores the schedule",),
)
def schedule_and_a_loss_of_power(b: Passages) -> None:
    """60 s of bulk, power is lost; one starts equalisation_every_s after the first sample since."""
    every_s = b.need_more("equalisation_every_s", 0)
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C)
    b.charge(60)
    b.begin_now()
    b.power_cycle()
    b.skip(2.0)
    since_s = b.clock_s
    b.begin_now()
    b.reach_float()
    b.need_float_room(every_s)
    _starts_after(b, every_s, since_s)


@BOOK.recipe(
    "scheduled-and-abandoned",
    title="One that was due by schedule and abandoned is tried again after the wait",
    why="It was not done: to wait for the next month would leave the cells apart.",
    requirements="EQUALISE.starts EQUALISE.heat EQUALISE.time SOC.no-jump",
    negative="EQUALISE.retry",
    features="equalisation soc",
    settings=flooded(equalisation_every_s=300),
    catches=("counts one that was abandoned as done", "sets the count to full by it"),
)
def scheduled_and_abandoned(b: Passages) -> None:
    """Some discharge in float; one by schedule, ended by heat; cool; a whole one after the wait."""
    every_s = b.need_more("equalisation_every_s", 0)
    retry_s = b.settings.equalisation_retry_s
    most_c = b.need_warm_room()
    ready(b)
    b.stay_in_float(5, i=-b.small_a)
    b.set(i=b.small_a)
    b.need_float_room(every_s)
    b.until(every_s, since_s=0.0)
    b.equalising_from_s = b.clock_s
    b.expect("equalisation")
    b.equalise(0.3)
    b.abandon(b.settings.trip_dwell_s, temp_max_c=most_c + 5.0)
    b.stay_in_float(10)
    b.set(temp_max_c=MILD_C)
    b.need_float_room(retry_s)
    _starts_after(b, retry_s, b.float_from_s)


@BOOK.recipe(
    "due-outside-float",
    title="Due by schedule in bulk, while inhibited and in the hold, it waits for float",
    why="It is for cells that are full; a hold knows nothing of its limits.",
    requirements="EQUALISE.starts HOLD.full-length PROTECT.releases FULL.granted",
    negative="EQUALISE.from-float HOLD.full-length",
    features="equalisation temperature_protection full_reset",
    settings=flooded(equalisation_every_s=30),
    catches=(
        "starts one from bulk by its schedule",
        "starts one from inhibited",
        "ends a hold by the limits of an equalisation",
    ),
)
def due_outside_float(b: Passages) -> None:
    """Bulk beyond the schedule; a trip and its release; a hold, warm and at rest for a part of it."""
    s = b.settings
    every_s = b.need_more("equalisation_every_s", 0)
    most_c = b.need_warm_room()
    b.need(s.charge_max_c is not None, "charge_max_c is none")
    assert s.charge_max_c is not None
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C, temp_max_c=MILD_C)
    b.charge(every_s + 10)
    b.trip(temp_max_c=s.charge_max_c + 5.0)
    b.run(10)
    b.release(temp_max_c=MILD_C)
    b.reach_absorption()
    b.hold(0.3)
    b.hold(0.5, v=b.held_v, temp_max_c=most_c + 1.0)
    b.hold(0.7, v=b.held_v, temp_max_c=MILD_C, i=-b.small_a)
    b.set(i=b.small_a)
    b.expire()
    b.confirm()
    whole(b)


@BOOK.recipe(
    "wait-runs-on",
    title="The wait runs on over an invalid sample and a step back, and another request",
    why="What was too warm a minute ago is too warm still, however often somebody asks.",
    requirements="EQUALISE.starts EQUALISE.loss EQUALISE.time",
    negative="EQUALISE.retry",
    features="equalisation",
    settings=flooded(),
    catches=(
        "starts at once when asked again",
        "lengthens the wait when the clock is set back",
        "forgets the wait at an invalid sample",
    ),
    tags="backward",
)
def wait_runs_on(b: Passages) -> None:
    """Abandoned; an invalid sample; 20 s back; a request; one starts when the wait is over."""
    s = b.settings
    b.need_more("equalisation_retry_s", 60)
    ready(b)
    b.request_equalisation()
    b.start_equalising()
    b.abandon(s.equalisation_loss_s, i=-b.small_a)
    abandoned_s = b.float_from_s
    b.set(i=b.small_a)
    b.stay_in_float(10)
    garbled(b)
    b.stay_in_float(20)
    b.begin_now()
    b.float_from_s = b.after(-20.0)
    b.stay_in_float(5)
    b.request_equalisation()
    b.need_float_room(s.equalisation_retry_s)
    _starts_after(b, s.equalisation_retry_s, abandoned_s - 20.0)


@BOOK.recipe(
    "float-ends-first",
    title="A low voltage ends float while one is due and cannot start",
    why="A battery that is being emptied needs charge first.",
    requirements="RETURN.low-voltage EQUALISE.starts EQUALISE.remembered EQUALISE.current",
    features="equalisation return_voltage",
    settings=flooded(),
    catches=("does not return to bulk while one is due",),
)
def float_ends_first(b: Passages) -> None:
    """Discharge in float, a request, a low voltage until bulk follows; a cycle; then it starts."""
    ready(b)
    b.set(i=-b.small_a)
    b.request_equalisation()
    b.stay_in_float(5)
    b.fall_low()
    b.set(i=b.small_a)
    b.charge(10)
    b.cycle()
    whole(b)


@BOOK.recipe(
    "limits-of-float",
    title="Neither the float timer nor a low count ends it",
    why="Those are reasons to charge again, and it charges already.",
    requirements="EQUALISE.time EQUALISE.whole EQUALISE.after RETURN.low-soc",
    negative="EQUALISE.whole EQUALISE.after",
    features="equalisation soc return_soc float_timer",
    settings=flooded(float_s=60, return_soc=0.98, capacity_ah=10),
    catches=("runs the float timer in it", "returns to bulk from it by a low count"),
)
def limits_of_float(b: Passages) -> None:
    """A heavy load for a part of it, longer than float_s: it lasts its time; then bulk by the count."""
    s = b.settings
    dwell_s = b.need_more("equalisation_loss_s", 0)
    return_soc = b.need_more("return_soc", 0, "")
    float_s = b.need_more("float_s", 0)
    b.need(s.equalisation_s > 1.2 * float_s, "equalisation_s must be longer than float_s")
    load_a = round(2 * 3600 * s.capacity_ah * (1 - return_soc) / (0.6 * dwell_s), 3)
    b.need_current(-load_a)
    ready(b)
    b.request_equalisation()
    b.start_equalising()
    b.equalise(0.3)
    b.run(0.6 * dwell_s, i=-load_a)
    b.set(i=b.small_a)
    b.finish_equalising()
    b.after(1.0)
    b.expect("bulk")
    b.charge(10)
