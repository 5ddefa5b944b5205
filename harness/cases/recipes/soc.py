"""How charge is counted, and what bounds the count."""

from harness.cases.packs import hut, pier
from harness.cases.passages import Passages
from harness.cases.recipe import Book

BOOK = Book("soc")

# What a change of current adds depends on how it is counted, so it happens within a short interval.
_JUMP_S = 0.05


def _coulombs(b: Passages) -> float:
    return 3600.0 * b.settings.capacity_ah


def _current(b: Passages, share: float, duration_s: float) -> float:
    """The current, A, that moves `share` of the capacity in `duration_s`."""
    return b.need_current(round(share * _coulombs(b) / duration_s, 6))


def _flow(b: Passages, duration_s: float, i: float) -> None:
    """A constant current with a sample at its end."""
    b.longest_interval_s = 10.0
    b.run(duration_s, v=b.charging_v, i=i)
    b.begin_now()


def _jump(b: Passages, before_a: float, i: float) -> float:
    """Change the current; returns by how much rules of counting may differ over that, 0..1."""
    b.after(_JUMP_S, i=i)
    return abs(i - before_a) * _JUMP_S / 2 / _coulombs(b) + 1e-9


def _ceiling_above(b: Passages, soc: float) -> float:
    ceiling = b.settings.soc_ceiling
    b.need(ceiling > soc, f"soc_ceiling must be more than {soc:g}, it is {ceiling:g}")
    return ceiling


@BOOK.recipe(
    "starts",
    title="The count starts where it was told to, and the first sample adds nothing",
    why="An interval has two ends: before the first sample there is no current to count.",
    requirements="SOC.starts",
    negative="SOC.starts SOC.counts",
    features="soc",
    settings=hut(),
    catches=("starts at a count of its own", "counts from the time stamp 0 to the first sample"),
)
def starts(b: Passages) -> None:
    """The first sample has a late time stamp and a current: the count is the starting one."""
    b.soc = 0.37
    b.clock_s = 5000.0
    b.set(v=b.charging_v, i=0.0)
    b.set(i=_current(b, 0.01, 600))
    b.begin_now()
    b.expect_soc(0.37, 0.0)
    b.charge(20)


@BOOK.recipe(
    "starts-before-a-valid-sample",
    title="Before the first valid sample the count is the starting one",
    why="A meter that needs a moment to wake up must not cost the count.",
    requirements="SOC.starts TIME.invalid-skipped",
    negative="SOC.no-jump",
    features="soc",
    settings=pier(),
    catches=("answers 0 before it has read anything", "counts from an invalid sample on"),
)
def starts_before_a_valid_sample(b: Passages) -> None:
    """Invalid samples first, then valid ones: the count is the same until the second valid one."""
    b.soc = 0.62
    b.run(0.3 * b.settings.max_gap_s, v=None)
    b.set(i=_current(b, 0.01, 600))
    b.at(b.clock_s, v=b.charging_v)
    b.expect_soc(0.62, 0.0)
    b.run(10)


@BOOK.recipe(
    "charging",
    title="A constant charging current counts up",
    why="Current times time over capacity, the closed form of counting.",
    requirements="SOC.counts SOC.no-jump",
    features="soc",
    settings=hut(),
    catches=("a capacity built in", "minutes for seconds", "no count in bulk"),
)
def charging(b: Passages) -> None:
    """A twentieth of the capacity in half an hour of constant current."""
    _ceiling_above(b, 0.4)
    b.soc = 0.3
    _flow(b, 1800, _current(b, 0.05, 1800))
    b.expect_soc(0.3 + 0.05 * b.settings.charge_efficiency)


@BOOK.recipe(
    "discharging",
    title="A constant discharging current counts down",
    why="The sign of the current: positive charges, negative discharges.",
    requirements="SOC.counts SOC.no-jump",
    features="soc",
    settings=pier(),
    catches=("the sign of the current the other way round", "counts charging only"),
)
def discharging(b: Passages) -> None:
    """A twentieth of the capacity in half an hour of constant discharge."""
    b.soc = 0.3
    _flow(b, 1800, _current(b, -0.05, 1800))
    b.expect_soc(0.25)


@BOOK.recipe(
    "no-current",
    title="Without current the count stands still",
    why="A count that drifts by itself is worth nothing after a week.",
    requirements="SOC.no-jump",
    negative="SOC.counts SOC.no-jump",
    features="soc",
    settings=hut(),
    catches=("a drift by itself", "a guess of the count from the voltage at rest"),
)
def no_current(b: Passages) -> None:
    """Ten minutes without current at changing voltages, all in bulk: the count does not move."""
    b.soc = 0.3
    _flow(b, 300, 0.0)
    b.run(300, v=b.low_v)
    b.begin_now()
    b.expect_soc(0.3, 0.0)


