"""How float ends by voltage or by count. The vectors belong to the group `return`."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("return")


@BOOK.recipe(
    "low-voltage",
    title="A voltage under return_v for the dwell leads back to bulk",
    why="A pack that has been used needs charge, and says so by its voltage.",
    requirements="RETURN.low-voltage RETURN.voltage-held RETURN.to-bulk REQUEST.voltage",
    features="return_voltage",
    settings=hut(),
    catches=("never returns", "returns at the first low sample"),
)
def low_voltage(b: Passages) -> None:
    """In float the voltage goes under return_v and stays there: bulk after return_dwell_s."""
    b.reach_float()
    b.stay_in_float(20, v=b.charging_v)
    b.fall_low()
    b.charge()


@BOOK.recipe(
    "low-voltage-8-cells",
    title="The same on a pack of 8 cells with a shorter dwell",
    why="The second family of settings.",
    requirements="RETURN.low-voltage RETURN.voltage-held RETURN.to-bulk",
    features="return_voltage",
    settings=pier(return_dwell_s=20),
    catches=("voltages of 16 cells built in", "a dwell of 60 s built in"),
)
def low_voltage_8_cells(b: Passages) -> None:
    """As return/low-voltage, on the ferry pier's pack, followed by another whole cycle."""
    b.reach_float()
    b.stay_in_float(20, v=b.charging_v)
    b.fall_low()
    b.charge()
    b.cycle()


@BOOK.recipe(
    "dips-do-not-add-up",
    title="Dips shorter than the dwell do not lead back to bulk",
    why="A pump that starts pulls the voltage down for a while; the pack is still full.",
    requirements="FLOAT.stays",
    negative="RETURN.voltage-held RETURN.low-voltage",
    features="return_voltage",
    settings=hut(return_dwell_s=30),
    catches=("returns at the first low sample", "adds the dips up"),
)
def dips_do_not_add_up(b: Passages) -> None:
    """Four dips of six tenths of the dwell with a recovery between them: float throughout."""
    dwell_s = b.need_more("return_dwell_s", 0)
    b.reach_float()
    for _ in range(4):
        b.stay_in_float(0.3 * dwell_s, v=b.charging_v)
        b.stay_in_float(0.6 * dwell_s, v=b.low_v)
    b.stay_in_float(5, v=b.charging_v)


@BOOK.recipe(
    "dwell-starts-with-float",
    title="The time under return_v before float does not count",
    why="A dwell is counted from the sample on which the stage was entered.",
    requirements="RETURN.low-voltage RETURN.voltage-held",
    negative="RETURN.voltage-held",
    features="return_voltage",
    settings=hut(hold_s=240),
    catches=("lets the return dwell run in absorption", "starts the dwell one sample late"),
)
def dwell_starts_with_float(b: Passages) -> None:
    """Low since half of the hold; denied into float, and bulk only return_dwell_s after that."""
    dwell_s = b.need_more("return_dwell_s", 0)
    b.need_setting("on_sag", "run")
    b.need_setting("on_unconfirmed", "float")
    b.reach_absorption()
    b.hold(0.5)
    b.expire(v=b.low_v)
    b.float_from_s = b.expired_s
    b.expect("float")
    b.need_float_room(dwell_s)
    b.leave_float(dwell_s)
    b.charge()


@BOOK.recipe(
    "exactly-at-return",
    title="A voltage equal to return_v does not lead back to bulk",
    why="Below return_v is low, at return_v is not: the comparison is strict.",
    requirements="FLOAT.stays",
    negative="RETURN.low-voltage",
    features="return_voltage",
    settings=hut(return_dwell_s=20),
    catches=("compares with <= instead of <",),
    tags="boundary",
)
def exactly_at_return(b: Passages) -> None:
    """In float the voltage stands at return_v to the last bit for three times the dwell."""
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.stay_in_float(3 * max(b.settings.return_dwell_s, 5), v=b.settings.return_v)


@BOOK.recipe(
    "one-millivolt-under-return",
    title="One millivolt under return_v leads back to bulk",
    why="A hidden tolerance at the threshold leaves a used pack without charge.",
    requirements="RETURN.low-voltage RETURN.voltage-held",
    features="return_voltage",
    settings=hut(return_dwell_s=20),
    catches=("a hidden tolerance at return_v",),
    tags="boundary",
)
def one_millivolt_under_return(b: Passages) -> None:
    """In float the voltage stands 1 mV under return_v: bulk after the dwell."""
    b.reach_float()
    b.stay_in_float(10, v=b.charging_v)
    b.fall_low(b.settings.return_v - 0.001)


