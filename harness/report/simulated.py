"""One simulated scenario, told: what happened when, what it came to, and what is to be said of it."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite, isnan

import attrs
from attrs import frozen
from rich.console import Console
from rich.text import Text

from harness.report.caution import cautions_of
from harness.report.console import columns, line, paragraph, stage_text
from harness.report.findings import show_findings
from harness.report.words import changed_settings, count, number
from harness.run import Finding
from harness.verdict import CaseVerdict
from harness.world.daytime import DAY_S, written
from harness.world.expectation import Observed
from harness.world.result import Event, Result
from harness.world.scenario import Scenario

MOST_EVENTS = 60
MOST_FINDINGS = 3
LABEL = 12
HOUR_S = 3600.0


@frozen(eq=False)
class Simulated:
    """What came of a scenario.

    Attributes:
        scenario: what was run.
        specs: how the controller of each pack was named.
        result: what came of it.
        verdicts: what the requirements say of each pack's controller; None where it saw nothing.
        observed: the scenario's expectations beside what came of them.
        not_observed: why they were not looked at; empty where they were.
    """

    scenario: Scenario
    specs: tuple[str, ...]
    result: Result
    verdicts: tuple[CaseVerdict | None, ...]
    observed: tuple[Observed, ...]
    not_observed: str = ""

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding about every pack's controller; a broken link is one."""
        found = [f for verdict in self.verdicts if verdict is not None for f in verdict.findings]
        stop = self.result.stop
        if stop is not None and stop.fault is not None:
            pack = self.result.packs[stop.pack]
            taken = 0 if pack.samples is None else len(pack.samples)
            case = f"{self.result.world.name}/{pack.name}"
            finding = stop.fault.finding(case, t=stop.inputs.get("t", stop.t))
            found.append(attrs.evolve(finding, index=taken))
        return tuple(found)

    @property
    def unmet(self) -> tuple[Observed, ...]:
        """The expectations that were not met."""
        return tuple(each for each in self.observed if not each.met)

    @property
    def failed_physics(self) -> bool:
        """Whether the run ended early without a fault of any controller."""
        return self.result.stop is not None and self.result.stop.fault is None


def clock(result: Result, t: float) -> str:
    """A moment of a run as a time of day, with the day where there are several."""
    since_midnight_s = result.world.start_s + t
    several = result.world.start_s + result.world.duration_s > DAY_S
    day = f"day {int(since_midnight_s // DAY_S) + 1} " if several else ""
    return day + written(since_midnight_s)


def event_words(event: Event) -> str:
    """What happened, in words."""
    if event.name == "bank_asks":
        return f"asks for {event.voltage_v:.2f} V and {event.current_a:.0f} A"
    words = {
        "full_reset": "full reset",
        "full_denied": "full reset denied",
        "inhibited": "charging blocked",
        "released": "charging allowed again",
        "float_ended": "back to bulk",
        "equalisation_abandoned": "equalisation abandoned, due still",
    }
    told = words.get(event.name, event.name.replace("_", " "))
    if event.name != "stage_changed" or event.from_stage is None or event.to_stage is None:
        return told
    return f"{event.from_stage.word} to {event.to_stage.word}"


def show(console: Console, simulated: Simulated) -> None:
    """Heading, timeline, sums, findings, expectations, and one sentence."""
    _show_heading(console, simulated)
    console.print()
    _show_events(console, simulated.result)
    console.print()
    _show_packs(console, simulated.result)
    _show_bank(console, simulated.result)
    console.print()
    _show_stop(console, simulated.result)
    _show_findings(console, simulated)
    _show_expectations(console, simulated)
    for text, style in _summary(simulated):
        paragraph(console, text, style=style)
    for caution in cautions_of(simulated.result.world):
        paragraph(console, caution, style="dim")


def _show_heading(console: Console, simulated: Simulated) -> None:
    scenario, result = simulated.scenario, simulated.result
    world = result.world
    line(console, (scenario.name, "bold"), ": ", (scenario.title, "bold"))
    paragraph(console, " ".join(scenario.shows.split()))
    packs = ", ".join(
        f"{branch.name} ({_controller(simulated, p)})" for p, branch in enumerate(world.packs)
    )
    ran_h = result.summary.ran_s / HOUR_S
    told = [
        ("packs", packs),
        ("settings", changed_settings(world.packs[0].settings)),
        ("policy", f"{world.bank.policy}, {number(world.charger.current_a)} A charger"),
        ("ran", f"{ran_h:.4g} h from {world.start_at}, {number(world.interval_s)} s a step"),
        ("source", scenario.source),
    ]
    for label, text in told:
        if text:
            paragraph(console, text, indent=LABEL, first=label)


def _controller(simulated: Simulated, p: int) -> str:
    identity = simulated.result.packs[p].identity
    return f"{identity.name} {identity.version}, {simulated.specs[p]}"