@BOOK.recipe(
    "ramp",
    title="A current that rises and falls counts as the area under it",
    why="Real currents are never constant; the rectangle sums from both sides bound the count.",
    requirements="SOC.counts",
    features="soc",
    settings=hut(),
    catches=("counts the current of a moment for all of the trace", "loses intervals"),
)
def ramp(b: Passages) -> None:
    """From zero up to a peak and back in straight lines: half of the peak times the duration."""
    _ceiling_above(b, 0.4)
    steps, interval_s = 60, min(10.0, b.settings.max_gap_s / 2)
    peak_a = b.need_current(0.3 * b.settings.capacity_ah)
    b.soc = 0.3
    b.set(v=b.charging_v, i=0.0)
    b.begin_now()
    for k in range(1, 2 * steps + 1):
        b.after(interval_s, i=peak_a * min(k, 2 * steps - k) / steps)
    area = 0.5 * peak_a * 2 * steps * interval_s
    b.expect_soc(
        0.3 + area * b.settings.charge_efficiency / _coulombs(b),
        peak_a * interval_s / _coulombs(b),
    )


@BOOK.recipe(
    "efficiency-of-charging",
    title="Only part of the charging current counts",
    why="Part of the charge is lost; charge_efficiency says how much arrives.",
    requirements="SOC.efficiency SOC.counts",
    features="soc",
    settings=hut(charge_efficiency=0.9),
    catches=("ignores charge_efficiency", "divides by it"),
)
def efficiency_of_charging(b: Passages) -> None:
    """A tenth of the capacity flows in; charge_efficiency of it is counted."""
    b.need(b.settings.charge_efficiency < 1, "charge_efficiency must be less than 1")
    _ceiling_above(b, 0.5)
    b.soc = 0.3
    _flow(b, 1800, _current(b, 0.1, 1800))
    b.expect_soc(0.3 + 0.1 * b.settings.charge_efficiency)


@BOOK.recipe(
    "no-efficiency-of-discharging",
    title="All of the discharging current counts",
    why="What flows out is gone: charge_efficiency is about charging alone.",
    requirements="SOC.counts",
    negative="SOC.efficiency",
    features="soc",
    settings=hut(charge_efficiency=0.9),
    catches=("applies charge_efficiency in both directions",),
)
def no_efficiency_of_discharging(b: Passages) -> None:
    """A tenth of the capacity flows out, and all of it is counted."""
    b.need(b.settings.charge_efficiency < 1, "charge_efficiency must be less than 1")
    b.soc = 0.5
    _flow(b, 1800, _current(b, -0.1, 1800))
    b.expect_soc(0.4)


@BOOK.recipe(
    "efficiency-through-zero",
    title="Where the current changes its sign, only its charging part is reduced",
    why="Around zero many small intervals charge and discharge: the efficiency follows the sign.",
    requirements="SOC.efficiency SOC.counts",
    features="soc",
    settings=pier(charge_efficiency=0.8),
    catches=("applies charge_efficiency to the sum", "takes the sign from the first sample only"),
)
def efficiency_through_zero(b: Passages) -> None:
    """A straight line from discharge to as much charge: the losses alone remain."""
    efficiency = b.settings.charge_efficiency
    b.need(efficiency < 1, "charge_efficiency must be less than 1")
    _ceiling_above(b, 0.6)
    steps, interval_s = 101, min(10.0, b.settings.max_gap_s / 2)
    end_a = b.need_current(0.4 * b.settings.capacity_ah)
    b.soc = 0.5
    b.set(v=b.charging_v, i=-end_a)
    b.begin_now()
    for k in range(1, steps + 1):
        b.after(interval_s, i=end_a * (2 * k / steps - 1))
    area = 0.5 * end_a * steps * interval_s / 2
    b.expect_soc(0.5 - (1 - efficiency) * area / _coulombs(b), end_a * interval_s / _coulombs(b))


