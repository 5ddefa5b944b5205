"""A pair told on the terminal: pack by pack, the charger, findings, whose fault, and one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

from rich.console import Console
from rich.text import Text

from ctrl.charger import ChargerSettings
from harness.report.caution import cautions_of
from harness.report.console import columns, line, paragraph
from harness.report.findings import show_findings
from harness.report.pair_words import blame_sentence, verdict_sentence, why_not
from harness.report.paired import Crossed, Paired
from harness.report.simulated import clock
from harness.report.words import count, number
from harness.run import Finding
from harness.world.charger_course import Extreme, above_request_at
from harness.world.filled import Filling
from harness.world.result import OF_CHARGER, Result

MOST_FINDINGS = 2
LABEL = 12
HOUR_S = 3600.0
# A shorter time is told in seconds.
SHORT_H = 0.1
# Less than this above a request is not above it.
LEAST_V = 0.0005


def show_pair(console: Console, paired: Paired) -> None:
    """Heading, packs, charger, findings, whose fault it is, and the verdict."""
    _show_heading(console, paired)
    console.print()
    _show_packs(console, paired)
    console.print()
    _show_charger(console, paired)
    _show_reasons(console, paired)
    _show_stop(console, paired.result)
    _show_findings(console, paired)
    _show_crossed(console, paired)
    _show_verdict(console, paired)
    for caution in cautions_of(paired.result.world):
        paragraph(console, caution, style="dim")


def _show_heading(console: Console, paired: Paired) -> None:
    scenario, result = paired.scenario, paired.result
    world = result.world
    line(console, (scenario.name, "bold"), ": ", (scenario.title, "bold"))
    identities = [
        f"{pack.name} ({pack.identity.name} {pack.identity.version}, {spec})"
        for pack, spec in zip(result.packs, paired.specs, strict=True)
    ]
    told = [("controllers", ", ".join(identities))]
    if result.charger is not None:
        identity = result.charger.identity
        told += [
            ("charger", f"{identity.name} {identity.version}, {paired.charger_spec}"),
            ("its settings", _settings(result.charger.case.settings, world.packs[0].pack.count)),
        ]
    ran_h = result.summary.ran_s / HOUR_S
    told.append(
        ("ran", f"{ran_h:.4g} h from {world.start_at}, {number(world.interval_s)} s a step")
    )
    for label, text in told:
        paragraph(console, text, indent=LABEL + 2, first=label)


def _settings(settings: ChargerSettings, cells: int) -> str:
    usual = ChargerSettings.for_cells(cells, packs=settings.packs).to_mapping()
    changed = [f"{n} {v}" for n, v in settings.to_mapping().items() if v != usual[n]]
    return ", ".join([count(settings.packs, "pack"), *(changed or ["else the defaults"])])


def _show_packs(console: Console, paired: Paired) -> None:
    heads = (
        "pack",
        "full at",
        "true %",
        "error %",
        "highest V",
        "over entry mV",
        "added mV",
    )
    rows = []
    for filling in paired.fillings:
        rows.append([Text(cell) for cell in _pack_cells(paired, filling)])
    columns(console, heads, rows, [False, *[True] * (len(heads) - 1)])


def _pack_cells(paired: Paired, filling: Filling) -> Sequence[str]:
    reset, run = filling.reset, paired.result.charger
    over_v = -filling.short_v
    above_v = float("nan")
    if reset is not None and run is not None:
        above_v = above_request_at(run, reset.t)
    return (
        filling.name,
        "not filled" if reset is None else clock(paired.result, reset.t),
        f"{100.0 * filling.true_soc:.2f}",
        "-" if reset is None else f"{100.0 * reset.error:+.2f}",
        f"{filling.highest_v:.3f}" if isfinite(filling.highest_v) else "-",
        f"{1000.0 * over_v:+.0f}" if isfinite(over_v) else "-",
        f"{1000.0 * above_v:+.0f}" if isfinite(above_v) else "-",
    )


def _show_charger(console: Console, paired: Paired) -> None:
    course = paired.course
    if course is None:
        return
    lasted = [(word, h) for word, h in course.state_h.items() if h > 0.0]
    hours = ", ".join(
        f"{word} {_lasted(h)}" for word, h in sorted(lasted, key=lambda each: -each[1])
    )
    above, over = course.above_request, course.over_request
    told = [
        ("charger", hours),
        ("set-point", f"{_extreme(paired.result, above)} the lowest request while following"),
        ("readings", f"{_extreme(paired.result, over)} it while charging"),
    ]
    for label, text in told:
        paragraph(console, text, indent=LABEL + 2, first=label)
    console.print()


def _lasted(hours: float) -> str:
    return f"{hours:.2f} h" if hours >= SHORT_H else f"{hours * HOUR_S:.0f} s"


def _extreme(result: Result, extreme: Extreme) -> str:
    if not extreme.v >= LEAST_V:
        return "never above"
    return f"at most {extreme.v * 1000.0:.0f} mV (at {clock(result, extreme.t)}) above"


def _show_reasons(console: Console, paired: Paired) -> None:
    for p, filling in enumerate(paired.fillings):
        if filling.filled:
            continue
        line(console, (f"{filling.name} was not filled", "bold red"))
        for sentence in why_not(paired, p):
            paragraph(console, sentence, indent=2)
        console.print()


def _show_stop(console: Console, result: Result) -> None:
    stop = result.stop
    if stop is None:
        return
    who = "the physics"
    if stop.pack == OF_CHARGER:
        who = "the charger"
    elif stop.pack >= 0:
        who = f"the controller of {result.packs[stop.pack].name}"
    when = f"Stopped at {clock(result, stop.t)} (step {stop.step:,}) by {who}"
    paragraph(console, f"{when}: {stop.reason}", style="bold red")
    paragraph(console, "What ran until then is kept, above and in what is written.", indent=2)
    console.print()


def _show_findings(console: Console, paired: Paired) -> None:
    by_requirement: dict[str, list[Finding]] = {}
    for finding in paired.findings:
        by_requirement.setdefault(finding.requirement, []).append(finding)
    for requirement_id, findings in by_requirement.items():
        show_findings(console, requirement_id, findings, most=MOST_FINDINGS)
        console.print()


def _show_crossed(console: Console, paired: Paired) -> None:
    if not paired.crossed:
        return
    own = Crossed(True, True, paired.fillings)
    rows = [
        [
            Text("under test" if each.own_controllers else "reference"),
            Text("under test" if each.own_charger else "reference"),
            Text(_filled_of(each), style="green" if each.fills_all else "bold red"),
        ]
        for each in (own, *paired.crossed)
    ]
    columns(console, ("controllers", "charger", "packs filled"), rows, [False, False, False])
    console.print()


def _filled_of(crossed: Crossed) -> str:
    if not crossed.fillings:
        return "could not be run"
    filled = sum(each.filled for each in crossed.fillings)
    return f"{filled} of {len(crossed.fillings)}"


def _show_verdict(console: Console, paired: Paired) -> None:
    well = paired.fills_all and not paired.findings
    paragraph(console, verdict_sentence(paired), style="bold green" if well else "bold red")
    if sentence := blame_sentence(paired):
        paragraph(console, sentence, style="bold")
    if paired.failed_physics:
        paragraph(
            console,
            "The run ended early: what came after was not judged",
            style="bold magenta",
        )
