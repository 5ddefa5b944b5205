"""How long absorption lasts, and what a sag does to it."""

from harness.cases.packs import common_practice, hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("hold")


@BOOK.recipe(
    "full-length",
    title="The hold lasts hold_s from the sample that started it",
    why="The hold is what proves a pack full: cut short, the count is set to 100 % too early.",
    requirements="HOLD.full-length HOLD.ends FULL.granted",
    settings=hut(hold_s=240),
    catches=("a hold timer that starts with the dwell", "a hold of a fixed length built in"),
)
def full_length(b: Passages) -> None:
    """Enter, hold the voltage, and leave absorption hold_s later."""
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "full-length-8-cells",
    title="The same on a pack of 8 cells",
    why="The second family of settings, with its own voltages and length.",
    requirements="HOLD.full-length HOLD.ends",
    settings=pier(hold_s=180),
    catches=("voltages of 16 cells built in", "a hold of a fixed length built in"),
)
def full_length_8_cells(b: Passages) -> None:
    """As hold/full-length, on the ferry pier's pack."""
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "bench-360-s",
    title="A bench hold of 0.1 h at the voltages of common practice",
    why="Common practice on a test bench: 55.2 V asked for, full at 55.12 V, float at 53.6 V, 360 s.",
    requirements="HOLD.full-length HOLD.ends FULL.granted REQUEST.voltage",
    settings=common_practice(),
    catches=("a hold kept in whole minutes or hours", "voltages rounded to 0.1 V"),
    tags="common-practice",
)
def bench_360_s(b: Passages) -> None:
    """Enter, hold for 360 s, full reset, float."""
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "no-current-does-not-end-it",
    title="A current that falls to zero does not end the hold",
    why="No current may only mean no sun: the time at the voltage is what counts.",
    requirements="HOLD.full-length HOLD.ends",
    negative="HOLD.full-length",
    settings=hut(),
    catches=("ends the hold when the current has tapered off", "pauses the hold without current"),
)
def no_current_does_not_end_it(b: Passages) -> None:
    """In the middle of the hold the current goes to zero; the hold ends on schedule."""
    b.reach_absorption()
    b.hold(0.4)
    b.expire(i=0.0)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "sag-runs-on",
    title="A sag does not stop the hold timer",
    why="With on_sag = run a cloud or a load must not lengthen the hold without end.",
    requirements="HOLD.sag-runs-on HOLD.ends",
    settings=hut(),
    catches=("pauses the timer in a sag", "restarts the timer after a sag"),
)
def sag_runs_on(b: Passages) -> None:
    """A sag in the middle of the hold, back above entry_v before its end: the hold ends on schedule."""
    b.need_setting("on_sag", "run")
    b.reach_absorption()
    b.hold(0.3)
    b.hold(0.5, v=b.charging_v)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "sag-at-the-end-runs-on",
    title="A voltage between full and entry at the end of the hold still counts",
    why="The entry voltage starts the hold, the full voltage ends it: they are two settings.",
    requirements="HOLD.sag-runs-on HOLD.ends FULL.voltage FULL.granted",
    settings=hut(),
    catches=("compares with entry_v at the end of the hold", "pauses the timer in a sag"),
)
def sag_at_the_end_runs_on(b: Passages) -> None:
    """From nine tenths of the hold on the voltage is under entry_v but above full_v: full reset."""
    b.need_setting("on_sag", "run")
    b.reach_absorption()
    b.hold(0.9)
    b.expire(v=b.between("full_v", "entry_v"))
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "deep-sag-stays-in-absorption",
    title="Not even a deep sag ends the hold early",
    why="return_v belongs to float; a load in the hold must not throw the pack back to bulk.",
    requirements="HOLD.sag-runs-on HOLD.ends",
    negative="HOLD.sag-runs-on HOLD.full-length",
    settings=hut(),
    catches=(
        "applies return_v in absorption",
        "falls back to bulk when the voltage leaves entry_v",
    ),
)
def deep_sag_stays_in_absorption(b: Passages) -> None:
    """For half of the hold the voltage is under return_v; it comes back, and the hold ends on schedule."""
    b.need_setting("on_sag", "run")
    b.reach_absorption()
    b.hold(0.2)
    b.hold(0.7, v=b.low_v)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "sag-pauses",
    title="A sag pauses the hold timer for as long as it lasts",
    why="With on_sag = pause only time at the voltage counts.",
    requirements="HOLD.sag-pauses HOLD.ends HOLD.full-length",
    features="sag_pause",
    settings=hut(on_sag="pause"),
    catches=("runs on in a sag", "restarts after a sag", "pauses only from the second low sample"),
)
def sag_pauses(b: Passages) -> None:
    """A sag of four tenths of the hold: the hold ends later by just that."""
    b.need_setting("on_sag", "pause")
    b.reach_absorption()
    b.hold(0.3)
    b.hold(0.7, v=b.charging_v)
    b.expire(late_s=0.4 * b.settings.hold_s)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "many-sags-pause",
    title="Every sag pauses the timer, and what was counted before is kept",
    why="A day of passing clouds: the hold is the sum of its parts.",
    requirements="HOLD.sag-pauses HOLD.ends",
    negative="HOLD.full-length",
    features="sag_pause",
    settings=pier(on_sag="pause", hold_s=180),
    catches=(
        "forgets what was counted before the second sag",
        "counts an interval that starts low",
    ),
)
def many_sags_pause(b: Passages) -> None:
    """Five times a tenth of the hold at the voltage and as much in a sag, then the voltage to the end."""
    b.need_setting("on_sag", "pause")
    part_s = 0.1 * b.settings.hold_s
    b.reach_absorption()
    for _ in range(5):
        b.run(part_s, v=b.held_v)
        b.run(part_s, v=b.charging_v)
    b.expire(late_s=5 * part_s)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "paused-hold-never-ends",
    title="A hold that is paused does not end",
    why="A pack that is never lifted to the voltage must not be called full by patience.",
    requirements="HOLD.sag-pauses",
    negative="HOLD.ends HOLD.sag-pauses FULL.at-hold-end",
    features="sag_pause",
    settings=hut(on_sag="pause"),
    catches=("runs on in a sag", "an upper limit on the length of absorption that no rule knows"),
)
def paused_hold_never_ends(b: Passages) -> None:
    """Half of the hold at the voltage, then a sag of twice its length: still in absorption."""
    b.need_setting("on_sag", "pause")
    b.reach_absorption()
    b.hold(0.5)
    b.hold(2.5, v=b.charging_v)


