"""Requests at bad times: what they live through, and what they must not disturb. Group `equalise`."""

from harness.cases.packs import flooded
from harness.cases.passages import Passages
from harness.cases.recipe import Book
from harness.cases.recipes.equalise import MILD_C, ready, whole
from harness.cases.recipes.upkeep import garbled

BOOK = Book("equalise")
COLD_C = 15.0


@BOOK.recipe(
    "asked-and-a-bad-day",
    title="A request outlives invalid samples, a missing sensor, a gap and a clock that is set back",
    why="Somebody asked for it; nothing of that is a reason to forget it.",
    requirements="EQUALISE.starts EQUALISE.remembered EQUALISE.time REQUEST.compensated",
    features="equalisation requests compensation",
    settings=flooded(),
    catches=("forgets the request at a break in time", "forgets the temperature at a request"),
    tags="backward",
)
def asked_and_a_bad_day(b: Passages) -> None:
    """A request while the sensor is missing in the cold, then all of it; one starts after float."""
    b.need_mild(COLD_C)
    b.set(temp_c=COLD_C)
    b.charge(10)
    b.set(temp_c=None)
    b.charge(5)
    b.request_equalisation()
    b.charge(5)
    b.set(temp_c=COLD_C)
    b.charge(5)
    garbled(b)
    b.charge(5)
    b.begin_now()
    b.skip(2 * b.settings.max_gap_s)
    b.charge(20)
    b.begin_now()
    b.after(-15.3)
    b.charge(5)
    b.cycle()
    whole(b)


@BOOK.recipe(
    "asked-at-power-up",
    title="A loss of power forgets the wait; asked for before the first sample, one starts",
    why="Who switches it off and on, and asks again, means it.",
    requirements="EQUALISE.starts EQUALISE.remembered EQUALISE.loss POWER.starts-in-bulk",
    features="equalisation power_cycle",
    settings=flooded(equalisation_retry_s=1000),
    catches=("stores the wait", "forgets a request that comes before the first sample"),
)
def asked_at_power_up(b: Passages) -> None:
    """One is abandoned; power is lost; a request; a whole cycle, shorter than the wait; one starts."""
    s = b.settings
    b.need(
        s.equalisation_retry_s > s.hold_s + s.confirm_s + s.entry_dwell_s + 60.0,
        "equalisation_retry_s must be longer than a whole cycle",
    )
    ready(b)
    b.request_equalisation()
    b.start_equalising()
    b.abandon(s.equalisation_loss_s, i=-b.small_a)
    b.stay_in_float(10)
    b.set(i=b.small_a)
    b.begin_now()
    b.power_cycle()
    b.request_equalisation()
    b.skip(2.0)
    b.begin_now()
    b.expect("bulk")
    b.cycle()
    whole(b)


@BOOK.recipe(
    "asked-while-inhibited",
    title="Asked for while protection trips, holds and lets go, it disturbs none of that",
    why="A key must not get in the way of protection.",
    requirements="PROTECT.temperature-trips PROTECT.cell-trips PROTECT.releases EQUALISE.starts",
    negative="EQUALISE.from-float PROTECT.release-held",
    features="equalisation temperature_protection cell_protection",
    settings=flooded(cell_limit_v=2.7, cell_release_v=2.6, trip_dwell_s=10),
    catches=(
        "starts one from inhibited",
        "begins the trip dwell anew at a request",
        "lets go at a request",
    ),
)
def asked_while_inhibited(b: Passages) -> None:
    """A request in the trip dwell of a cell, one while inhibited, and the same by temperature."""
    s = b.settings
    b.need(s.charge_max_c is not None, "charge_max_c is none")
    assert s.charge_max_c is not None
    b.need_mild(MILD_C)
    dwell_s = b.need_more("trip_dwell_s", 0)
    calm = {"cell_max_v": b.calm_cell_v, "temp_max_c": MILD_C}
    b.set(temp_c=MILD_C, **calm)
    for tripping in ({"cell_max_v": b.cell(0.05)}, {"temp_max_c": s.charge_max_c + 5.0}):
        b.charge(10)
        since_s = b.clock_s
        b.run(0.6 * dwell_s, **tripping)
        b.request_equalisation()
        b.until(dwell_s, since_s=since_s)
        b.expect("inhibited")
        b.run(10)
        b.request_equalisation()
        b.run(10)
        since_s = b.clock_s
        b.run(0.5 * s.release_dwell_s, **calm)
        b.request_equalisation()
        b.release(since_s=since_s)
    b.charge()
    b.cycle()
    whole(b)


@BOOK.recipe(
    "asked-when-empty",
    title="Asked for on an empty pack, the empty rule goes on as it was",
    why="The count is set to 0 once, and a key does not make that twice.",
    requirements="SOC.empty SOC.no-jump SOC.counts",
    negative="SOC.empty",
    features="equalisation soc empty_reset",
    settings=flooded(empty_v=46.0),
    catches=("begins the empty dwell anew at a request", "empties the count twice"),
)
def asked_when_empty(b: Passages) -> None:
    """Under empty_v: a request in the dwell, the count is 0; charge; another request: it counts on."""
    s = b.settings
    b.need(s.equalisation_v is not None, "equalisation_v is none")
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C)
    b.charge(10)
    dwell_s = b.need_more("empty_dwell_s", 0)
    since_s = b.clock_s
    b.run(0.6 * dwell_s, v=b.empty_v, i=-b.small_a)
    b.request_equalisation()
    b.until(dwell_s, since_s=since_s)
    b.expect_empty()
    b.run(5, i=20 * b.small_a)
    b.run(20)
    b.request_equalisation()
    b.run(20)
    b.charge(10)


@BOOK.recipe(
    "asked-before-any-reading",
    title="Asked for before the first good reading, the silence is counted from where it began",
    why="A meter that is dead from the start is no better than one that dies.",
    requirements="PROTECT.no-reading PROTECT.releases",
    features="equalisation",
    settings=flooded(),
    catches=("begins to wait for a reading anew at a request",),
)
def asked_before_any_reading(b: Passages) -> None:
    """Invalid samples from the first on, a request among them: inhibited after max_gap_s."""
    b.need(b.settings.equalisation_v is not None, "equalisation_v is none")
    b.need_mild(MILD_C)
    b.set(temp_c=MILD_C, v=None)
    b.run(0.6 * b.settings.max_gap_s)
    b.request_equalisation()
    b.until(b.settings.max_gap_s, since_s=0.0)
    b.expect("inhibited")
    b.run(10)
    b.release(v=b.charging_v)
    b.charge()
