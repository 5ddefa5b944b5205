"""A log explained, for people: plain words first, numbers second, ids of rules last."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite

from attrs import field, frozen
from rich.console import Console
from rich.text import Text

from harness.explain.explained import FINE, Explained
from harness.explain.fix import Fix, How
from harness.explain.reason import Cause, Reason, Sure
from harness.explain.ruled import Ruled
from harness.explain.wiring import Apart, Between
from harness.report.caution import CAUTION
from harness.report.console import columns, line, paragraph
from harness.report.explained_rows import Along
from harness.report.explained_timeline import parting
from harness.report.words import count
from harness.world.wiring import Lead

INDENT = 2
LABEL = 12
MOST_FIXES = 5
_HELPS = {True: "helps", False: "does not help", None: "not tried"}
_STYLES = {True: "green", False: "dim", None: "yellow"}


@frozen(eq=False)
class Story:
    """What is told of a log.

    Attributes:
        explained: the reasons.
        fixes: what would help, by the name of each pack that is not well; the best first.
        cables: the cable to each pack, by its name, where it is given.
    """

    explained: Explained
    fixes: Mapping[str, tuple[Fix, ...]]
    cables: Mapping[str, Lead] = field(factory=dict)


def show_story(console: Console, story: Story, *, every_day: bool = False) -> None:
    """Tell of every pack: what is wrong, why, and what would help; the sum last."""
    explained = story.explained
    alike = settings_in_words(explained)
    for told, names in alike.items():
        whose = f" ({', '.join(names)})" if len(alike) > 1 else ""
        paragraph(console, f"judged by: {told}{whose}", style="dim")
    console.print()
    for pack in explained.packs:
        main = explained.main(pack.name)
        _show_reason(console, explained, main)
        if pack.name in explained.lines:
            _side(console, "wiring", wiring_in_words(story, pack.name))
        if parted := parted_in_words(explained, pack):
            _side(console, "parted", parted)
        _show_fixes(console, story.fixes.get(pack.name, ()))
        if every_day:
            _show_days(console, explained, pack.name)
        console.print()
    shared = shared_in_words(explained)
    if shared:
        paragraph(console, shared, style="dim")
    _show_sum(console, story)
    paragraph(console, CAUTION, style="dim")


def settings_in_words(explained: Explained) -> dict[str, list[str]]:
    """The settings that the reasons rest on, and the packs with each of them."""
    found: dict[str, list[str]] = {}
    for pack in explained.packs:
        s = pack.settings
        told = (
            f"{s.cells} cells, {s.capacity_ah:g} Ah; entry_v {s.entry_v:g} V for {s.entry_dwell_s:g} s,"
            f" hold_s {s.hold_s:g} s, full_v {s.full_v:g} V"
        )
        found.setdefault(told, []).append(pack.name)
    return found


def _show_reason(console: Console, explained: Explained, reason: Reason) -> None:
    fine = reason.cause in FINE
    style = "bold green" if fine else "bold red"
    line(console, (reason.pack, "bold"), ": ", (reason.cause.value, style))
    for link in reason.chain:
        paragraph(console, link.sentence, indent=INDENT)
    facts = [each for each in (when(explained, reason), how_sure(reason)) if each]
    rules = rules_of(reason)
    if facts:
        _side(console, "when", "; ".join(facts))
    if rules and not fine:
        _side(console, "rules", ", ".join(rules))


def shared_in_words(explained: Explained) -> str:
    """What all packs share; empty where it cannot be told."""
    shared = explained.shared
    if shared is None or not shared.ohm:
        return ""
    return f"All packs share {1e3 * shared.ohm:.1f} mOhm between them and the charger."


def rules_of(reason: Reason) -> list[str]:
    """The requirements that a reason follows from, each once."""
    return list(dict.fromkeys(link.rule for link in reason.chain if link.rule))


def how_sure(reason: Reason) -> str:
    """How sure a reason is; empty for a pack that is well."""
    return "" if reason.cause is Cause.HEALTHY else reason.sure.value


def when(explained: Explained, reason: Reason) -> str:
    """On which day, on how many others like it, and at which moment."""
    days = [r.day for r in explained.of(reason.pack) if r.cause is reason.cause]
    text = f"day {reason.day} of {len(explained.days)}"
    if len(days) > 1:
        text += f", and {count(len(days) - 1, 'other day')} like it"
    stamp = told_stamp(explained, reason.t)
    return f"{text}, at {stamp}" if stamp else text


def told_stamp(explained: Explained, t: float) -> str:
    """A stamp as a date where the log has dates, else in hours; empty for none."""
    if not isfinite(t):
        return ""
    clock = explained.log.clock_time(t)
    if clock is not None:
        return clock.isoformat(sep=" ", timespec="seconds")
    hours, rest = divmod(int(t), 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d} h of the log"


def between_in_words(between: Between) -> str:
    """What lies between the charger and a pack."""
    found = between.line
    if between.apart is not Apart.YES or found is None:
        text = f"not to be told from the meters: {between.apart.value}"
        if isfinite(between.typical_v):
            text += f"; the charger usually reads {1e3 * between.typical_v:+.0f} mV more"
        return text
    text = (
        f"{1e3 * found.slope:.1f} mOhm ({_give_or_take(1e3 * found.slope_error, 1)}), and the charger's"
        f" meter reads {1e3 * found.intercept:+.0f} mV more"
        f" ({_give_or_take(1e3 * found.intercept_error, 0)}), from {found.low_x:.0f} to"
        f" {found.high_x:.0f} A"
    )
    if between.lag_s:
        text += f"; its clock is {between.lag_s:+.0f} s off"
    return text


def wiring_in_words(story: Story, pack: str) -> str:
    """What lies between the charger and a pack, beside what its cable should have."""
    between = story.explained.lines[pack]
    text, lead = between_in_words(between), story.cables.get(pack)
    if lead is None:
        return text
    most = 1e3 * lead.ohm
    told = (
        f"{lead.mm2:g} mm2 and {lead.length_m:g} m there and back have at most {most:.1f} mOhm"
        " (IEC 60228, class 5, 20 degrees C)"
    )
    if between.apart is not Apart.YES or between.line is None:
        return f"{text}. {told}"
    more = 1e3 * between.line.slope - most
    if more <= max(1e3 * between.line.slope_error, 0.05 * most):
        return f"{text}. {told}: that fits"
    return f"{text}. {told}: {more:.1f} mOhm more lie in joints, fuses and switches"


def parted_in_words(explained: Explained, pack: Ruled) -> str:
    """Where the log's stages and those of the rules first part for a while; empty for nowhere."""
    found = parting(pack, Along(pack.log.trace.t))
    if found is None:
        return ""
    return (
        f"at {told_stamp(explained, found.t)} for {found.length_s:.0f} s: the log says {found.logged},"
        f" the rules say {found.ruled}"
    )


