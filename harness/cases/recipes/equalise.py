"""When an equalisation starts, and when it does not. The group is `equalise`."""

from harness.cases.packs import flooded
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("equalise")
MILD_C = 25.0
HYDROGEN = "A battery that gasses makes hydrogen and heat: nothing may start that by mistake."


def ready(b: Passages) -> None:
    """Reach float at a mild temperature, with charging current."""
    b.need(b.settings.equalisation_v is not None, "equalisation_v is none")
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C, i=b.small_a)
    b.reach_float()
    b.stay_in_float(5)


def whole(b: Passages) -> None:
    """One equalisation from its start to its end, and some seconds of float."""
    b.start_equalising()
    b.equalise(0.5)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "on-request",
    title="Asked for in float, an equalisation starts, lasts its time, and ends in float",
    why="A flooded bank whose cells have drifted apart is charged on, for a limited time.",
    requirements="EQUALISE.starts EQUALISE.time EQUALISE.whole EQUALISE.after EQUALISE.asks "
    "EQUALISE.from-float EQUALISE.due",
    negative="EQUALISE.no-reset EQUALISE.allowed EQUALISE.current",
    features="equalisation requests full_reset",
    settings=flooded(),
    catches=(
        "never starts one",
        "ends it at once",
        "never ends it",
        "calls the pack full by it",
        "asks for absorption_v in it",
        "goes to bulk after it",
    ),
)
def on_request(b: Passages) -> None:
    """A request in float, equalisation_s at the voltage, then float, where no second one follows."""
    ready(b)
    b.request_equalisation()
    whole(b)
    b.stay_in_float(30)


@BOOK.recipe(
    "on-schedule",
    title="By schedule it starts when its time has come, and again after as long",
    why="Nobody asks for it in a hut that is empty in winter.",
    requirements="EQUALISE.starts EQUALISE.due EQUALISE.time EQUALISE.after",
    negative="EQUALISE.due",
    features="equalisation",
    settings=flooded(equalisation_every_s=300),
    catches=(
        "ignores the schedule",
        "starts as soon as float is reached",
        "counts the schedule from the start of the last one",
        "equalises once only",
    ),
)
def on_schedule(b: Passages) -> None:
    """Float until equalisation_every_s after the first sample; one; as long again after its end."""
    every_s = b.need_more("equalisation_every_s", 0)
    b.need(b.settings.hold_s < 0.8 * every_s, "hold_s is too long beside equalisation_every_s")
    ready(b)
    for since_s in (0.0, None):
        b.need_float_room(every_s)
        b.until(every_s, since_s=b.float_from_s if since_s is None else since_s)
        b.equalising_from_s = b.clock_s
        b.expect("equalisation")
        b.equalise(0.5)
        b.finish_equalising()
        b.stay_in_float(5)


@BOOK.recipe(
    "waits-for-float",
    title="Asked for in bulk, it waits until the pack has been charged",
    why="Equalisation is for cells that are full: on others it is an overcharge of the strong ones.",
    requirements="EQUALISE.starts EQUALISE.remembered HOLD.full-length",
    negative="EQUALISE.from-float",
    features="equalisation",
    settings=flooded(),
    catches=("starts one from bulk", "starts one from absorption", "forgets the request"),
)
def waits_for_float(b: Passages) -> None:
    """A request in bulk; a whole cycle; the equalisation starts on the sample after float."""
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C)
    b.charge(10)
    b.request_equalisation()
    b.charge(10)
    b.cycle()
    whole(b)


@BOOK.recipe(
    "asked-in-the-hold",
    title="Asked for in the hold, the hold goes on to its end first",
    why="A hold that is cut short proves nothing.",
    requirements="EQUALISE.starts EQUALISE.no-reset HOLD.full-length FULL.granted",
    negative="EQUALISE.from-float",
    features="equalisation full_reset",
    settings=flooded(),
    catches=("starts one from absorption", "gives up the full reset for it"),
)
def asked_in_the_hold(b: Passages) -> None:
    """A request in the middle of the hold; the full reset; then the equalisation."""
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C)
    b.reach_absorption()
    b.hold(0.5)
    b.request_equalisation()
    b.hold(0.8)
    b.expire()
    b.confirm()
    whole(b)


@BOOK.recipe(
    "never-where-it-is-forbidden",
    title="Without equalisation_v there is none, whoever asks",
    why="Gel, AGM and lithium cells are destroyed by it: there must be no way into it.",
    requirements="FLOAT.stays EQUALISE.allowed",
    features="equalisation",
    settings=flooded(equalisation_v=None, equalisation_every_s=30),
    catches=(
        "has a default voltage for it",
        "obeys a request in any case",
        "obeys a schedule alone",
    ),
)
def never_where_it_is_forbidden(b: Passages) -> None:
    """A request in bulk and one in float, and a schedule that would be due: float stays float."""
    b.need_setting("equalisation_v", None)
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C)
    b.charge()
    b.request_equalisation()
    b.reach_float()
    b.stay_in_float(10)
    b.request_equalisation()
    b.stay_in_float(60)


