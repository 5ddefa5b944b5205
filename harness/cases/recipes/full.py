"""When a pack is called full, and when it is not."""

from harness.cases.packs import common_practice, hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("full")


@BOOK.recipe(
    "granted",
    title="The voltage is there after the hold: full reset, at once, to exactly 1",
    why="The full reset is what keeps a count of charge honest.",
    requirements="FULL.granted FULL.at-hold-end FULL.sets-one FULL.voltage",
    features="full_reset soc",
    settings=hut(),
    catches=("sets the count to soc_ceiling", "never resets", "resets one sample late"),
)
def granted(b: Passages) -> None:
    """A low count, a hold, the voltage still there at its end: the count becomes 1 on that sample."""
    if b.settings.return_soc is None:
        b.soc = 0.3
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "granted-common-practice",
    title="Full 30 mV above the full voltage of common practice",
    why="Common practice, no published source: full at 3.445 V a cell, which is 55.12 V for 16 cells.",
    requirements="FULL.granted FULL.voltage",
    features="full_reset",
    settings=common_practice(),
    catches=("full_v rounded to 0.1 V", "asks for entry_v at the end of the hold too"),
    tags="common-practice",
)
def granted_common_practice(b: Passages) -> None:
    """At the end of the hold the voltage is between full_v and entry_v: full reset."""
    b.reach_absorption()
    b.expire_with(v=b.between("full_v", "entry_v"))
    if b.shifted("sag_v") > b.between("full_v", "entry_v"):
        b.need_setting("on_sag", "run", "pause")
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "denied-common-practice",
    title="Not full 20 mV under the full voltage of common practice",
    why="A charger that sets its voltage back a little too early leaves the pack unproved.",
    requirements="FULL.denied",
    negative="FULL.voltage FULL.granted",
    features="full_reset",
    settings=common_practice(),
    catches=("resets whenever the hold has run out", "full_v rounded to 0.1 V"),
    tags="common-practice",
)
def denied_common_practice(b: Passages) -> None:
    """At the end of the hold the voltage is 20 mV under full_v: float without a full reset."""
    b.reach_absorption()
    b.deny(v=b.shifted("full_v") - 0.020)
    b.stay_in_float(20)


@BOOK.recipe(
    "denied",
    title="The voltage is gone at the end of the hold: float without a full reset",
    why="A hold that has run out proves nothing if the voltage did not last.",
    requirements="FULL.denied",
    negative="FULL.voltage FULL.granted FULL.sets-one",
    features="full_reset soc",
    settings=hut(),
    catches=(
        "resets whenever the hold has run out",
        "sets the count to 1 without calling it a reset",
    ),
)
def denied(b: Passages) -> None:
    """From nine tenths of the hold on the voltage is low: float, and the count goes on as it was."""
    b.set(i=0.0)
    b.reach_absorption()
    b.deny(v=b.charging_v)
    b.expect_soc(b.soc, 0.0)
    b.stay_in_float(20)
    b.begin_now()
    b.expect_soc(b.soc, 0.0)


@BOOK.recipe(
    "denied-to-bulk",
    title="Denied, and back to bulk where the settings say so",
    why="With on_unconfirmed = bulk the pack tries again, with a whole hold.",
    requirements="FULL.denied FULL.granted HOLD.full-length ENTRY.from-bulk-only",
    negative="FULL.granted",
    features="full_reset",
    settings=pier(on_unconfirmed="bulk"),
    catches=("goes to float instead", "keeps what the first hold had counted"),
)
def denied_to_bulk(b: Passages) -> None:
    """Denied at the end of a first hold; bulk; a second hold of full length, and a full reset."""
    b.need_setting("on_unconfirmed", "bulk")
    b.need_setting("on_sag", "run", "pause")
    b.reach_absorption()
    b.expire_with(v=b.charging_v)
    b.expect("bulk")
    b.charge()
    b.cycle()
    b.stay_in_float()


@BOOK.recipe(
    "confirmed",
    title="The confirmation lasts confirm_s from the end of the hold",
    why="Only the time after the hold counts: the voltage was there all through the hold anyway.",
    requirements="FULL.confirmed FULL.granted FULL.at-hold-end",
    negative="FULL.denied",
    features="full_reset confirm",
    settings=hut(confirm_s=20),
    catches=(
        "resets as soon as the hold has run out",
        "counts the time at full_v during the hold",
        "takes 'not yet' for 'no'",
    ),
)
def confirmed(b: Passages) -> None:
    """The voltage is above full_v throughout: absorption for hold_s and confirm_s, then full reset."""
    b.need_more("confirm_s", 0)
    b.reach_float()
    b.stay_in_float()


