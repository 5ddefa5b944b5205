"""The page as text: nothing from outside, nothing that a name can break out of, and bounded."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from html.parser import HTMLParser
from xml.etree import ElementTree as ET

import pytest
from attrs import evolve

from harness.report import keeping
from harness.report.baseline import changes_since
from harness.report.excerpt import MOST_SAMPLES, excerpts_of
from harness.report.result import Result
from harness.report.result_page import to_html
from harness.report.store import from_json, to_json
from harness.run import Finding
from tests.report.made import HOSTILE, restless_run


class Page(HTMLParser):
    """What stands in a page: its elements, and the text of scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.inline: list[tuple[str, str]] = []
        self.text: list[str] = []
        self._inside = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._inside = tag if dict(attrs).get("type") is None else "data"

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.inline.append((self._inside, data))
        else:
            self.text.append(data)


def test_nothing_is_asked_of_any_other_place(broken: Result) -> None:
    text = to_html(broken)
    page = Page(text)
    assert not re.search(r"https?://", text)
    for tag, attributes in page.elements:
        assert tag not in ("link", "img", "iframe", "object", "base"), tag
        assert "src" not in attributes
        assert not any(name.startswith("on") or name == "style" for name in attributes), attributes
        if tag == "a":
            assert str(attributes["href"]).startswith("#")


