"""The matrix in files: JSON that holds all of it, and a page that needs nothing else."""

from __future__ import annotations

from html.parser import HTMLParser

import orjson
import pytest
from attrs import evolve

from harness.report.zoo_json import to_json
from harness.report.zoo_page import page
from harness.zoo.hunting import Find, gathered
from harness.zoo.matrix import Row
from harness.zoo.subject import Subject, subjects
from harness.zoo.whole import Whole

BY_NAME = {subject.name: subject for subject in subjects()}
FOUND = BY_NAME["boundary-bulk-level-v-ge-entry-v"]
MISSED = BY_NAME["shift-entry-v-5mv-lower"]
EQUAL = BY_NAME["drop-decide-happened-empty-reset"]
CASES = ("entry/a", "entry/b")
# Elements that HTML closes by themselves.
VOID = {"meta", "br", "hr", "link", "img"}


def whole(*subjects: Subject, hunted: bool = True) -> Whole:
    rows = tuple(
        Row(each, ("entry/a",), {"ENTRY.not-late": ("entry/a",)})
        if each is FOUND
        else Row(each, ())
        for each in subjects
    )
    finds = [Find(FOUND.name, seed, 4 + seed, ("ENTRY.not-late",), 2) for seed in (0, 1)]
    finds = [each for each in finds if FOUND in subjects] if hunted else []
    seeds = (0, 1) if hunted else ()
    return Whole(rows, gathered(subjects, finds), CASES, seeds=seeds, traces=50 if hunted else 0)


class Read(HTMLParser):
    """What a browser makes of a page: elements that are closed, and text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.names: list[str] = []
        self.addresses: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_json_holds_the_matrix() -> None:
    read = orjson.loads(to_json(whole(FOUND, MISSED, EQUAL), 1))
    assert read["format"] == 1
    assert read["exit_code"] == 1
    assert read["complete"] is True
    assert read["vectors"] == {
        "all": list(CASES),
        "idle": ["entry/b"],
        "redundant": [],
        "cover": ["entry/a"],
    }
    assert read["hunt"] == {"seeds": [0, 1], "traces": 50}
    found, missed, equal = read["faults"]
    assert found["vectors"]["found"] == {"ENTRY.not-late": ["entry/a"]}
    assert found["vectors"]["named"] is True
    assert found["hunt"]["median_traces"] == 4.5
    assert found["hunt"]["most_traces"] == 5
    assert found["hunt"]["seeds"][1] == {
        "seed": 1,
        "traces": 5,
        "differs": 2,
        "requirements": ["ENTRY.not-late"],
    }
    assert missed["never_found_because"] is None
    assert missed["hunt"] is None
    assert equal["never_found_because"]["equivalent"] is True
    assert [each["operator"] for each in read["operators"]] == ["boundary", "shift", "drop", "all"]
    assert read["operators"][0]["publication"]["year"] == 2013
    assert read["operators"][-1]["real"] == 2


@pytest.mark.parametrize("hunted", [True, False])
def test_the_page_is_whole_and_asks_nobody_else(hunted: bool) -> None:
    read = Read(page(whole(FOUND, MISSED, EQUAL, hunted=hunted)))
    assert read.open == []
    assert read.addresses == []
    assert "script" not in read.names
    assert read.names.count("table") == read.names.count("caption") == 4
    assert MISSED.title in read.text
    assert "Not found by any vector" in read.text
    assert EQUAL.reason is not None
    assert EQUAL.reason.text in read.text
    assert ("median traces" in read.text) is hunted


def test_what_looks_like_markup_is_text() -> None:
    odd = evolve(MISSED, title='asks `v < "entry_v"` & <script>alert(1)</script>')
    read = Read(page(whole(odd)))
    assert "script" not in read.names
    assert read.text.count(odd.title) == 2


def test_an_interrupted_run_says_so() -> None:
    cut = evolve(whole(FOUND), complete=False)
    assert "Interrupted" in page(cut)
    assert orjson.loads(to_json(cut, 130))["complete"] is False
