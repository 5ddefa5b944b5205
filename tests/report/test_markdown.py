"""Markdown for a job summary: bounded, and safe whatever a controller calls itself."""

from __future__ import annotations

import re

import pytest
from attrs import evolve

from harness.report.baseline import changes_since
from harness.report.markdown import CUT, MOST_CHARACTERS, code, plain, to_markdown
from harness.report.result import Result
from harness.report.summary import broken as broken_of


def test_it_tells_verdict_broken_requirements_the_shortest_trace_and_how_to_see_it_again(
    broken: Result,
) -> None:
    text = to_markdown(broken)
    assert text.startswith("## ❌ example-python with hold-one-minute-short 1.0")
    assert "does not conform" in text.splitlines()[0]
    for each in broken_of(broken):
        assert f"| `{each.requirement}` | must |" in text
    assert "`HOLD.full-length` in `float/cycles-with-the-voltage-held`" in text
    assert f"fullproof replay '{broken.report.spec}' float/cycles-with-the-voltage-held" in text
    # The controller is in float, the reference in absorption.
    assert re.search(
        r"^\| 11 \| 9 \| 55\.2 \| 2\.8 \| float \| absorption \| ← here \|$", text, re.M
    )
    assert "Conforming to these rules is no certificate of safety" in text


def test_every_row_of_a_table_has_as_many_cells_as_its_head(
    broken: Result, hostile: Result
) -> None:
    for result in (broken, hostile):
        width = 0
        for line in to_markdown(result).splitlines():
            cells = len(re.findall(r"(?<!\\)\|", line)) if line.startswith("|") else 0
            assert not (width and cells) or cells == width, line
            width = cells


def test_no_name_becomes_markup(hostile: Result) -> None:
    text = to_markdown(hostile)
    outside = re.sub(r"(`+)(?!`).*?(?<!`)\1(?!`)", "", text)
    assert "<" not in outside
    assert "\n# heading" not in text
    assert "@everyone" not in outside
    assert "www.pier" not in outside
    assert "](" not in outside.replace("\\]\\(", "")
    assert not re.search(r"(?<!\\)\*\*", outside)
    assert "\x1b" not in text
    assert "\x00" not in text
    assert "\u2028" not in text


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a|b", "a\\|b"),
        ("<b>&amp;", "&lt;b\\>&amp;amp;"),
        ("two\nlines\tand\x00more", "two lines and more"),
        ("@hut", "@\u2060hut"),
        ("- a list", "-\u2060 a list"),
        ("1. a list", "1\u2060. a list"),
        ("59.5 s too early: a-b", "59.5 s too early: a-b"),
        ("https://pier", "https:\u2060//pier"),
        ("www.pier", "www\u2060.pier"),
        ("x" * 400, "x" * 299 + "…"),
    ],
)
def test_text_stays_text(text: str, expected: str) -> None:
    assert plain(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [("a", "`a`"), ("a`b", "`` a`b ``"), ("a|b", "`a\\|b`"), ("", "` `"), ("``", "``` `` ```")],
)
def test_code_stays_code(text: str, expected: str) -> None:
    assert code(text) == expected


def test_it_is_never_longer_than_its_bound(hostile: Result) -> None:
    reasons = {f"hut/{number}": f"{number} " + "|" * 290 for number in range(5_000)}
    long = evolve(hostile, report=evolve(hostile.report, errors=reasons))
    assert len(to_markdown(long)) <= MOST_CHARACTERS
    wide = evolve(long, selection=("*" * 300,) * 10, stopped="~" * 299)
    lines = to_markdown(wide)
    assert len(lines) <= MOST_CHARACTERS


def test_what_is_cut_says_so_and_leaves_no_block_open(
    hostile: Result, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = to_markdown(hostile)
    for most in range(len(CUT) + 10, len(whole), 301):
        monkeypatch.setattr("harness.report.markdown.MOST_CHARACTERS", most)
        text = to_markdown(hostile)
        assert text.endswith(CUT)
        assert sum(line.startswith("```") for line in text.splitlines()) % 2 == 0


def test_a_result_that_conforms_is_short(broken: Result) -> None:
    results = tuple(each for each in broken.report.results if not each.findings)
    passed = evolve(broken, report=evolve(broken.report, results=results))
    text = to_markdown(passed)
    assert text.startswith("## ✅")
    assert "broken" not in text


def test_it_tells_what_changed_where_it_was_compared(broken: Result) -> None:
    text = to_markdown(broken, changes_since(broken, broken, "last.json"))
    assert "### Since `last.json`: nothing got worse" in text
    assert "- no finding, outcome or case is different" in text
