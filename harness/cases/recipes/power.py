"""What a loss of power costs, and what it does not."""

from harness.cases.packs import hut, lead_acid, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("power")


def _lose_power(b: Passages, seconds: float = 2.0, **readings: float | None) -> None:
    """Power is lost; the first sample after it comes `seconds` after the last one."""
    b.begin_now()
    b.set(**readings)
    b.power_cycle()
    b.skip(seconds)
    b.begin_now()


@BOOK.recipe(
    "in-the-hold",
    title="Power lost in the hold: bulk, dwell, and a whole new hold",
    why="A hold that was interrupted proves nothing; a stage that survives is a proof from nowhere.",
    requirements="POWER.starts-in-bulk POWER.forgets HOLD.full-length FULL.granted",
    negative="POWER.forgets HOLD.ends",
    features="power_cycle",
    settings=hut(),
    catches=("stores the stage", "stores the hold timer", "lets the entry dwell survive"),
)
def in_the_hold(b: Passages) -> None:
    """Power is lost in the middle of the hold for a moment, the voltage stays up."""
    b.need_more("entry_dwell_s", 0)
    b.reach_absorption()
    b.hold(0.6)
    _lose_power(b)
    b.expect("bulk")
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "in-float",
    title="Power lost in float: bulk",
    why="The controller does not know how long it was off: it starts where every charge starts.",
    requirements="POWER.starts-in-bulk POWER.forgets",
    negative="FLOAT.stays POWER.starts-in-bulk",
    features="power_cycle",
    settings=pier(),
    catches=("goes on in float",),
)
def in_float(b: Passages) -> None:
    """Power is lost in float at rest."""
    b.reach_float()
    b.stay_in_float(20, v=b.charging_v)
    _lose_power(b)
    b.expect("bulk")
    b.charge(20)


@BOOK.recipe(
    "keeps-the-count",
    title="The count survives, and the first sample after it adds nothing",
    why="A pack that forgets its charge at every loss of power is useless as a gauge.",
    requirements="POWER.keeps-soc SOC.counts",
    negative="POWER.keeps-soc SOC.no-jump",
    features="soc power_cycle",
    settings=hut(),
    catches=(
        "goes back to the starting count",
        "stores the count only now and then",
        "counts over the time without power",
    ),
)
def keeps_the_count(b: Passages) -> None:
    """Charge, lose power for ten seconds, charge: both stretches count, the time between does not."""
    s = b.settings
    b.need(s.soc_ceiling > 0.4, "soc_ceiling must be more than 0.4")
    b.soc = 0.3
    i = b.need_current(0.2 * s.capacity_ah)
    first = 0.3 + 100 * i * s.charge_efficiency / (3600 * s.capacity_ah)
    b.run(100, v=b.charging_v, i=i)
    b.begin_now()
    b.expect_soc(first)
    _lose_power(b, min(10.0, 0.5 * s.max_gap_s))
    b.expect_soc(first)
    b.run(100)
    b.begin_now()
    b.expect_soc(0.3 + 200 * i * s.charge_efficiency / (3600 * s.capacity_ah))


@BOOK.recipe(
    "keeps-a-full-count",
    title="A count of 1 after a full reset survives too",
    why="The reset is worth nothing if it is lost with the next loss of power.",
    requirements="POWER.keeps-soc POWER.starts-in-bulk FULL.sets-one",
    negative="POWER.keeps-soc",
    features="soc full_reset power_cycle",
    settings=pier(),
    catches=("stores the count before the reset", "pulls the count down to soc_ceiling"),
)
def keeps_a_full_count(b: Passages) -> None:
    """Full reset, and power is lost right after that sample."""
    b.set(i=0.0)
    b.reach_float()
    _lose_power(b, v=b.charging_v)
    b.expect("bulk")
    b.expect_soc(1.0, 0.0)
    b.charge(10)
    b.begin_now()
    b.expect_soc(1.0, 0.0)


