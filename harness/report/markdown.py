"""The result as Markdown of bounded length, for the job summary of a build server.

Whatever comes from a controller is escaped: it can be no markup, no link, no mention and no table.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from harness.report.again import again
from harness.report.around import rows_around
from harness.report.baseline import Changes
from harness.report.catalogue import any_requirement
from harness.report.caution import CAUTION
from harness.report.result import Result
from harness.report.summary import (
    broken,
    by_reason,
    not_exercised,
    not_observable,
    outcomes,
    tried,
    verdict,
    who,
)
from harness.report.terminal import by_subject
from harness.report.words import changed_settings, count, listed
from harness.run import Finding

# Some build servers refuse a summary of 65,536 characters.
MOST_CHARACTERS = 60_000
MOST_REQUIREMENTS = 80
MOST_LINES = 60
MOST_TEXT = 300
MOST_COMMAND = 1_000
MOST_ROWS = 15
CUT = "\n\n*What follows is left out; the stored result has all of it.*\n"
SIGNS = {0: "✅", 1: "❌", 3: "❔"}

_MARKUP = re.compile(r"([\\`*_{}\[\]()#!|~>$^=])")
# What begins a list where it begins a line, and what makes a link of an address.
_LIST = re.compile(r"^([-+]|\d+(?=[.)]\s))")
_ADDRESS = re.compile(r"(:|www)(?=//|\.)", re.IGNORECASE)
# Cannot be seen; keeps a name behind an at sign from being called, and an address from being one.
_JOINER = "\u2060"


def to_markdown(result: Result, changes: Changes | None = None) -> str:
    """The result in at most `MOST_CHARACTERS` characters.

    Args:
        result: what came out.
        changes: what is different from a stored result; None where it was not compared.
    """
    lines = list(_lines(result, changes))
    text = "\n".join(lines) + "\n"
    if len(text) <= MOST_CHARACTERS:
        return text
    kept = text[: MOST_CHARACTERS - len(CUT)].rpartition("\n")[0]
    # A block of code that is cut open would swallow what follows.
    fences = sum(line.startswith("```") for line in kept.splitlines())
    return kept + ("\n```" if fences % 2 else "") + CUT


def _lines(result: Result, changes: Changes | None) -> Iterator[str]:
    looks_like, text = verdict(result)
    yield f"## {SIGNS[looks_like]} {plain(who(result))}: {plain(text)}"
    yield ""
    yield "| | |"
    yield "|---|---|"
    told = [("attached", code(result.report.spec)), ("tried", plain(tried(result)))]
    if result.selection:
        told.append(("selected", code(" ".join(result.selection))))
    if result.stopped:
        told.append(("stopped", plain(result.stopped)))
    told.append(("outcomes", plain(outcomes(result))))
    if unknown := not_exercised(result):
        told.append(("not exercised", plain(listed(unknown, MOST_LINES))))
    if result.environment is not None and result.environment.command:
        told.append(("command", code(result.environment.command)))
    for label, cell in told:
        yield f"| {label} | {cell} |"
    if changes is not None:
        yield from _changes(changes)
    failed = broken(result)
    if failed:
        yield from _broken(result)
        yield from _shortest(result)
    yield from _left_out(result)
    yield ""
    yield f"*{CAUTION}*"


def _changes(changes: Changes) -> Iterator[str]:
    yield ""
    yield f"### Since {code(changes.called)}: {changes.sentence}"
    yield ""
    for line in changes.lines[:MOST_LINES]:
        yield f"- {plain(line)}"
    if (rest := len(changes.lines) - MOST_LINES) > 0:
        yield f"- and {rest} more"


def _broken(result: Result) -> Iterator[str]:
    failed = broken(result)
    yield ""
    yield f"### {count(len(failed), 'requirement')} broken"
    yield ""
    yield "| requirement | level | what it asks | findings | the first one |"
    yield "|---|---|---|---:|---|"
    for each in failed[:MOST_REQUIREMENTS]:
        asked = any_requirement(each.requirement)
        found = by_subject(result.unexcused(each))
        yield (
            f"| {code(asked.id)} | {asked.level} | {plain(asked.title)} | {len(found)} | "
            f"{code(found[0].case)}: {plain(found[0].sentence)} |"
        )
    if (rest := len(failed) - MOST_REQUIREMENTS) > 0:
        yield ""
        yield f"and {count(rest, 'requirement')} more"


def _shortest(result: Result) -> Iterator[str]:
    """The finding that the fewest samples show, with those next to it."""
    open_findings = [f for each in broken(result) for f in result.unexcused(each)]
    shown = [f for f in open_findings if result.excerpt(f) is not None]
    finding = min(shown or open_findings, key=lambda f: (f.index < 0, f.index))
    yield ""
    yield "### The shortest trace that shows one"
    yield ""
    yield f"{code(finding.requirement)} in {code(finding.case)}: {plain(finding.sentence)}"
    yield ""
    yield f"observed {plain(finding.observed)}, expected {plain(finding.expected)}"
    yield from _samples(result, finding)
    yield ""
    command = again(result, finding)
    # One that cannot be typed is of no use, and what cannot be printed may be meant to deceive.
    if len(command) <= MOST_COMMAND and command.isprintable():
        yield "To see it again:"
        yield ""
        yield from _block(command)


def _samples(result: Result, finding: Finding) -> Iterator[str]:
    excerpt = result.excerpt(finding)
    if excerpt is None:
        return
    rows = rows_around(excerpt, finding, MOST_ROWS)
    yield ""
    yield f"Settings: {plain(changed_settings(excerpt.settings))}"
    yield ""
    yield "| " + " | ".join(map(plain, rows.heads)) + " | |"
    yield "|" + "---:|" * (len(rows.heads) - 2) + "---|---|---|"
    for place, row in enumerate(rows.rows):
        here = "← here" if place == rows.here else ""
        yield "| " + " | ".join(map(plain, row)) + f" | {here} |"
    if rows.left_out:
        yield ""
        yield "Samples are left out where their numbers jump."


def _left_out(result: Result) -> Iterator[str]:
    for thing, title, together in (
        ("case", "could not be judged", by_reason(result.report.errors)),
        ("case", "not applicable", by_reason(result.report.not_applicable)),
        ("requirement", "not observable", not_observable(result)),
    ):
        for reason, names in list(together.items())[:MOST_LINES]:
            yield ""
            yield f"{count(len(names), thing)} {title}: {plain(reason)}"
    for standing in [each for each in result.known if each.out_of_date][:MOST_LINES]:
        yield ""
        yield f"known failure {plain(standing.entry.text)}: {plain(standing.state.value)}"


def plain(text: str) -> str:
    """Text that stays text in Markdown, on one line, of bounded length."""
    text = _one_line(text, MOST_TEXT)
    text = text.replace("&", "&amp;").replace("<", "&lt;")
    text = _MARKUP.sub(r"\\\1", text).replace("@", "@" + _JOINER)
    return _LIST.sub(r"\1" + _JOINER, _ADDRESS.sub(r"\1" + _JOINER, text))


def code(text: str) -> str:
    """Text as code, on one line and inside a table."""
    text = _one_line(text, MOST_TEXT).replace("|", "\\|") or " "
    fence = "`" * (1 + max(map(len, re.findall("`+", text)), default=0))
    around = " " if "`" in text else ""
    return f"{fence}{around}{text}{around}{fence}"


def _block(text: str) -> Iterator[str]:
    fence = "`" * max(3, 1 + max(map(len, re.findall("`+", text)), default=0))
    yield f"{fence}sh"
    yield text
    yield fence


def _one_line(text: str, most: int) -> str:
    shown = "".join(each if each.isprintable() else " " for each in text)
    shown = " ".join(shown.split())
    return shown if len(shown) <= most else f"{shown[: most - 1]}…"