@BOOK.recipe(
    "low-sample-may-end-it",
    title="Under pause the interval up to the first low sample still counts",
    why="The rule goes by the sample that starts an interval, so a low one can be the one that expires.",
    requirements="HOLD.sag-pauses HOLD.ends FULL.granted",
    negative="HOLD.sag-pauses",
    features="sag_pause",
    settings=hut(on_sag="pause"),
    catches=("does not count an interval that ends low",),
    tags="boundary",
)
def low_sample_may_end_it(b: Passages) -> None:
    """The sample on which the timer runs out is the first under sag_v, and still above full_v."""
    b.need_setting("on_sag", "pause")
    low_v = b.between("full_v", "sag_v")
    b.reach_absorption()
    b.expire_with(v=low_v)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "sag-restarts",
    title="A sag puts the hold timer back to zero",
    why="With on_sag = restart the whole hold must be spent at the voltage in one piece.",
    requirements="HOLD.sag-restarts HOLD.ends HOLD.full-length",
    features="sag_restart",
    settings=hut(on_sag="restart"),
    catches=("runs on in a sag", "pauses in a sag", "starts again with the sag, not with its end"),
)
def sag_restarts(b: Passages) -> None:
    """A sag after six tenths of the hold; a whole hold follows from the sample that ends the sag."""
    b.need_setting("on_sag", "restart")
    b.reach_absorption()
    b.hold(0.6)
    b.hold(0.75, v=b.charging_v)
    b.expired_s = b.until(b.settings.hold_s, v=b.held_v)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "one-low-sample-restarts",
    title="One low sample is a sag",
    why="A restart has no dwell: whoever asks for one gets it at the first low reading.",
    requirements="HOLD.sag-restarts",
    negative="HOLD.ends HOLD.full-length",
    features="sag_restart",
    settings=pier(on_sag="restart"),
    catches=("needs two low samples for a sag", "a dwell on the sag that no rule knows"),
)
def one_low_sample_restarts(b: Passages) -> None:
    """One sample under sag_v shortly before the end: the hold does not end then, but a whole hold later."""
    b.need_setting("on_sag", "restart")
    b.reach_absorption()
    b.hold(0.8)
    b.settle()
    b.at(b.clock_s, v=b.charging_v)
    b.skip(min(1.0, 0.01 * b.settings.hold_s))
    b.expired_s = b.until(b.settings.hold_s, v=b.held_v)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "restart-comes-before-expiry",
    title="Under restart a low sample does not end the hold",
    why="The zeroing comes before the test of expiry: a pack that has just sagged is not proved full.",
    requirements="HOLD.sag-restarts",
    negative="HOLD.ends FULL.at-hold-end",
    features="sag_restart",
    settings=hut(on_sag="restart"),
    catches=("tests for expiry before it looks at the sag",),
    tags="boundary",
)
def restart_comes_before_expiry(b: Passages) -> None:
    """The sample on which the timer would run out is low: absorption goes on for a whole hold."""
    b.need_setting("on_sag", "restart")
    b.reach_absorption()
    b.expire_with(v=b.charging_v)
    b.expired_s = b.until(b.settings.hold_s, v=b.held_v)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "above-sag-does-not-pause",
    title="Under the entry voltage but above sag_v nothing is paused",
    why="sag_v is a setting of its own, lower than entry_v.",
    requirements="HOLD.ends",
    negative="HOLD.sag-pauses",
    features="sag_pause",
    settings=hut(on_sag="pause", sag_v=55.2),
    catches=("takes entry_v for sag_v",),
)
def above_sag_does_not_pause(b: Passages) -> None:
    """For much of the hold the voltage is between sag_v and entry_v: the hold ends on schedule."""
    b.need_setting("on_sag", "pause")
    middle_v = b.between("sag_v", "entry_v")
    b.reach_absorption()
    b.hold(0.2)
    b.hold(0.8, v=middle_v)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "above-sag-does-not-restart",
    title="Under the entry voltage but above sag_v nothing restarts",
    why="sag_v is a setting of its own, lower than entry_v.",
    requirements="HOLD.ends",
    negative="HOLD.sag-restarts",
    features="sag_restart",
    settings=pier(on_sag="restart", sag_v=27.6),
    catches=("takes entry_v for sag_v",),
)
def above_sag_does_not_restart(b: Passages) -> None:
    """For much of the hold the voltage is between sag_v and entry_v: the hold ends on schedule."""
    b.need_setting("on_sag", "restart")
    middle_v = b.between("sag_v", "entry_v")
    b.reach_absorption()
    b.hold(0.2)
    b.hold(0.8, v=middle_v)
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "exactly-at-sag",
    title="A voltage equal to sag_v is no sag",
    why="Under sag_v is a sag, at sag_v is not: the comparison is strict.",
    requirements="HOLD.ends",
    negative="HOLD.sag-restarts",
    features="sag_restart",
    settings=hut(on_sag="restart", sag_v=55.7),
    catches=("compares with <= instead of <",),
    tags="boundary",
)
def exactly_at_sag(b: Passages) -> None:
    """For much of the hold the voltage stands at sag_v to the last bit: the hold ends on schedule."""
    b.need_setting("on_sag", "restart")
    b.reach_absorption()
    b.hold(0.2)
    b.hold(0.8, v=b.shifted("sag_v"))
    b.expire()
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "ends-on-a-sample",
    title="A hold that ends exactly on a sample ends there",
    why="With readings once a second and a hold of whole seconds this is the usual case.",
    requirements="HOLD.full-length HOLD.ends",
    settings=hut(),
    catches=(
        "compares elapsed time with > instead of >=",
        "adds up intervals and loses by rounding",
    ),
    tags="boundary",
)
def ends_on_a_sample(b: Passages) -> None:
    """The sample at which hold_s have passed to the last bit ends the hold."""
    b.reach_absorption()
    b.hold(1.0)
    b.begin_now()
    b.expired_s = b.clock_s
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "sag-above-full-pauses",
    title="A sag that stays above the full voltage pauses the hold timer too",
    why="The sag has a voltage of its own; a pack that is full enough for the reset can still be in a sag.",
    requirements="HOLD.sag-pauses HOLD.ends",
    negative="HOLD.full-length",
    features="sag_pause",
    settings=hut(on_sag="pause"),
    catches=("takes full_v for the voltage of a sag",),
)
def sag_above_full_pauses(b: Passages) -> None:
    """Between full_v and sag_v for four tenths of the hold: the hold ends later by just that."""
    b.need_setting("on_sag", "pause")
    sag_v = b.between("full_v", "entry_v" if b.settings.sag_v is None else "sag_v")
    b.reach_absorption()
    b.hold(0.3)
    b.hold(0.7, v=sag_v)
    b.expire(late_s=0.4 * b.settings.hold_s)
    b.confirm()
    b.stay_in_float()
