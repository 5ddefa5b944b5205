"""A hunt for people: each failure with its shortest trace, and the sum of it last."""

from __future__ import annotations

from collections import Counter

from rich.console import Console
from rich.text import Text

from harness.hunt.failure import Failure
from harness.report.catalogue import any_requirement
from harness.report.caution import CAUTION
from harness.report.console import STAGE_STYLES, columns, line, paragraph
from harness.report.hunt_roles import hunt_told
from harness.report.hunted import HuntResult, Told
from harness.report.summary import VERDICTS, outcomes
from harness.report.terminal import LABEL, STYLES, show_known, told_sum
from harness.report.words import count, listed
from harness.run import Outcome

INDENT = 2
SIDE = 12
MOST_BROKEN = 12
_STATE_STYLES = STAGE_STYLES | {"stopped": "red", "fallback": "yellow", "following": "green"}


def show_hunt(console: Console, found: HuntResult) -> None:
    """Show everything, the sum of it last."""
    for told in found.told:
        _show_told(console, found, told)
    _show_others(console, found)
    _show_errors(console, found)
    show_known(console, found.result)
    _show_sum(console, found)


def _show_told(console: Console, found: HuntResult, told: Told) -> None:
    failure, finding = told.failure, told.finding
    asked = any_requirement(failure.key.requirement)
    excuse = found.result.reason(failure.finding)
    style = "yellow" if excuse else "bold red"
    line(console, (asked.id, style), f" ({asked.level}): ", (asked.title, "bold"))
    paragraph(console, asked.statement, indent=INDENT, style="dim")
    if excuse:
        _side(console, "known", excuse)
    console.print()
    paragraph(console, finding.sentence, indent=INDENT, style="bold")
    if told.case is None or failure.before:
        _side(console, "observed", finding.observed)
        _side(console, "expected", finding.expected)
    else:
        _show_trace(console, told, found.hunted.role)
    if told.run is None and finding.detail:
        console.print()
        paragraph(console, finding.detail, indent=INDENT, style="dim")
    console.print()
    _side(console, "found", _how_often(found, failure))
    if told.reduced is not None:
        _side(console, "shortened", _how_short(told, found.hunted.role))
    if told.not_saved:
        _side(console, "not saved", told.not_saved)
    if told.again:
        line(console, " " * INDENT, "again".ljust(SIDE), (told.again, "bold"))
    console.print()


def _show_trace(console: Console, told: Told, role: str) -> None:
    case, finding = told.case, told.finding
    assert case is not None
    if told.reduced is None or told.reduced.flaky:
        _side(console, "trace", f"{case.id}, {count(len(case.trace), 'sample')}")
        return
    of_role = hunt_told(role)
    table = of_role.table(case, told.run, finding)
    rows = [[_cell(cell, bold=k == table.here) for cell in row] for k, row in enumerate(table.rows)]
    indented = [[Text(" " * INDENT), *row] for row in rows]
    console.print()
    columns(console, ["", *table.heads], indented, [False, *table.right])
    console.print()
    for label, text in of_role.beside(case):
        _side(console, label, text)


def _cell(cell: str, *, bold: bool) -> Text:
    word = cell.partition(",")[0]
    style = _STATE_STYLES.get(word, "")
    return Text(cell, style=f"bold {style}".strip() if bold else style)


def _how_often(found: HuntResult, failure: Failure) -> str:
    if failure.case is None:
        return "apart from any trace"
    total = count(found.hunted.traces, "trace")
    text = f"in {failure.traces:,} of {total}, first in {failure.case.id}"
    if failure.before:
        text += f"; only after {count(failure.before, 'trace')} before it"
    return text


def _how_short(told: Told, role: str) -> str:
    reduced = told.reduced
    assert reduced is not None
    if reduced.flaky:
        return "not at all: run once more, the same trace was answered without this failure"
    assert told.failure.case is not None
    samples = f"from {len(told.failure.case.trace)} to {count(len(reduced.case.trace), 'sample')}"
    text = f"{samples} in {count(reduced.runs, 'run')} of the {role}"
    if reduced.ended != "smallest":
        spent = {
            "runs": "no more runs were allowed",
            "seconds": "the time was over",
            "interrupted": "interrupted",
        }
        text += f"; {spent[reduced.ended]}, so there may be a shorter one"
    return text


