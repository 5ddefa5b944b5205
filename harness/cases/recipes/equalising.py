"""What ends an equalisation before its time, and what does not. The group is `equalise`."""

from harness.cases.packs import flooded
from harness.cases.passages import Passages
from harness.cases.recipe import Book
from harness.cases.recipes.equalise import MILD_C, ready

BOOK = Book("equalise")


def running(b: Passages) -> None:
    """An equalisation of which a third is over; the count stands a little under what it was set to."""
    ready(b)
    b.stay_in_float(5, i=-b.small_a)
    b.set(i=b.small_a)
    b.request_equalisation()
    b.start_equalising()
    b.equalise(0.3)


def tried_again(b: Passages) -> None:
    """The one that was abandoned is due still, and starts when it may."""
    retry_s = b.settings.equalisation_retry_s
    b.need_float_room(retry_s)
    b.until(retry_s, since_s=b.float_from_s)
    b.equalising_from_s = b.clock_s
    b.expect("equalisation")
    b.equalise(0.3)
    b.finish_equalising()
    b.stay_in_float(10)


@BOOK.recipe(
    "too-warm",
    title="Too warm while it runs: abandoned, and tried again later",
    why="Overcharge heats, heat lets more current flow: it must end before it feeds itself.",
    requirements="EQUALISE.heat EQUALISE.after EQUALISE.starts EQUALISE.time",
    negative="EQUALISE.retry",
    features="equalisation",
    settings=flooded(),
    catches=(
        "looks at the temperature at the start only",
        "looks at the coldest sensor",
        "starts again at once",
        "counts one that was abandoned as done",
        "goes on with the timer of the one before",
    ),
)
def too_warm(b: Passages) -> None:
    """The hottest sensor rises above the bound: float after the dwell; cool; a whole one later."""
    most_c = b.need_warm_room()
    running(b)
    b.abandon(b.settings.trip_dwell_s, temp_max_c=most_c + 5.0)
    b.stay_in_float(10)
    b.set(temp_max_c=MILD_C)
    tried_again(b)


@BOOK.recipe(
    "warm-spikes",
    title="Warm for less than the dwell: it goes on",
    why="A noisy sensor must not end what a month has waited for.",
    requirements="EQUALISE.time EQUALISE.whole",
    negative="EQUALISE.heat EQUALISE.whole",
    features="equalisation",
    settings=flooded(),
    catches=("ends at the first warm reading", "adds warm spikes up"),
)
def warm_spikes(b: Passages) -> None:
    """Three spikes of six tenths of the trip dwell; the equalisation lasts its time."""
    most_c = b.need_warm_room()
    dwell_s = b.need_more("trip_dwell_s", 0)
    b.need(b.settings.equalisation_s > 8 * dwell_s, "equalisation_s is too short")
    running(b)
    for _ in range(3):
        b.run(0.6 * dwell_s, temp_max_c=most_c + 5.0)
        b.run(0.6 * dwell_s, temp_max_c=MILD_C)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "temperature-lost",
    title="The sensor falls off while it runs: abandoned",
    why="A temperature that is not known is not within its bound.",
    requirements="EQUALISE.heat EQUALISE.after",
    negative="EQUALISE.retry",
    features="equalisation",
    settings=flooded(),
    catches=("goes on with the last temperature", "takes missing for 0 degrees C"),
)
def temperature_lost(b: Passages) -> None:
    """No temperature from a third on: float after the trip dwell; back again: not at once."""
    b.need_warm_room()
    running(b)
    b.abandon(b.settings.trip_dwell_s, temp_c=None)
    b.stay_in_float(10)
    b.set(temp_c=MILD_C)
    b.stay_in_float(0.5 * b.settings.equalisation_retry_s)


@BOOK.recipe(
    "current-lost",
    title="No charging current for long: abandoned, and tried again later",
    why="The sun is gone: what remains of the timer equalises nothing.",
    requirements="EQUALISE.loss EQUALISE.after EQUALISE.starts EQUALISE.time EQUALISE.retry",
    features="equalisation",
    settings=flooded(),
    catches=("runs out its timer at rest", "counts one that was abandoned as done"),
)
def current_lost(b: Passages) -> None:
    """Discharge from a third on: float after equalisation_loss_s; current; a whole one later."""
    running(b)
    b.abandon(b.settings.equalisation_loss_s, i=-b.small_a)
    b.stay_in_float(10)
    b.set(i=b.small_a)
    tried_again(b)


