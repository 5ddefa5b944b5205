"""The result as one page of HTML that needs nothing else: it works offline, and prints."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import groupby
from math import isfinite
from typing import Any

from markupsafe import Markup, escape

from harness.report.again import again
from harness.report.around import rows_around
from harness.report.baseline import Changes
from harness.report.catalogue import any_requirement, groups_of
from harness.report.caution import CAUTION
from harness.report.findings import place_of
from harness.report.page_data import page_data
from harness.report.page_parts import rendered
from harness.report.panels import panels
from harness.report.result import Result
from harness.report.roles import told_of
from harness.report.static_plot import static_plot
from harness.report.summary import (
    broken,
    by_reason,
    not_exercised,
    not_observable,
    outcome_counts,
    outcome_word,
    outcomes,
    tried,
    verdict,
    who,
)
from harness.report.words import changed_settings, number
from harness.run import Finding
from harness.verdict import RequirementResult

KINDS = {"pass": "good", "fail": "bad", "error": "odd", "unknown": "odd", "known failure": "odd"}
VERDICT_KINDS = {0: "good", 1: "bad", 3: "odd"}
# A line of a conversation can be of any length; the stored result has all of it.
MOST_DETAIL = 4_000
# So many findings of a requirement have a picture that needs no script, while all of these pictures
# are no longer than this together; the first finding of a requirement always has one.
STILLS_EACH = 20
MOST_STILL_CHARACTERS = 3_500_000
NO_SAMPLE = "There is no sample to show."
NOT_KEPT = "Its samples were not kept: the result holds those of the first findings only."


def to_html(result: Result, changes: Changes | None = None) -> str:
    """The page.

    Args:
        result: what came out.
        changes: what is new since a stored result; None where it was not compared with one.
    """
    looks_like, text = verdict(result)
    data, numbers = page_data(result)
    stills = _stills(result)
    return rendered(
        "page.html",
        data,
        styles="",
        script="page.js",
        result=result,
        verdict=text,
        verdict_kind=VERDICT_KINDS[looks_like],
        identity=who(result),
        follows=told_of(result.report.role).follows,
        tried=tried(result),
        outcomes=outcomes(result),
        counts=outcome_counts(result),
        broken=[_row(result, each) for each in broken(result)],
        not_exercised=not_exercised(result),
        caution=CAUTION,
        changes=changes,
        groups=list(_groups(result)),
        found=[
            _requirement(result, each, changes, numbers, stills)
            for each in result.report.results
            if each.findings
        ],
        known=result.known,
        left_out=[
            (title, list(together.items()))
            for title, together in (
                ("Not judged", by_reason(result.report.errors)),
                ("Not applicable", by_reason(result.report.not_applicable)),
                ("Not observable", not_observable(result)),
            )
            if together
        ],
        settings_told=_settings_told(result),
        settings=_settings(result),
        environment=result.environment,
        limits=_limits(result),
    )


def _groups(result: Result) -> Iterator[tuple[str, str, list[dict[str, Any]]]]:
    by_group = groupby(result.report.results, lambda each: any_requirement(each.requirement).group)
    groups = groups_of(result.report.role)
    for group, members in by_group:
        yield group, groups[group], [_row(result, each) for each in members]


def _row(result: Result, each: RequirementResult) -> dict[str, Any]:
    asked = any_requirement(each.requirement)
    word = outcome_word(result, each)
    found = [f"{finding.case} {finding.sentence}" for finding in each.findings]
    return {
        "id": asked.id,
        "title": asked.title,
        "statement": _marked(asked.statement),
        "level": asked.level,
        "outcome": word,
        "kind": KINDS.get(word, "none"),
        "exercised": f"{each.exercised:,}",
        "cases": f"{len(each.cases):,}",
        "findings": each.findings,
        "words": " ".join([asked.id, asked.title, word, *found])[:MOST_DETAIL].lower(),
    }


def _requirement(
    result: Result,
    each: RequirementResult,
    changes: Changes | None,
    numbers: dict[int, int],
    stills: dict[int, Markup],
) -> dict[str, Any]:
    told = [_finding(result, finding, changes, numbers, stills) for finding in each.findings]
    return {**_row(result, each), "findings": told}


def _finding(
    result: Result,
    finding: Finding,
    changes: Changes | None,
    numbers: dict[int, int],
    stills: dict[int, Markup],
) -> dict[str, Any]:
    excerpt = result.excerpt(finding)
    told: dict[str, Any] = {
        "place": place_of(finding),
        "sentence": finding.sentence,
        "reason": result.reason(finding),
        "new": changes is not None and changes.is_new(finding),
        "observed": finding.observed,
        "expected": finding.expected,
        "margin": f"{finding.margin:.4g} {finding.unit}" if finding.unit else "",
        "settings": "" if excerpt is None else changed_settings(excerpt.settings),
        "again": again(result, finding),
        "detail": _shortened(finding.detail),
        "still": stills.get(id(finding)),
        "number": numbers.get(id(finding)),
        "no_picture": NO_SAMPLE if finding.index < 0 else NOT_KEPT,
    }
    if excerpt is not None:
        told["rows"] = rows_around(excerpt, finding)
    return told


def _stills(result: Result) -> dict[int, Markup]:
    """The pictures that need no script, by the finding's identity."""
    stills: dict[int, Markup] = {}
    length = 0
    for each in result.report.results:
        group = any_requirement(each.requirement).group
        shown = [f for f in each.findings if result.excerpt(f) is not None]
        for place, finding in enumerate(shown[:STILLS_EACH]):
            excerpt = result.excerpt(finding)
            if excerpt is None or (place > 0 and length > MOST_STILL_CHARACTERS):
                continue
            still = Markup(static_plot(excerpt, panels(excerpt, group), finding))
            stills[id(finding)] = still
            length += len(still)
    return stills