def _show_others(console: Console, found: HuntResult) -> None:
    """The ways of breaking a requirement that are not told in full: one line each."""
    told = {each.failure.key for each in found.told}
    others = [each for each in found.hunted.failures if each.key not in told]
    if not others:
        return
    line(console, ("other ways in which these requirements were broken", "bold"))
    for failure in others:
        way = f" in {failure.key.way}" if failure.key.way else ""
        text = f"{failure.key.requirement}{way}: {_how_often(found, failure)}"
        paragraph(console, text, indent=INDENT)
    line(console, ("  --findings N tells more of them in full", "dim"))
    console.print()


def _show_errors(console: Console, found: HuntResult) -> None:
    together: dict[str, list[str]] = {}
    for case, reason in found.hunted.errors.items():
        together.setdefault(reason, []).append(case)
    for reason, cases in together.items():
        paragraph(console, f"not judged: {listed(cases, 5)}: {reason}", style="bold magenta")
    if together:
        console.print()


def _show_sum(console: Console, found: HuntResult) -> None:
    hunted, result = found.hunted, found.result
    who = "unknown, it never said who it is"
    if identity := hunted.identity:
        who = identity.in_words
    told_sum(console, hunted.role, who)
    line(console, "attached".ljust(LABEL), hunted.spec)
    a_second = hunted.traces / hunted.elapsed_s if hunted.elapsed_s else 0.0
    until = f"{hunted.first} to {hunted.first + hunted.traces - 1}" if hunted.traces else "none"
    told_sum(
        console,
        "hunted",
        f"{count(hunted.traces, 'trace')} of seed {hunted.seed} (number {until}), "
        f"{a_second:,.0f} a second",
    )
    if hunted.differing:
        text = f"{count(hunted.differing, 'trace')} answered in another way than by the reference"
        told_sum(console, "allowed", f"{text}, and yet within the requirements")
    if result.selection:
        told_sum(console, "selected", " ".join(result.selection))
    if result.stopped:
        told_sum(console, "stopped", result.stopped, "yellow")
    told_sum(console, "outcomes", outcomes(result))
    traces = Counter[str]()
    for failure in hunted.failures:
        traces[failure.key.requirement] += failure.traces
    broken = [
        f"{each.requirement} ({traces[each.requirement]:,})"
        for each in result.report.results
        if result.unexcused(each)
    ]
    if broken:
        told_sum(console, "broken", listed(broken, MOST_BROKEN), "red")
    if never := _never_exercised(found):
        text = f"no judged trace put it to the test: {', '.join(never)}"
        told_sum(console, "not exercised", text, "yellow")
    told_sum(console, "verdict", *_verdict(found, bool(broken)))
    paragraph(console, CAUTION, style="dim")


def _never_exercised(found: HuntResult) -> list[str]:
    """The requirements of which the hunt says nothing; `HOLD.*` where that is a whole group."""
    groups: dict[str, list[tuple[str, bool]]] = {}
    for each in found.result.report.results:
        never = each.outcome is Outcome.NOT_EXERCISED
        groups.setdefault(any_requirement(each.requirement).group, []).append(
            (each.requirement, never)
        )
    words: list[str] = []
    for group, members in groups.items():
        if len(members) > 1 and all(never for _, never in members):
            words.append(f"{group}.*")
        else:
            words += [name for name, never in members if never]
    return words


def _verdict(found: HuntResult, broken: bool) -> tuple[str, str]:
    result = found.result
    word, style = VERDICTS[result.exit_code], STYLES[result.exit_code]
    if out_of_date := sum(standing.out_of_date for standing in result.known):
        entries = count(out_of_date, "entry", "entries")
        word = word if broken else VERDICTS[0]
        return f"{word}, but the list of known failures is out of date ({entries})", style
    if result.exit_code == 0:
        if any(map(result.excused, result.report.results)):
            word += ", but for known failures"
        word += ", as far as these traces tell"
    return word, style


def _side(console: Console, label: str, text: str) -> None:
    paragraph(console, text, indent=INDENT + SIDE, first=" " * INDENT + label)