@BOOK.recipe(
    "at-rest",
    title="A current of 0 is no charging current",
    why="A charger that has switched off leaves the battery at rest.",
    requirements="EQUALISE.loss EQUALISE.after",
    negative="EQUALISE.retry",
    features="equalisation",
    settings=flooded(),
    catches=("takes a current of 0 for charging current",),
    tags="boundary",
)
def at_rest(b: Passages) -> None:
    """A current of exactly 0 from a third on: float after equalisation_loss_s."""
    running(b)
    b.abandon(b.settings.equalisation_loss_s, i=0.0)
    b.set(i=b.small_a)
    b.stay_in_float(0.5 * b.settings.equalisation_retry_s)


@BOOK.recipe(
    "current-dips-at-once",
    title="A dip of the current right after the start counts from there",
    why="The dwell of one stage must not go on in the next.",
    requirements="EQUALISE.time EQUALISE.whole",
    negative="EQUALISE.loss EQUALISE.whole",
    features="equalisation",
    settings=flooded(),
    catches=("counts a low voltage in float as time without current",),
    tags="boundary",
)
def current_dips_at_once(b: Passages) -> None:
    """A low voltage in float; it starts, and from the next sample on there is no current for a while."""
    dwell_s = b.need_more("equalisation_loss_s", 0)
    b.need(b.settings.return_dwell_s > 2 * dwell_s, "return_dwell_s is too short")
    ready(b)
    b.stay_in_float(0.8 * dwell_s, v=b.low_v)
    b.request_equalisation()
    b.start_equalising()
    b.at(b.clock_s + 1.0, i=-b.small_a)
    b.run(0.5 * dwell_s)
    b.set(i=b.small_a)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "current-dips",
    title="No current for less than the dwell: it goes on",
    why="A cloud, or a kettle, is no evening.",
    requirements="EQUALISE.time EQUALISE.whole",
    negative="EQUALISE.loss EQUALISE.whole",
    features="equalisation",
    settings=flooded(),
    catches=("ends at the first sample without current", "adds dips up"),
)
def current_dips(b: Passages) -> None:
    """Three dips of six tenths of the dwell; the equalisation lasts its time."""
    dwell_s = b.need_more("equalisation_loss_s", 0)
    b.need(b.settings.equalisation_s > 6 * dwell_s - 1e-9, "equalisation_s is too short")
    ready(b)
    b.request_equalisation()
    b.start_equalising()
    for _ in range(3):
        b.run(0.6 * dwell_s, i=-b.small_a)
        b.run(0.6 * dwell_s, i=b.small_a)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "voltage-sags",
    title="A low voltage does not end it",
    why="It is charged on for a time; how high the voltage gets is up to the charger.",
    requirements="EQUALISE.time EQUALISE.whole EQUALISE.asks",
    negative="EQUALISE.whole EQUALISE.asks",
    features="equalisation requests",
    settings=flooded(),
    catches=("returns to bulk from it like from float", "counts time at the voltage only"),
)
def voltage_sags(b: Passages) -> None:
    """Under return_v for a third of it, with charging current: it lasts its time."""
    running(b)
    b.equalise(0.6, v=b.low_v)
    b.set(v=b.charging_v)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "compensated",
    title="Its voltage shifts with the temperature like the others",
    why="-5 mV/degree C/cell: Harrington & Dunlop, IEEE AES Magazine, Aug 1992, p. 15.",
    requirements="EQUALISE.asks EQUALISE.starts EQUALISE.time",
    features="equalisation requests compensation",
    settings=flooded(),
    catches=("does not compensate it",),
)
def compensated(b: Passages) -> None:
    """One at 15 degrees C: what is asked for is higher by the shift."""
    b.need(b.settings.compensation_v_per_c != 0.0, "compensation_v_per_c must not be 0")
    b.need(b.settings.equalisation_v is not None, "equalisation_v is none")
    b.need_mild(15.0)
    b.set(temp_c=15.0)
    b.reach_float()
    b.stay_in_float(5)
    b.request_equalisation()
    b.start_equalising()
    b.equalise(0.5)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "invalid-sample",
    title="An invalid sample neither ends it nor stretches it",
    why="One garbled reading is no reason, and no time is lost by it either.",
    requirements="EQUALISE.time EQUALISE.whole TIME.invalid-skipped",
    negative="EQUALISE.whole EQUALISE.break",
    features="equalisation",
    settings=flooded(),
    catches=("ends it at an invalid sample", "stops the timer over it"),
)
def invalid_sample(b: Passages) -> None:
    """Two invalid samples in the middle: it ends in time."""
    running(b)
    b.begin_now()
    held_v = b.charging_v
    for _ in range(2):
        b.skip(1.0)
        b.at(b.clock_s, v=None)
    b.skip(1.0)
    b.at(b.clock_s, v=held_v)
    b.finish_equalising()
    b.stay_in_float(5)