def _marked(statement: str) -> Markup:
    """A sentence of the catalogue with the names of settings as code."""
    return Markup(re.sub("`([^`]*)`", r"<code>\1</code>", str(escape(statement))))


def _shortened(text: str) -> str:
    if len(text) <= MOST_DETAIL:
        return text
    return (
        f"{text[:MOST_DETAIL]}\n[{len(text) - MOST_DETAIL} characters more, in the stored result]"
    )


def _settings_told(result: Result) -> str:
    identity = result.report.identity
    if identity is not None and identity.fixed is not None:
        return f"The {result.report.role} was built with its settings: {changed_settings(identity.fixed)}."
    return (
        "Each case brings the settings that it needs; "
        "each finding names those that are not the defaults."
    )


def _settings(result: Result) -> list[tuple[str, str, str]]:
    """Each setting, its default, and what it is in the cases that are shown."""
    used = _distinct(result)
    if not used:
        return []
    usual = told_of(result.report.role).usual(used[0])
    return [
        (name, _value(usual[name]), ", ".join(dict.fromkeys(_value(each[name]) for each in used)))
        for name in usual
    ]


def _distinct(result: Result) -> Sequence[dict[str, Any]]:
    identity = result.report.identity
    fixed = [identity.fixed] if identity is not None and identity.fixed is not None else []
    used = dict.fromkeys([*fixed, *(each.settings for each in result.excerpts)])
    return [settings.to_mapping() for settings in used]


def _value(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, tuple | list):
        return " to ".join(number(part) for part in value)
    return number(value) if isinstance(value, float) else str(value)


def _limits(result: Result) -> str:
    told = ["the usual wait for an answer"]
    if result.limit_s is not None:
        told = [f"at most {result.limit_s:g} s for an answer"]
    told.append(
        f"tolerance of the clock {result.tolerance_s:g} s"
        if isfinite(result.tolerance_s) and result.tolerance_s
        else "no tolerance of the clock"
    )
    return ", ".join(told)