@BOOK.recipe(
    "confirmation-broken",
    title="A voltage that goes during the confirmation denies it",
    why="A pack that cannot hold its voltage for confirm_s is not full.",
    requirements="FULL.denied",
    negative="FULL.confirmed FULL.granted",
    features="full_reset confirm",
    settings=hut(confirm_s=20),
    catches=("looks at the voltage only at the end of the hold", "waits for the voltage to return"),
)
def confirmation_broken(b: Passages) -> None:
    """Half-way through the confirmation one sample is low: float on that sample, without a reset."""
    confirm_s = b.need_more("confirm_s", 0)
    b.need_setting("on_unconfirmed", "float")
    b.reach_absorption()
    b.expire()
    b.run(0.5 * confirm_s)
    b.at(b.clock_s, v=b.charging_v)
    b.float_from_s = b.clock_s
    b.expect("float")
    b.stay_in_float(10, v=b.held_v)


@BOOK.recipe(
    "taper-reached",
    title="Voltage and a current within the taper: full reset",
    why="A full pack takes little current at the full voltage.",
    requirements="FULL.taper FULL.granted",
    features="full_reset taper",
    settings=hut(taper_a=14),
    catches=("never resets when taper_a is set", "takes taper_a for a fraction of the capacity"),
)
def taper_reached(b: Passages) -> None:
    """A large current in the hold, a small one at its end: full reset."""
    taper_a = b.need_more("taper_a", 0, "A")
    b.set(i=b.need_current(3 * taper_a + 1))
    b.reach_absorption()
    b.hold(0.5)
    b.expire(i=taper_a / 2)
    b.confirm()
    b.stay_in_float()


def _deny_by_current(b: Passages, i: float) -> None:
    """One sample with a current beyond the taper, the one on which the hold runs out: float."""
    b.need_setting("on_unconfirmed", "float")
    b.float_from_s = b.expire_with(i=b.need_current(i))
    b.expect("float")
    b.stay_in_float(10, i=b.small_a)


@BOOK.recipe(
    "current-above-taper",
    title="A current above the taper: not full",
    why="The voltage of a pack that still takes much current is the charger's, not the pack's.",
    requirements="FULL.denied",
    negative="FULL.taper FULL.granted",
    features="full_reset taper",
    settings=hut(taper_a=14),
    catches=("does not ask the current", "asks the current only before the end of the hold"),
)
def current_above_taper(b: Passages) -> None:
    """Small current in the hold, a large one on the sample that ends it: float without a reset."""
    taper_a = b.need_more("taper_a", 0, "A")
    b.reach_absorption()
    _deny_by_current(b, 3 * taper_a + 1)


@BOOK.recipe(
    "discharge-beyond-taper",
    title="A discharge beyond the taper: not full either",
    why="The taper is a band around zero: a pack that feeds a large load is not proved full.",
    requirements="FULL.denied",
    negative="FULL.taper FULL.granted",
    features="full_reset taper",
    settings=pier(taper_a=10),
    catches=("compares i <= taper_a, which any discharge fulfils",),
)
def discharge_beyond_taper(b: Passages) -> None:
    """On the sample that ends the hold the pack discharges by more than taper_a: float, no reset."""
    taper_a = b.need_more("taper_a", 0, "A")
    b.reach_absorption()
    _deny_by_current(b, -(3 * taper_a + 1))


@BOOK.recipe(
    "exactly-at-taper",
    title="A current equal to the taper is within it, in both directions",
    why="Bounds are included, whichever way the current flows.",
    requirements="FULL.taper FULL.granted",
    features="full_reset taper",
    settings=hut(taper_a=14, float_s=60),
    catches=("compares with < instead of <=",),
    tags="boundary",
)
def exactly_at_taper(b: Passages) -> None:
    """One hold ends at a current of taper_a, a second at minus taper_a: a full reset both times."""
    taper_a = b.need_more("taper_a", 0, "A")
    float_s = b.need_more("float_s", 0)
    b.reach_absorption()
    b.expire_with(i=taper_a)
    b.confirm()
    b.leave_float(float_s, v=b.charging_v)
    b.set(i=b.small_a)
    b.enter()
    b.expire_with(i=-taper_a)
    b.confirm()
    b.stay_in_float(min(5, 0.1 * float_s), i=b.small_a)


@BOOK.recipe(
    "exactly-at-full",
    title="A voltage equal to the full voltage is enough",
    why="At or above: a charger set to exactly full_v must be able to prove the pack full.",
    requirements="FULL.voltage FULL.granted",
    features="full_reset",
    settings=hut(),
    catches=("compares with > instead of >=",),
    tags="boundary",
)
def exactly_at_full(b: Passages) -> None:
    """The hold runs out with the voltage at full_v to the last bit: full reset."""
    b.need_setting("on_sag", "run")
    b.reach_absorption()
    b.hold(0.9)
    b.expire(v=b.settings.full_v)
    b.confirm()
    b.stay_in_float()