def _show_events(console: Console, result: Result) -> None:
    if not result.events:
        line(console, "No stage changed, and the bank asked for nothing new.")
        return
    rows = []
    for event in result.events[:MOST_EVENTS]:
        who = "bank" if event.pack < 0 else result.packs[event.pack].name
        stage = "" if event.to_stage is None else event.to_stage.word
        of_pack = event.pack >= 0
        rows.append(
            [
                Text(clock(result, event.t)),
                Text(who, style="" if of_pack else "dim"),
                stage_text(stage),
                Text(event_words(event)),
                Text(f"{event.voltage_v:.3f}" if of_pack else ""),
                Text(_percent(event.true_soc) if of_pack else ""),
                Text(_counted(event) if of_pack else ""),
            ]
        )
    heads = ("time", "who", "stage", "what happened", "reads V", "true %", "counted %")
    columns(console, heads, rows, (True, False, False, False, True, True, True))
    if (rest := len(result.events) - MOST_EVENTS) > 0:
        line(console, (f"and {rest:,} more; --json FILE writes all of them", "dim"))


def _counted(event: Event) -> str:
    """What was counted before the sample, and after it where a reset moved it."""
    before, after = _percent(event.counted_before), _percent(event.counted_after)
    return before if before == after else f"{before} -> {after}"


def _show_packs(console: Console, result: Result) -> None:
    heads = (
        "pack", "resets", "first", "last", "true %", "counted %", "error %",
        "above float h", "in kWh", "out kWh",
    )  # fmt: skip
    rows = []
    for pack in result.summary.packs:
        resets = pack.resets
        error = None if pack.counted_soc is None else pack.counted_soc - pack.true_soc
        cells = (
            pack.name,
            str(len(resets)),
            clock(result, resets[0].t) if resets else "-",
            clock(result, resets[-1].t) if resets else "-",
            _percent(pack.true_soc),
            _percent(pack.counted_soc),
            _percent(error, sign=True),
            f"{pack.above_float_h:.2f}",
            f"{pack.in_wh / 1000.0:.2f}",
            f"{pack.out_wh / 1000.0:.2f}",
        )
        rows.append([Text(cell) for cell in cells])
    columns(console, heads, rows, [False, *[True] * (len(heads) - 1)])


def _show_bank(console: Console, result: Result) -> None:
    summary = result.summary
    into_packs_wh = sum(pack.in_wh - pack.out_wh for pack in summary.packs)
    in_packs_wh = sum(pack.lost_wh for pack in summary.packs)
    in_cables_wh = summary.charger_wh - summary.load_wh - into_packs_wh
    told = [
        f"charger {summary.charger_wh / 1000.0:.2f} kWh",
        f"loads {summary.load_wh / 1000.0:.2f} kWh",
        f"lost in packs {in_packs_wh / 1000.0:.3f} kWh, in cables {in_cables_wh / 1000.0:.3f} kWh",
    ]
    if summary.denied_wh > 0.0:
        told.append(f"loads went without {summary.denied_wh / 1000.0:.2f} kWh")
    if summary.sun_wh is not None and isfinite(summary.sun_wh):
        told.append(f"the sun would have given {summary.sun_wh / 1000.0:.1f} kWh")
    paragraph(console, "; ".join(told))


def _show_stop(console: Console, result: Result) -> None:
    stop = result.stop
    if stop is None:
        return
    who = "the physics" if stop.pack < 0 else f"the controller of {result.packs[stop.pack].name}"
    paragraph(
        console,
        f"Stopped at {clock(result, stop.t)} (step {stop.step:,}) by {who}: {stop.reason}",
        style="bold red",
    )
    inputs = ", ".join(f"{name} {value}" for name, value in stop.inputs.items())
    paragraph(console, f"given: {inputs}", indent=2)
    paragraph(console, "What ran until then is kept, above and in what is written.", indent=2)
    console.print()


def _show_findings(console: Console, simulated: Simulated) -> None:
    by_requirement: dict[str, list[Finding]] = {}
    for finding in simulated.findings:
        by_requirement.setdefault(finding.requirement, []).append(finding)
    for requirement_id, findings in by_requirement.items():
        show_findings(console, requirement_id, findings, most=MOST_FINDINGS)
        console.print()


def _show_expectations(console: Console, simulated: Simulated) -> None:
    for each in simulated.observed:
        style = "green" if each.met else "bold red"
        line(console, ("met      " if each.met else "not met  ", style), each.sentence)
    if simulated.not_observed:
        paragraph(console, simulated.not_observed, style="yellow")
    if simulated.observed or simulated.not_observed:
        console.print()


def _summary(simulated: Simulated) -> Sequence[tuple[str, str]]:
    """Sentences and their styles."""
    exercised = {
        name for verdict in simulated.verdicts if verdict is not None for name in verdict.exercised
    }
    broken = {finding.requirement for finding in simulated.findings}
    judged = f"{count(len(exercised | broken), 'requirement')} exercised"
    told = [
        (f"{judged}, {len(broken)} broken", "bold red")
        if broken
        else (f"{judged}, none broken", "bold green")
    ]
    if simulated.failed_physics:
        told.append(("The run ended early: what came after was not judged", "bold magenta"))
    if simulated.observed:
        unmet, all_of_them = len(simulated.unmet), count(len(simulated.observed), "expectation")
        told.append(
            (f"{all_of_them}, {unmet} not met", "bold red")
            if unmet
            else (f"{all_of_them}, all met", "bold green")
        )
    return told


def _percent(fraction: float | None, *, sign: bool = False) -> str:
    if fraction is None or isnan(fraction):
        return "-"
    return f"{100.0 * fraction:{'+' if sign else ''}.2f}"