@BOOK.recipe(
    "too-warm-to-start",
    title="Above equalisation_max_c none is started; cooler, it is",
    why="A warm battery that is overcharged warms itself further.",
    requirements="EQUALISE.starts EQUALISE.remembered EQUALISE.cool",
    features="equalisation",
    settings=flooded(),
    catches=("looks at the temperature only once it runs", "looks at the coldest sensor"),
)
def too_warm_to_start(b: Passages) -> None:
    """The hottest sensor 5 degrees above the bound, the coldest mild: nothing; cooler: it starts."""
    most_c = b.need_warm_room()
    ready(b)
    b.set(temp_max_c=most_c + 5.0)
    b.request_equalisation()
    b.stay_in_float(30)
    b.start_equalising(temp_max_c=MILD_C)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "no-temperature-no-start",
    title="Without a temperature none is started",
    why="A bound that nobody can check is no bound.",
    requirements="EQUALISE.starts",
    negative="EQUALISE.cool",
    features="equalisation",
    settings=flooded(),
    catches=("takes a missing temperature for a mild one",),
)
def no_temperature_no_start(b: Passages) -> None:
    """A request while the sensor is missing: nothing; it is back: the equalisation starts."""
    b.need_warm_room()
    ready(b)
    b.set(temp_c=None)
    b.request_equalisation()
    b.stay_in_float(30)
    b.start_equalising(temp_c=MILD_C)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "without-a-temperature-bound",
    title="Where no bound is set, no temperature is needed",
    why="None means off: what is off must not block anything.",
    requirements="EQUALISE.starts EQUALISE.time",
    negative="EQUALISE.heat",
    features="equalisation",
    settings=flooded(equalisation_max_c=None),
    catches=("compares with a bound that is none",),
)
def without_a_temperature_bound(b: Passages) -> None:
    """No temperature column at all: a request, and the whole equalisation."""
    b.need_setting("equalisation_max_c", None)
    b.reach_float()
    b.stay_in_float(5)
    b.request_equalisation()
    whole(b)


@BOOK.recipe(
    "at-the-bound-itself",
    title="At equalisation_max_c itself it starts, and goes on",
    why="Bounds are included.",
    requirements="EQUALISE.starts EQUALISE.whole",
    negative="EQUALISE.heat",
    features="equalisation",
    settings=flooded(),
    catches=("compares with < instead of <=",),
    tags="boundary",
)
def at_the_bound_itself(b: Passages) -> None:
    """The hottest sensor at the bound to the last bit: a whole equalisation."""
    most_c = b.need_warm_room()
    ready(b)
    b.set(temp_max_c=most_c)
    b.request_equalisation()
    whole(b)


@BOOK.recipe(
    "a-tenth-above-the-bound",
    title="A tenth of a degree above equalisation_max_c it does not start, and ends",
    why="A bound is a bound.",
    requirements="EQUALISE.starts EQUALISE.heat EQUALISE.cool",
    features="equalisation",
    settings=flooded(),
    catches=("rounds the temperature to whole degrees", "adds a band to the bound"),
    tags="boundary",
)
def a_tenth_above_the_bound(b: Passages) -> None:
    """A tenth above: nothing; at the bound: it starts; a tenth above again: abandoned."""
    most_c = b.need_warm_room()
    ready(b)
    b.set(temp_max_c=round(most_c + 0.1, 3))
    b.request_equalisation()
    b.stay_in_float(20)
    b.start_equalising(temp_max_c=most_c)
    b.equalise(0.3)
    b.abandon(b.settings.trip_dwell_s, temp_max_c=round(most_c + 0.1, 3))
    b.stay_in_float(10)


@BOOK.recipe(
    "no-current-no-start",
    title="None is started while no charging current flows",
    why="At night the timer would run out with the battery at rest, and nothing would be equalised.",
    requirements="EQUALISE.starts EQUALISE.current",
    features="equalisation",
    settings=flooded(),
    catches=("starts one at night", "takes a load for charging current"),
)
def no_current_no_start(b: Passages) -> None:
    """A request while the pack is discharged, then at rest: nothing; current: it starts."""
    ready(b)
    b.set(i=-b.small_a)
    b.request_equalisation()
    b.stay_in_float(20)
    b.stay_in_float(20, i=0.0)
    b.start_equalising(i=b.small_a)
    b.finish_equalising()
    b.stay_in_float(5)


@BOOK.recipe(
    "asked-twice",
    title="Asked for again while one runs, there is one only",
    why=HYDROGEN,
    requirements="EQUALISE.starts EQUALISE.time",
    negative="EQUALISE.due EQUALISE.starts EQUALISE.time",
    features="equalisation",
    settings=flooded(),
    catches=("queues requests", "starts the timer anew at a request"),
)
def asked_twice(b: Passages) -> None:
    """A request; another in the middle of the equalisation; it ends in time, and float stays."""
    ready(b)
    b.request_equalisation()
    b.start_equalising()
    b.equalise(0.5)
    b.request_equalisation()
    b.finish_equalising()
    b.stay_in_float(30)


@BOOK.recipe(
    "asked-again-afterwards",
    title="Asked for again after one is completed, another starts at once",
    why="The wait is for those that were abandoned; who asks twice wants it twice.",
    requirements="EQUALISE.starts EQUALISE.time EQUALISE.after",
    negative="EQUALISE.due",
    features="equalisation",
    settings=flooded(),
    catches=("waits after one that was completed", "takes one request in all"),
)
def asked_again_afterwards(b: Passages) -> None:
    """A whole equalisation, some seconds of float, another request, another equalisation."""
    ready(b)
    b.request_equalisation()
    whole(b)
    b.request_equalisation()
    whole(b)
