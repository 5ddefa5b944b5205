"""How a trace is cut into messages, and that a start is a fresh start."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("link")


@BOOK.recipe(
    "cut-in-the-dwell-and-the-hold",
    title="Where a trace is cut into messages changes nothing",
    why="The cut is an accident of the transport; time runs on between two messages.",
    requirements="LINK.cuts ENTRY.not-late HOLD.full-length",
    negative="LINK.cuts",
    settings=hut(),
    catches=("starts a dwell again with each message", "starts the hold again with each message"),
)
def cut_in_the_dwell_and_the_hold(b: Passages) -> None:
    """Cut in the middle of the entry dwell, on the sample that enters, in the hold, on the reset."""
    dwell_s = b.need_more("entry_dwell_s", 0)
    from_s = b.charge()
    b.run(0.5 * dwell_s, v=b.held_v)
    b.cut()
    b.enter(since_s=from_s)
    b.cut()
    b.hold(0.5)
    b.cut()
    b.expire()
    b.cut()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "one-sample-a-message",
    title="One sample a message gives the same answers as all at once",
    why="A live controller gets its readings one by one.",
    requirements="LINK.cuts SOC.counts",
    negative="SOC.no-jump",
    features="soc",
    settings=pier(hold_s=30, capacity_ah=20),
    catches=("loses the interval between two messages", "keeps no state between two messages"),
)
def one_sample_a_message(b: Passages) -> None:
    """A short cycle at a constant current, cut after every sample."""
    s = b.settings
    b.need(s.hold_s <= 600, "hold_s must be at most 600 s: each sample is a message of its own")
    b.need(s.return_soc is None and s.soc_ceiling > 0.6, "the count must be free to rise from 0.5")
    b.charge(10)
    b.enter()
    b.hold(0.5)
    b.begin_now()
    counted = 0.5 + b.clock_s * b.small_a * s.charge_efficiency / (3600 * s.capacity_ah)
    b.need(counted < s.soc_ceiling, "the count must be free to rise")
    b.expect_soc(counted)
    b.expire()
    b.confirm()
    b.stay_in_float()
    b.cut_everywhere()


@BOOK.recipe(
    "leaves-a-hold-behind",
    title="A trace that stops in the middle of a hold",
    why="The next start must know nothing of it.",
    requirements="LINK.fresh-start ENTRY.held-long-enough",
    settings=hut(),
    catches=("cannot be started again in the middle of a hold",),
)
def leaves_a_hold_behind(b: Passages) -> None:
    """Absorption begins, and half-way through the hold there is no more."""
    b.reach_absorption()
    b.hold(0.5)


@BOOK.recipe(
    "leaves-nothing-behind",
    title="A start is a fresh start: nothing of the trace before is left",
    why="A case that depends on the one before it proves nothing.",
    requirements="LINK.fresh-start SOC.starts",
    negative="LINK.fresh-start",
    features="soc",
    settings=hut(),
    catches=("keeps the stage of the case before", "keeps the count of the case before"),
)
def leaves_nothing_behind(b: Passages) -> None:
    """Follows link/leaves-a-hold-behind, with stamps that would join on: bulk, the count as started."""
    b.need_more("entry_dwell_s", 0)
    b.soc = 0.41
    b.clock_s = 80.0
    b.set(v=b.held_v)
    b.begin_now()
    b.expect_soc(0.41, 0.0)
    b.enter()
    b.hold(0.2)