@BOOK.recipe(
    "low-soc",
    title="A count under return_soc leads back to bulk at once",
    why="On the flat part of the curve the voltage says little: the count notices the use first.",
    requirements="RETURN.low-soc RETURN.to-bulk SOC.counts",
    features="return_soc soc",
    settings=hut(return_soc=0.9),
    catches=("never looks at the count", "waits for return_dwell_s"),
)
def low_soc(b: Passages) -> None:
    """Discharge from full at a constant current: bulk at the first sample under return_soc."""
    b.reach_float()
    discharge_s = _discharge(b)
    b.until(discharge_s)
    b.expect("bulk")
    b.charge()


def _discharge(b: Passages) -> float:
    """Begin to discharge a full pack in float; returns how long it takes down to return_soc, s."""
    s = b.settings
    b.need(s.return_soc is not None, "return_soc is none")
    assert s.return_soc is not None
    discharge_s = 1000.0
    b.need_float_room(discharge_s)
    i = b.need_current(round(-(1 - s.return_soc) * s.capacity_ah * 3600 / discharge_s, 6))
    # A short interval for the change of current: what it adds depends on how it is counted.
    b.after(0.05, v=b.charging_v, i=i)
    return discharge_s


@BOOK.recipe(
    "soc-above-return",
    title="A count that stays above return_soc does not lead back to bulk",
    why="Using part of a full pack is what it is for.",
    requirements="FLOAT.stays SOC.counts",
    negative="RETURN.low-soc FLOAT.stays",
    features="return_soc soc",
    settings=pier(return_soc=0.85),
    catches=("returns as soon as the count leaves 1", "compares with soc_ceiling"),
)
def soc_above_return(b: Passages) -> None:
    """Discharge from full half-way down to return_soc: float throughout."""
    b.reach_float()
    b.run(0.5 * _discharge(b))


@BOOK.recipe(
    "soc-is-off",
    title="Without return_soc no count leads back to bulk",
    why="None means off: whoever does not trust the count returns by voltage alone.",
    requirements="FLOAT.stays FULL.denied",
    negative="RETURN.low-soc",
    settings=hut(),
    catches=("takes none for a default value",),
)
def soc_is_off(b: Passages) -> None:
    """Denied into float with a count of 0.2: float throughout."""
    b.need_setting("return_soc", None)
    b.soc = 0.2
    b.reach_absorption()
    b.deny(v=b.charging_v)
    b.stay_in_float(60)


@BOOK.recipe(
    "denied-under-return-soc",
    title="Denied while the count is under return_soc: one sample of float, then bulk",
    why="Intended: a pack that was not proved full and counts low tries again at once.",
    requirements="RETURN.low-soc RETURN.to-bulk FULL.denied",
    features="return_soc soc",
    settings=hut(return_soc=0.9),
    catches=("returns on the sample of the denial", "waits for a dwell before it returns"),
)
def denied_under_return_soc(b: Passages) -> None:
    """The count is low, the hold is denied: float on that sample, bulk on the next."""
    b.need(b.settings.return_soc is not None, "return_soc is none")
    assert b.settings.return_soc is not None
    b.soc = round(b.settings.return_soc / 2, 6)
    b.reach_absorption()
    b.deny(v=b.charging_v)
    b.after(1.0)
    b.expect("bulk")
    b.charge(20)


@BOOK.recipe(
    "to-bulk-with-the-voltage-up",
    title="Back from float it is bulk first, even with the voltage up",
    why="Every hold begins in bulk with a dwell: there is no short cut from float.",
    requirements="RETURN.low-soc ENTRY.from-bulk-only ENTRY.held-long-enough",
    negative="RETURN.to-bulk",
    features="return_soc soc",
    settings=hut(return_soc=0.9),
    catches=("goes from float straight to absorption",),
)
def to_bulk_with_the_voltage_up(b: Passages) -> None:
    """The count falls under return_soc while the charger holds the voltage: bulk, dwell, absorption."""
    b.need_more("entry_dwell_s", 0)
    b.reach_float()
    discharge_s = _discharge(b)
    b.until(discharge_s, since_s=b.clock_s, v=b.held_v)
    b.expect("bulk")
    b.enter()
    b.hold(0.1)
