"""A few of the faults in the C example: the same mistakes, in the language most firmware is in."""

from __future__ import annotations

from functools import partial

from harness.zoo.fault import Fault

_Fault = partial(Fault, language="C")

FAULTS: tuple[Fault, ...] = (
    _Fault(
        name="c-hold-one-minute-short",
        requirement="HOLD.full-length",
        title="ends the hold one minute early",
        old="if (in.t - now.hold_since < set.hold_s - SLACK_S) return;",
        new="if (in.t - now.hold_since < set.hold_s - 60) return;",
        why="Time that the pack is thought to have spent at the voltage before is taken off.",
    ),
    _Fault(
        name="c-hold-timer-wraps",
        requirement="HOLD.ends",
        title="never ends a hold: the timer wraps at 65.536 s",
        old="if (in.t - now.hold_since < set.hold_s - SLACK_S) return;",
        new="if ((unsigned short)((in.t - now.hold_since) * 1000) / 1000.0 < set.hold_s) return;",
        why="Milliseconds were kept in 16 bits.",
    ),
    _Fault(
        name="c-full-without-recheck",
        requirement="FULL.voltage",
        title="calls the pack full as soon as the hold has ended",
        old="now.full_reset = stage_sustained(set.confirm_s);",
        new="now.full_reset = stage_sustained(set.confirm_s) || set.confirm_s == 0;",
        why="The pack was at its voltage when the hold began, and an hour has passed since.",
    ),
    _Fault(
        name="c-gap-not-noticed-in-hold",
        requirement="TIME.gap-abandons-hold",
        title="counts a gap as part of the hold",
        old="else if (now.stage == ABSORPTION && !continuous) enter(BULK);",
        new="else if (now.stage == ABSORPTION && dt < -SLACK_S) enter(BULK);",
        why="The timer is a difference of two time stamps, and nobody looks between them.",
    ),
    _Fault(
        name="c-count-in-hundredths-of-a-percent",
        requirement="SOC.counts",
        title="loses what a sample adds: the count has only four decimals",
        old="double soc = now.soc + counted_as / (3600 * set.capacity_ah);",
        new="double soc = round((now.soc + counted_as / (3600 * set.capacity_ah)) * 1e4) / 1e4;",
        why="The count is kept as a whole number of hundredths of a percent.",
    ),
)