@BOOK.recipe(
    "one-millivolt-under-full",
    title="One millivolt under the full voltage is not enough",
    why="A hidden tolerance at the threshold makes two packs of one bank disagree.",
    requirements="FULL.denied",
    negative="FULL.voltage FULL.granted",
    features="full_reset",
    settings=hut(),
    catches=("a hidden tolerance at full_v", "voltages rounded before they are compared"),
    tags="boundary",
)
def one_millivolt_under_full(b: Passages) -> None:
    """The hold runs out 1 mV under full_v: float without a full reset."""
    b.reach_absorption()
    b.deny(v=b.settings.full_v - 0.001)
    b.stay_in_float(10)


@BOOK.recipe(
    "not-in-bulk",
    title="No full reset in bulk, however long the voltage stands above full_v",
    why="Between full_v and entry_v no hold has begun, so none can end.",
    requirements="SOC.no-jump",
    negative="FULL.at-hold-end ENTRY.held-long-enough ENTRY.not-late SOC.no-jump",
    features="full_reset",
    settings=hut(),
    catches=("resets at the full voltage without a hold", "enters absorption at full_v"),
)
def not_in_bulk(b: Passages) -> None:
    """Between full_v and entry_v for longer than a hold and its confirmation: bulk throughout."""
    s = b.settings
    b.charge()
    b.run(1.5 * (s.hold_s + s.confirm_s) + 10, v=b.between("full_v", "entry_v"))


@BOOK.recipe(
    "not-in-float",
    title="No full reset in float after a denial",
    why="The reset belongs to the end of a hold; a voltage that returns later proves nothing.",
    requirements="FULL.denied FLOAT.stays",
    negative="FULL.at-hold-end",
    features="full_reset",
    settings=pier(),
    catches=("keeps waiting for the voltage in float", "resets at the full voltage without a hold"),
)
def not_in_float(b: Passages) -> None:
    """Denied into float; then the voltage stands above entry_v for longer than a hold: no reset."""
    b.reach_absorption()
    b.deny(v=b.charging_v)
    b.stay_in_float(10)
    b.stay_in_float(1.5 * (b.settings.hold_s + b.settings.confirm_s), v=b.held_v)


@BOOK.recipe(
    "touched-only",
    title="A voltage that was only touched does not make a pack full",
    why="The rule that resets at the first touch of the voltage is the one that ruins counts.",
    requirements="FULL.denied HOLD.sag-runs-on",
    negative="FULL.at-hold-end FULL.voltage FULL.granted",
    features="full_reset",
    settings=hut(),
    catches=("resets at the first touch of the voltage", "resets when the hold starts"),
)
def touched_only(b: Passages) -> None:
    """The voltage falls right after the start of the hold and stays low: no full reset at any time."""
    b.need_setting("on_sag", "run")
    b.need_setting("on_unconfirmed", "float")
    b.reach_absorption()
    b.expire(v=b.charging_v)
    b.float_from_s = b.expired_s
    b.expect("float")
    b.stay_in_float(20)


@BOOK.recipe(
    "once-a-hold",
    title="One full reset a hold, and one for the next hold",
    why="A reset in every sample of float hides whatever the count does.",
    requirements="FULL.granted FULL.at-hold-end FULL.sets-one FLOAT.timer-ends",
    negative="FULL.at-hold-end",
    features="full_reset float_timer",
    settings=pier(float_s=60),
    catches=("resets at every sample of float", "resets once only since power-up"),
)
def once_a_hold(b: Passages) -> None:
    """Two whole cycles with the voltage held throughout: two full resets."""
    float_s = b.need_more("float_s", 0)
    b.reach_float()
    b.leave_float(float_s)
    b.cycle()
    b.stay_in_float(0.5 * float_s)


@BOOK.recipe(
    "denied-to-bulk-with-the-voltage-up",
    title="Denied by its current with the voltage up: bulk, and the dwell from that sample",
    why="The denial is a stage change like any other: the next hold begins with a dwell of its own.",
    requirements="FULL.denied ENTRY.held-long-enough ENTRY.not-late ENTRY.from-bulk-only",
    negative="FULL.taper FULL.granted",
    features="full_reset taper",
    settings=hut(taper_a=14, on_unconfirmed="bulk"),
    catches=("goes on in absorption with a new hold", "skips the dwell because the voltage is up"),
)
def denied_to_bulk_with_the_voltage_up(b: Passages) -> None:
    """A large current on the sample that ends the hold: bulk, dwell, absorption again."""
    taper_a = b.need_more("taper_a", 0, "A")
    b.need_setting("on_unconfirmed", "bulk")
    b.need_more("entry_dwell_s", 0)
    b.reach_absorption()
    denied_s = b.expire_with(i=b.need_current(3 * taper_a + 1))
    b.expect("bulk")
    b.set(i=b.small_a)
    b.enter(since_s=denied_s)
    b.hold(0.3)