@BOOK.recipe(
    "ceiling",
    title="Counting alone stops at soc_ceiling",
    why="Full is what was proved, not what was counted.",
    requirements="SOC.ceiling SOC.counts SOC.bounds",
    features="soc",
    settings=hut(),
    catches=("counts up to 1", "stops short of soc_ceiling", "sets the count to 1 at soc_ceiling"),
)
def ceiling(b: Passages) -> None:
    """From 0.01 under the ceiling as much is charged as would lead to 0.01 above it."""
    top = b.settings.soc_ceiling
    b.need(top > 0.02, "soc_ceiling must be more than 0.02")
    b.soc = round(top - 0.01, 9)
    _flow(b, 600, _current(b, 0.02 / b.settings.charge_efficiency, 600))
    b.expect_soc(top)


@BOOK.recipe(
    "above-the-ceiling",
    title="A count above the ceiling is neither pulled down to it nor counted up",
    why="After a full reset the count is 1; charging on must not spoil it, use must lower it.",
    requirements="SOC.counts FULL.sets-one",
    negative="SOC.ceiling SOC.no-jump",
    features="soc full_reset",
    settings=hut(),
    catches=("pulls the count down to soc_ceiling", "counts up to 1 again without a full reset"),
)
def above_the_ceiling(b: Passages) -> None:
    """Full reset; charging: still 1; half of the way down to the ceiling; charging: no rise."""
    top = b.settings.soc_ceiling
    b.need(top < 1, "soc_ceiling must be less than 1")
    return_soc = b.settings.return_soc
    b.need(return_soc is None or return_soc < top, "return_soc must be less than soc_ceiling")
    half = (1 - top) / 2
    b.reach_float()
    b.need_float_room(600)
    b.run(100, v=b.charging_v)
    b.begin_now()
    b.expect_soc(1.0, 0.0)
    i = -_current(b, half, 200)
    tolerance = _jump(b, b.small_a, i)
    b.run(200)
    b.begin_now()
    low = 1 - half - (abs(i) - b.small_a) * _JUMP_S / 2 / _coulombs(b)
    b.expect_soc(low, 2 * tolerance)
    _jump(b, i, -i)
    b.run(200)
    b.begin_now()
    b.expect_soc(low, 4 * tolerance)


@BOOK.recipe(
    "never-under-zero",
    title="The count stops at 0, and rises from there",
    why="A count that goes negative in secret has to be paid back before it rises again.",
    requirements="SOC.bounds SOC.counts",
    negative="SOC.bounds",
    features="soc",
    settings=pier(),
    catches=("counts below 0", "keeps a hidden debt below 0"),
)
def never_under_zero(b: Passages) -> None:
    """From 0.01 twice as much is discharged as there is; then 0.01 is charged."""
    _ceiling_above(b, 0.02)
    b.soc = 0.01
    i = _current(b, -0.02, 400)
    _flow(b, 400, i)
    b.expect_soc(0.0, 0.0)
    tolerance = _jump(b, i, -i)
    b.run(200)
    b.begin_now()
    b.expect_soc(0.01 * b.settings.charge_efficiency, tolerance)


@BOOK.recipe(
    "never-above-one",
    title="With a ceiling of 1 the count stops at 1",
    why="There is no more than full.",
    requirements="SOC.bounds SOC.ceiling",
    negative="SOC.bounds",
    features="soc",
    settings=hut(soc_ceiling=1.0),
    catches=("counts above 1", "a ceiling of 0.99 built in"),
)
def never_above_one(b: Passages) -> None:
    """From 0.995 as much is charged as would lead to 1.005; then 0.01 is discharged."""
    b.need_setting("soc_ceiling", 1.0)
    b.soc = 0.995
    i = _current(b, 0.01 / b.settings.charge_efficiency, 400)
    _flow(b, 400, i)
    b.expect_soc(1.0, 0.0)
    tolerance = _jump(b, i, -i)
    b.run(400)
    b.begin_now()
    b.expect_soc(1.0 - 0.01 / b.settings.charge_efficiency, 2 * tolerance)


@BOOK.recipe(
    "stages-do-not-touch-it",
    title="Entering a hold or leaving float does not touch the count",
    why="A full reset is the only moment at which the count may move to 1.",
    requirements="SOC.no-jump",
    negative="SOC.no-jump FULL.sets-one",
    features="soc return_voltage",
    settings=pier(),
    catches=("sets the count when the hold starts", "sets the count by the voltage in float"),
)
def stages_do_not_touch_it(b: Passages) -> None:
    """Without current: bulk, hold, denial, float, and back to bulk by low voltage."""
    b.set(i=0.0)
    b.reach_absorption()
    b.expect_soc(b.soc, 0.0)
    b.deny(v=b.charging_v)
    b.expect_soc(b.soc, 0.0)
    b.stay_in_float(10)
    b.fall_low()
    b.expect_soc(b.soc, 0.0)