def test_its_policy_names_exactly_the_scripts_and_the_style_that_stand_there(
    broken: Result,
) -> None:
    page = Page(to_html(broken))
    policy = next(
        str(attributes["content"])
        for tag, attributes in page.elements
        if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    named = re.findall(r"'sha256-([^']+)'", policy)
    there = [
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        for kind, text in page.inline
        if kind in ("script", "style")
    ]
    assert sorted(named) == sorted(there)
    assert len(there) == 3


def test_no_name_becomes_markup(hostile: Result) -> None:
    page = Page(to_html(hostile))
    assert [tag for tag, _ in page.elements].count("script") == 3
    assert not [tag for tag, _ in page.elements if tag == "img"]
    shown = "".join(page.text)
    # It is shown as it is, in every place where it stands.
    assert shown.count("</script><script>document.title='taken'</script>") > 10
    assert "{{7*7}}" in shown
    assert "49" not in re.findall(r"\{\{.*?\}\}|\b49\b", shown)


def test_the_data_of_the_plots_is_json_without_a_bracket(hostile: Result) -> None:
    (data,) = [text for kind, text in Page(to_html(hostile)).inline if kind == "data"]
    assert "<" not in data
    assert "&" not in data
    members = json.loads(data)
    assert len(members["excerpts"]) == len(hostile.excerpts)


def test_what_it_draws_is_what_was_kept(broken: Result) -> None:
    (data,) = [text for kind, text in Page(to_html(broken)).inline if kind == "data"]
    members = json.loads(data)
    for drawn, kept in zip(members["excerpts"], broken.excerpts, strict=True):
        assert drawn["x"] == kept.columns["t"].tolist()
        assert drawn["columns"]["v"] == kept.columns["v"].tolist()
        assert [clock["asked"] for clock in drawn["clocks"]] == [c.asked_s for c in kept.clocks]
    for drawn, finding in zip(members["findings"], broken.report.findings, strict=True):
        excerpt = members["excerpts"][drawn["excerpt"]]
        assert excerpt["x"][drawn["at"]] == finding.t
        levels = {level["name"] for level in drawn["panels"][0]["levels"]}
        assert {"entry_v", "full_v"} <= levels


def test_every_picture_that_is_printed_is_sound_and_marks_its_finding(broken: Result) -> None:
    stills = re.findall(r"<svg.*?</svg>", to_html(broken), re.DOTALL)
    assert len(stills) == len(broken.report.findings)
    for still in stills:
        root = ET.fromstring(still)
        classes = [str(each.get("class")) for each in root.iter()]
        assert classes.count("here") == 1
        assert "line v" in classes
        assert "stage float" in classes
        words = [each.text for each in root.iter("text")]
        assert {"controller", "reference", "voltage, V", "current, A"} <= set(words)
        assert any(str(word).startswith("hold timer of") for word in words)


def test_what_a_reader_looks_for_is_there(broken: Result) -> None:
    shown = " ".join(" ".join(Page(to_html(broken)).text).split())
    assert "does not conform" in shown
    for finding in broken.report.findings:
        assert f"{finding.case} at t = {finding.t:g} s (sample {finding.index})" in shown
        assert f"fullproof replay '{broken.report.spec}' {finding.case}" in shown.replace(
            "\\", ""
        ) or (finding.case in shown)
    assert "fullproof verify 'exec:./hut'" in shown
    assert "CPython 3.11" in shown
    assert "The MIT License" in shown
    assert "Conforming to these rules is no certificate of safety" in shown


def test_a_result_without_findings_or_samples_is_a_page_as_well(broken: Result) -> None:
    passed = evolve(
        broken,
        report=evolve(
            broken.report,
            results=tuple(each for each in broken.report.results if not each.findings),
        ),
        excerpts=(),
        environment=None,
    )
    shown = " ".join(" ".join(Page(to_html(passed)).text).split())
    assert shown.startswith("conforms: example-python")
    assert "does not conform" not in shown
    assert "It is not known where this result was made." in shown
    bare = " ".join(Page(to_html(evolve(broken, excerpts=()))).text)
    assert "Its samples were not kept" in bare


def test_new_findings_are_marked_where_it_was_compared(broken: Result) -> None:
    before = evolve(broken, report=evolve(broken.report, results=broken.report.results[:3]))
    page = to_html(broken, changes_since(before, broken, "last.json"))
    assert page.count('<em class="new">new</em>') == len(broken.report.findings)
    assert "Since last.json: worse than before" in page
    assert '<em class="new">' not in to_html(broken)


def test_the_same_page_is_made_from_the_stored_result(broken: Result) -> None:
    assert to_html(from_json(to_json(broken))) == to_html(broken)


@pytest.fixture
def many(broken: Result) -> Result:
    """As many excerpts as are ever kept, of traces in which no two samples are alike."""
    finding = next(f for f in broken.report.findings if f.index >= 0)
    run = restless_run(6_000)
    (excerpt,) = excerpts_of(run.case, run, [evolve(finding, case=run.case.id, index=3_000)])
    assert len(excerpt.indices) > 0.9 * MOST_SAMPLES
    finding = evolve(finding, index=3_000)
    most = min(keeping.MOST, keeping.MOST_NUMBERS // excerpt.numbers)
    names = [f"hut/{number}" for number in range(most)]
    results = tuple(
        evolve(each, findings=tuple(evolve(finding, case=name) for name in names))
        if each.requirement == finding.requirement
        else evolve(each, findings=())
        for each in broken.report.results
    )
    return evolve(
        broken,
        report=evolve(broken.report, results=results),
        excerpts=tuple(evolve(excerpt, case=name) for name in names),
    )


def test_the_largest_page_and_the_largest_stored_result_stay_under_ten_megabytes(
    many: Result,
) -> None:
    assert len(to_html(many)) < 10_000_000
    assert len(to_json(many)) < 10_000_000


def test_a_long_conversation_is_shortened_on_the_page_alone(hostile: Result) -> None:
    long = Finding("LINK.greets", "hut/a", 0.0, -1, "a", "b", 0.0, "", "It.", detail="x" * 100_000)
    results = (evolve(hostile.report.results[-1], findings=(long,)),)
    result = evolve(hostile, report=evolve(hostile.report, results=results))
    assert "x" * 5_000 not in to_html(result)
    assert "characters more, in the stored result" in to_html(result)
    assert from_json(to_json(result)).report.findings[0].detail == long.detail
    assert HOSTILE not in to_html(result)
