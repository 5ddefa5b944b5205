"""Known failures: a list that excuses what it names, and fails where it is out of date.

The list is TOML, one table an entry:

    [[known]]
    requirement = "HOLD.full-length"
    vector = "hold/sag-runs-on"      # may be left out: then in every vector
    reason = "the timer of release 2.3 rounds down; corrected in 2.4"
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from enum import Enum
from pathlib import Path
from typing import Any

from attrs import frozen

from ctrl.errors import nearest
from harness.errors import InputError
from harness.run import Finding, Outcome
from harness.toml_file import read_toml
from harness.toml_place import line_of
from harness.verdict import Report

_KEYS = ("requirement", "vector", "reason")
_MEANINGS = {
    "requirement": 'the id that is known to be broken, such as "HOLD.full-length"',
    "reason": "why it is known, and for how long",
}
UNEXPLAINED = "not explained yet"


@frozen
class Entry:
    """One known failure.

    Attributes:
        requirement: id of the requirement that is known to be broken.
        vector: id of the vector in which it is; empty for all.
        reason: why it is known, and for how long.
    """

    requirement: str
    vector: str
    reason: str

    def names(self, finding: Finding) -> bool:
        """Whether a finding is what this entry speaks of."""
        return finding.requirement == self.requirement and self.vector in ("", finding.case)

    @property
    def text(self) -> str:
        """The entry in a few words."""
        return f"{self.requirement} in {self.vector}" if self.vector else self.requirement


class State(Enum):
    """What a run says about an entry; the value is how it is told."""

    EXCUSES = "excused"
    PASSES = "passes now, take it out of the list"
    NAMES_NOTHING = "was never judged, take it out of the list"
    NOT_RUN = "no part of this run"


# States in which the entry itself is a failure.
OUT_OF_DATE = (State.PASSES, State.NAMES_NOTHING)


@frozen
class Standing:
    """An entry, and what the run says about it.

    Attributes:
        entry: the entry.
        state: what became of it.
        findings: how many findings it excuses.
    """

    entry: Entry
    state: State
    findings: int

    @property
    def out_of_date(self) -> bool:
        """Whether the entry itself is a failure."""
        return self.state in OUT_OF_DATE


def read_known(
    path: str | Path, requirements: Collection[str], vectors: Collection[str]
) -> tuple[Entry, ...]:
    """Read a list of known failures.

    Args:
        path: its file.
        requirements: the ids that an entry may name.
        vectors: the ids that an entry may name.

    Raises:
        InputError: the file cannot be read, is no such list, or names what does not exist.
    """
    place = Path(path)
    content = read_toml(place, '[[known]], requirement = "HOLD.full-length"')
    for key in content:
        if key != "known":
            raise InputError(
                f"there is {key!r}",
                file=place,
                line=line_of(place.read_text(encoding="utf-8-sig"), key),
                hint="it holds [[known]] tables only",
            )
    tables = content.get("known", [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise InputError("known is no list of tables", file=place, hint="write [[known]]")
    entries: list[Entry] = []
    for number, table in enumerate(tables, start=1):
        try:
            entry = _entry(table)
            _refuse_unknown("requirement", entry.requirement, requirements)
            if entry.vector:
                _refuse_unknown("vector", entry.vector, vectors)
            if any((entry.requirement, entry.vector) == (e.requirement, e.vector) for e in entries):
                raise InputError(f"{entry.text} stands there twice", hint="take one of them out")
        except InputError as error:
            field = f"known[{number - 1}].{error.column}".rstrip(".")
            raise InputError(
                error.message,
                file=place,
                line=line_of(place.read_text(encoding="utf-8-sig"), field),
                column=f"entry {number}",
                hint=error.hint,
            ) from None
        entries.append(entry)
    return tuple(entries)


def _entry(table: dict[str, Any]) -> Entry:
    for key, value in table.items():
        if key not in _KEYS:
            raise InputError(f"there is {key!r}", column=key, hint=nearest(key, _KEYS))
        if not isinstance(value, str) or not value.strip():
            raise InputError(
                f"{key} is {value!r:.60}", column=key, hint="it must be text, not empty"
            )
    for key in ("requirement", "reason"):
        if key not in table:
            raise InputError(f"{key} is missing", hint=_MEANINGS[key])
    return Entry(table["requirement"], table.get("vector", ""), table["reason"])


def _refuse_unknown(kind: str, name: str, known: Collection[str]) -> None:
    if name not in known:
        raise InputError(f"there is no {kind} {name!r}", column=kind, hint=nearest(name, known))


def standings(
    entries: Iterable[Entry], report: Report, *, ran: Collection[str], whole: bool
) -> tuple[Standing, ...]:
    """What a run says about each entry.

    Args:
        entries: the list.
        report: what came of the run.
        ran: ids of the cases that were to run.
        whole: whether everything was to run and did; a part cannot show that an entry is of no use.
    """
    results = {result.requirement: result for result in report.results}
    told = []
    for entry in entries:
        result = results.get(entry.requirement)
        excused = sum(entry.names(finding) for finding in result.findings) if result else 0
        if excused:
            state = State.EXCUSES
        elif result is None or entry.vector in report.errors or not (whole or entry.vector in ran):
            state = State.NOT_RUN
        elif result.outcome in (Outcome.PASS, Outcome.FAIL) and (
            not entry.vector or entry.vector in result.cases
        ):
            state = State.PASSES
        else:
            state = State.NAMES_NOTHING if whole else State.NOT_RUN
        told.append(Standing(entry, state, excused))
    return tuple(told)


def to_toml(findings: Iterable[Finding], before: Iterable[Entry]) -> str:
    """A list that excuses these findings; reasons that are known already are kept."""
    reasons = {(entry.requirement, entry.vector): entry.reason for entry in before}
    pairs = dict.fromkeys((finding.requirement, finding.case) for finding in findings)
    lines = ["# Known failures. An entry that passes, or names nothing, is itself a failure."]
    for requirement, vector in pairs:
        reason = reasons.get((requirement, vector)) or reasons.get((requirement, ""), UNEXPLAINED)
        lines += [
            "",
            "[[known]]",
            f"requirement = {_quoted(requirement)}",
            f"vector = {_quoted(vector)}",
            f"reason = {_quoted(reason)}",
        ]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    # A JSON string is a TOML basic string, apart from the code point DEL.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
