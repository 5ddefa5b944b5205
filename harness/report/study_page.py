"""A study as one page of HTML that needs nothing else: it works offline, without scripts, and prints."""

from __future__ import annotations

from math import isfinite
from typing import Any

from markupsafe import Markup

from harness.report.caution import CAUTION
from harness.report.page_parts import rendered_still
from harness.report.study_forest import forest
from harness.report.study_plane import plane
from harness.report.study_signs import COLOURS, SHAPES, Signs, signs_of
from harness.report.study_words import (
    Sentence,
    comparison_text,
    estimate_text,
    how_told_apart,
    left_out,
    p_text,
    sentences,
    size_text,
    unit_text,
)
from harness.study.measures import MEASURES, Measure
from harness.study.paired import MOST_EXACT
from harness.study.table import GOALS, Comparison, Standing, Table

# With more arms than this, pictures and comparisons of all but the goals are folded up.
MOST_OPEN = 24
# Of each measure so many sentences and comparisons at most stand on the page; files have them all.
MOST_TOLD, MOST_COMPARED = 200, 400
_STANDING = {
    Standing.FIRST_BETTER: "good",
    Standing.SECOND_BETTER: "good",
    Standing.NOT_TOLD_APART: "none",
    Standing.SAME: "none",
    Standing.UNDEFINED: "none",
}


def page(table: Table) -> str:
    """The page.

    Args:
        table: of a study.
    """
    facts = table.facts
    signs = signs_of(facts.arms)
    told = sentences(table)
    headlines = [each for each in MEASURES if each.headline]
    return rendered_still(
        "study.html",
        styles="study.css",
        title=facts.title,
        question=facts.question,
        caution=CAUTION,
        size=size_text(table),
        facts=_facts(table),
        how=how_told_apart(table),
        left_out=left_out(table),
        goals=[_told(each) for each in told if each.measure in GOALS][: 2 * MOST_TOLD],
        plane=Markup(plane(table, signs)),
        legend=_legend(signs),
        front=[facts.labels[k] for k in table.front],
        heads=[(each.title, unit_text(each), f"m-{each.name}") for each in headlines],
        rows=[_row(table, arm, headlines) for arm in range(len(facts.arms))],
        measures=[_measure(table, each, signs, told) for each in MEASURES],
        settings=facts.settings,
        limits=facts.limits,
        open=len(facts.arms) <= MOST_OPEN,
        seed=facts.seed,
        resamples=f"{table.resamples:,}",
        flips=f"{table.flips:,}",
        most_exact=MOST_EXACT,
    )


def _facts(table: Table) -> list[tuple[str, str]]:
    facts = table.facts
    rules = dict.fromkeys(arm.rule for arm in facts.arms)
    policies = dict.fromkeys(arm.policy for arm in facts.arms)
    points = dict.fromkeys(arm.settings_text for arm in facts.arms if arm.settings)
    told = [("reset rules", ", ".join(rules)), ("bank policies", ", ".join(policies))]
    if points:
        told.append(("settings tried", "; ".join(points)))
    return [
        *told,
        ("false full", f"a full reset below a true {100.0 * facts.false_full_below_soc:g} %"),
        (
            "becomes truly full",
            f"at a true {100.0 * facts.truly_full_soc:g} %, if it was below "
            f"{100.0 * facts.false_full_below_soc:g} % since it was full last",
        ),
        ("fingerprint", facts.fingerprint),
    ]


def _told(each: Sentence) -> dict[str, Any]:
    return {"about": each.about, "text": each.text, "differs": each.differs}


def _legend(signs: Signs) -> dict[str, list[dict[str, Any]]]:
    colours = [{"kind": f"arm{k % COLOURS}", "name": name} for k, name in enumerate(signs.coloured)]
    shapes = [
        {"path": SHAPES[k % len(SHAPES)], "name": name} for k, name in enumerate(signs.shaped)
    ]
    return {"colours": colours, "shapes": shapes if len(shapes) > 1 else []}


def _row(table: Table, arm: int, headlines: list[Measure]) -> dict[str, Any]:
    return {
        "number": arm + 1,
        "name": table.facts.labels[arm],
        "front": arm in table.front,
        "cells": [estimate_text(table.of(each.name)[arm]) for each in headlines],
    }


def _measure(
    table: Table, measure: Measure, signs: Signs, told: tuple[Sentence, ...]
) -> dict[str, Any]:
    rows = table.of(measure.name)
    compared = table.compared_in(measure.name)
    notes: dict[str, list[str]] = {}
    for each in rows:
        if each.note:
            notes.setdefault(each.note, []).append(table.facts.labels[each.arm])
    everywhere = len(rows)
    return {
        "name": measure.name,
        "title": measure.title,
        "unit": unit_text(measure),
        "meaning": measure.meaning,
        "formula": measure.formula,
        "headline": measure.headline,
        "picture": Markup(forest(table, measure, signs)),
        "nothing": _nothing(table, measure),
        "notes": [
            (note, "every arm" if len(arms) == everywhere else "; ".join(arms))
            for note, arms in notes.items()
        ],
        "told": [_told(each) for each in told if each.measure == measure.name][:MOST_TOLD],
        "compared": [_compared(table, each) for each in compared[:MOST_COMPARED]],
        "more": max(len(compared) - MOST_COMPARED, 0),
    }


def _nothing(table: Table, measure: Measure) -> str:
    """Why there is no picture."""
    known = [each for each in table.of(measure.name) if isfinite(each.value)]
    return "It is 0 in every arm." if known else "It is not defined in any arm."


def _compared(table: Table, comparison: Comparison) -> dict[str, Any]:
    each = comparison.difference
    first, second = (table.facts.labels[k] for k in (each.pair.first, each.pair.second))
    share = f"{100.0 * each.better_share:.0f} %" if isfinite(each.better_share) else "-"
    return {
        "first": first,
        "second": second,
        "difference": comparison_text(comparison),
        "p": p_text(each.p),
        "p_holm": p_text(each.p_holm),
        "d_z": f"{each.d_z:.2f}" if isfinite(each.d_z) else "-",
        "share": share,
        "banks": f"{each.banks:,}",
        "standing": comparison.standing.value,
        "kind": _STANDING[comparison.standing],
    }