@BOOK.recipe(
    "forgets-the-dwell",
    title="A dwell does not survive",
    why="Time without power is time in which nothing was seen.",
    requirements="POWER.forgets ENTRY.held-long-enough ENTRY.not-late",
    negative="ENTRY.held-long-enough",
    features="power_cycle",
    settings=hut(entry_dwell_s=20),
    catches=("lets the entry dwell survive",),
)
def forgets_the_dwell(b: Passages) -> None:
    """Power is lost after six tenths of the entry dwell: the dwell counts from the first sample after."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    b.charge()
    b.run(0.6 * dwell_s, v=b.held_v)
    _lose_power(b)
    b.enter()
    b.hold(0.1)


@BOOK.recipe(
    "forgets-the-trip",
    title="A trip does not survive, but trips again after its dwell",
    why="After power-up protection sees for itself whether the cell is still too high.",
    requirements="POWER.forgets POWER.starts-in-bulk PROTECT.cell-trips PROTECT.cell-held",
    negative="POWER.forgets",
    features="cell_protection power_cycle",
    settings=pier(trip_dwell_s=5),
    catches=("stores the trip", "stores the trip dwell", "never looks again"),
)
def forgets_the_trip(b: Passages) -> None:
    """Blocked by a cell; power is lost: bulk; the cell is still high: blocked after the trip dwell."""
    dwell_s = b.need_more("trip_dwell_s", 0)
    b.set(cell_max_v=b.calm_cell_v)
    b.charge()
    b.trip(cell_max_v=b.cell(0.05))
    b.run(10)
    _lose_power(b)
    b.expect("bulk")
    b.until(dwell_s, since_s=b.clock_s)
    b.expect("inhibited")
    b.run(5)


@BOOK.recipe(
    "forgets-the-temperature",
    title="The last temperature does not survive",
    why="After a night without power the pack has another temperature.",
    requirements="POWER.forgets REQUEST.compensated REQUEST.voltage",
    negative="REQUEST.compensated",
    features="compensation requests power_cycle",
    settings=lead_acid(24),
    catches=("stores the temperature",),
)
def forgets_the_temperature(b: Passages) -> None:
    """Warm; power is lost; no temperature since: no shift, so what was enough before starts nothing."""
    s = b.settings
    b.need(s.compensation_v_per_c < 0, "compensation_v_per_c must be negative")
    b.need(s.charge_max_c is None, "charge_max_c must be none")
    warm_c = s.reference_c + 15
    b.set(temp_c=warm_c)
    level_v = round(b.held_v, 6)
    plain_v = min(s.full_v, s.entry_v, s.entry_v if s.sag_v is None else s.sag_v)
    b.need(level_v < plain_v - 0.01 and level_v > s.return_v + 0.01, "the shift does not fit")
    b.charge()
    b.need(s.entry_dwell_s > 1, "entry_dwell_s must be more than 1 s")
    b.run(0.5 * s.entry_dwell_s, v=level_v)
    b.set(temp_c=None)
    _lose_power(b)
    b.run(5 * s.entry_dwell_s + 10)


@BOOK.recipe(
    "forgets-the-last-sample",
    title="After a loss of power a clock that starts at 0 is no step back",
    why="Many clocks start at 0 with the power: the first sample follows nothing.",
    requirements="POWER.forgets POWER.keeps-soc ENTRY.not-late HOLD.full-length",
    negative="TIME.backward-step",
    features="power_cycle",
    settings=hut(),
    catches=(
        "compares the first stamp with the last one before",
        "waits for the clock to catch up",
    ),
    tags="backward",
)
def forgets_the_last_sample(b: Passages) -> None:
    """Power is lost late in the trace, the stamps begin at 0 again: a cycle as from the start."""
    b.clock_s = 100_000.0
    b.charge(20)
    b.begin_now()
    b.power_cycle()
    b.skip(-b.clock_s)
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "forgets-the-missing-reading",
    title="The time without a reading starts again at power-up",
    why="Before the first valid sample the time runs from the first sample since power-up.",
    requirements="POWER.forgets PROTECT.no-reading",
    negative="PROTECT.no-reading",
    features="power_cycle",
    settings=pier(),
    catches=("measures from the last valid sample before the loss of power",),
)
def forgets_the_missing_reading(b: Passages) -> None:
    """Invalid for six tenths of max_gap_s, loss of power, invalid: blocked max_gap_s after power-up."""
    gap_s = b.settings.max_gap_s
    b.charge()
    b.begin_now()
    b.run(0.6 * gap_s, v=None)
    _lose_power(b, 1.0)
    b.until(gap_s, since_s=b.clock_s)
    b.expect("inhibited")
    b.run(5)


@BOOK.recipe(
    "forgets-that-it-was-empty",
    title="After a loss of power an empty pack is set to 0 again",
    why="Everything but the count is forgotten, also that the voltage has been at the bottom before.",
    requirements="POWER.forgets SOC.empty POWER.keeps-soc",
    features="soc empty_reset power_cycle",
    settings=hut(empty_v=44.8),
    catches=("stores that the pack was set to 0", "sets it to 0 without a dwell"),
)
def forgets_that_it_was_empty(b: Passages) -> None:
    """Set to 0, charged a little under empty_v, loss of power: counted on, and set to 0 after the dwell."""
    s = b.settings
    dwell_s = b.need_more("empty_dwell_s", 0)
    coulombs = 3600 * s.capacity_ah
    i = b.need_current(0.2 * s.capacity_ah)
    b.need(s.soc_ceiling * coulombs > 5 * dwell_s * i, "soc_ceiling is too low")
    b.set(i=i)
    b.charge()
    b.until(dwell_s, v=b.empty_v)
    b.expect_empty()
    b.run(2 * dwell_s)
    b.begin_now()
    counted = 2 * dwell_s * i * s.charge_efficiency / coulombs
    b.expect_soc(counted)
    _lose_power(b)
    b.expect_soc(counted)
    b.until(dwell_s, since_s=b.clock_s)
    b.expect_empty()