def _give_or_take(error: float, digits: int) -> str:
    """Half an interval; what rounding would hide is told as less than the last digit."""
    least = 10.0**-digits
    told = f"{error:.{digits}f}" if error >= 0.5 * least else f"less than {least:g}"
    return f"give or take {told}"


def _show_fixes(console: Console, fixes: tuple[Fix, ...]) -> None:
    if not fixes:
        return
    console.print()
    line(console, " " * INDENT, ("What would help", "bold"))
    for number, fix in enumerate(fixes[:MOST_FIXES], start=1):
        first = f"{' ' * INDENT}{number}. "
        paragraph(console, fix.change, indent=INDENT + 3, first=first)
        paragraph(console, outcome_of(fix), indent=INDENT + 3, style=_STYLES[fix.helps])
        if fix.risk:
            paragraph(console, f"risk: {fix.risk}", indent=INDENT + 3, style="dim")
    if len(fixes) > MOST_FIXES:
        paragraph(console, f"and {len(fixes) - MOST_FIXES} more, in --json", indent=INDENT + 3)


def outcome_of(fix: Fix) -> str:
    """What came of trying a change."""
    if fix.how is How.NOT_TRIED:
        return "not tried: nothing in the log shows what it would do"
    helps = "starts the hold; the log cannot show the rest" if fix.starts else _HELPS[fix.helps]
    if fix.starts and fix.helps is not None:
        helps = _HELPS[fix.helps]
    text = f"{helps}, {fix.how.value}"
    if fix.how is How.REPLAYED and fix.of_days:
        text += f": full on {fix.days} of {count(fix.of_days, 'day')}"
    if isfinite(fix.highest_cell_v):
        text += (
            f"; in a simulated bank the highest cell reaches {fix.highest_cell_v:.3f} V, and"
            f" {fix.above_float_h:.1f} h are spent above float_v"
        )
    return text


def _show_days(console: Console, explained: Explained, pack: str) -> None:
    console.print()
    rows = [
        [
            Text(" " * INDENT + str(reason.day)),
            Text(reason.cause.value),
            Text(told_stamp(explained, reason.t)),
            Text(amount(reason)),
            Text("" if reason.sure is not Sure.GUESSED else reason.sure.value),
        ]
        for reason in explained.of(pack)
    ]
    heads = ("  day", "", "at", "", "")
    columns(console, heads, rows, [True, False, False, True, False])


def amount(reason: Reason) -> str:
    """The number at the end of the chain; empty where there is none."""
    return f"{reason.amount:.4g} {reason.unit}" if isfinite(reason.amount) else ""


def _show_sum(console: Console, story: Story) -> None:
    paragraph(console, f"{how_many_well(story)}{look_first(story)}.", style="bold")


def how_many_well(story: Story) -> str:
    """How many packs are well."""
    packs = story.explained.packs
    well = [pack for pack in packs if story.explained.main(pack.name).cause in FINE]
    return f"{len(well)} of {count(len(packs), 'pack')} are well"


def look_first(story: Story) -> str:
    """Which pack to look at first, why, and what to try; empty where all are well."""
    top = story.explained.top
    if top.cause in FINE:
        return ""
    text = f"; look at {top.pack} first: {top.cause.value}"
    best = next((fix for fix in story.fixes.get(top.pack, ()) if fix.helps), None)
    return text if best is None else f"{text}. Try this: {best.change}"


def _side(console: Console, label: str, text: str) -> None:
    paragraph(console, text, indent=INDENT + LABEL, first=" " * INDENT + label)
