"""The page of an explained log as text: what it tells, where it stands, and nothing from outside."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from math import isnan
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from attrs import evolve
from rich.console import Console

from harness.explain.explained import explain
from harness.explain.fix import How
from harness.explain.wiring import Apart, Between
from harness.logs.log import Log
from harness.report.caution import CAUTION
from harness.report.explained import Story, show_story
from harness.report.explained_page import page
from tests.report.made_story import hut_log, restless_log
from tests.report.test_page_text import Page

ATTACK = "</script><script>document.title='taken'</script>"


@pytest.fixture(scope="module")
def text(story: Story) -> str:
    """The page of the hut."""
    return page(story)


def words(text: str) -> str:
    """What can be read on a page."""
    return " ".join(" ".join(Page(text).text).split())


def data_of(text: str) -> dict[str, Any]:
    """What the script draws from."""
    (data,) = [each for kind, each in Page(text).inline if kind == "data"]
    members: dict[str, Any] = json.loads(data)
    return members


def test_nothing_is_asked_of_any_other_place(text: str) -> None:
    assert not re.search(r"https?://", text)
    for tag, attributes in Page(text).elements:
        assert tag not in ("link", "img", "iframe", "object", "base"), tag
        assert not {"src", "style"} & set(attributes)
        assert not any(name.startswith("on") for name in attributes), attributes
        if tag == "a":
            assert str(attributes["href"]).startswith("#")


def test_its_policy_names_exactly_the_scripts_and_the_style_that_stand_there(text: str) -> None:
    told = Page(text)
    policy = next(
        str(attributes["content"])
        for _, attributes in told.elements
        if attributes.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'; ")
    there = [
        base64.b64encode(hashlib.sha256(each.encode()).digest()).decode()
        for kind, each in told.inline
        if kind in ("script", "style")
    ]
    assert sorted(re.findall(r"'sha256-([^']+)'", policy)) == sorted(there)
    assert len(there) == 3


def test_it_begins_as_the_terminal_ends(story: Story, text: str) -> None:
    terminal = io.StringIO()
    show_story(Console(file=terminal, width=10_000), story)
    shown = words(text)
    assert (
        "1 of 3 packs are well Look at north first: meters that differ. Try this: compare" in shown
    )
    last = [line for line in terminal.getvalue().splitlines() if "packs are well" in line][-1]
    well, _, first = last.strip().partition("; ")
    assert f"{well} {first[0].upper()}{first[1:]}" in shown
    assert CAUTION in shown


def test_every_pack_has_its_chain_with_times_and_then_the_rules(story: Story, text: str) -> None:
    shown = words(text)
    at = 0
    for pack in story.explained.packs:
        main = story.explained.main(pack.name)
        for link in main.chain:
            at = shown.index(link.sentence, at)
        at = shown.index(
            f"rules {', '.join(dict.fromkeys(x.rule for x in main.chain if x.rule))}", at
        )
    # The peak of north, 50 h 9 min after half past four on the third of February.
    assert "The pack peaked at 55.980 V, 10 mV short. 2031-02-05 06:39:00+00:00" in shown


def test_the_table_of_fixes_has_all_of_each(story: Story, text: str) -> None:
    bodies = re.findall(r'<table class="fixes">.*?<tbody>(.*?)</tbody>', text, re.DOTALL)
    assert len(bodies) == len(story.fixes) == 2
    for body, fixes in zip(bodies, story.fixes.values(), strict=True):
        rows = re.findall(r"<tr>(.*?)</tr>", body, re.DOTALL)
        assert len(rows) == len(fixes) >= 4
        for row, fix in zip(rows, fixes, strict=True):
            told = words(f"<p>{row}</p>")
            assert fix.change in told
            assert fix.how.value in told
            assert {True: "helps", False: "does not help", None: "not known"}[fix.helps] in told
            assert isnan(fix.highest_cell_v) or f"{fix.highest_cell_v:.3f} V" in told
            assert isnan(fix.above_float_h) or f"{fix.above_float_h:.1f} h" in told
            assert (f"{fix.days} of {fix.of_days}" in told) is (fix.how is How.REPLAYED)
            assert (fix.risk or "none to speak of") in told


def test_every_day_of_every_pack_is_in_its_table(story: Story, text: str) -> None:
    tables = re.findall(r'<table class="days">.*?</table>', text, re.DOTALL)
    for pack, table in zip(story.explained.packs, tables, strict=True):
        days = story.explained.of(pack.name)
        told = words(table)
        assert table.count("<tr>") == len(days) + 1
        for reason in days:
            assert f"{reason.day} {reason.cause.value}" in told
            assert isnan(reason.amount) or f"{reason.amount:.4g} {reason.unit}" in told


def test_the_timeline_keeps_what_stands_out_and_draws_true_rows(story: Story, text: str) -> None:
    drawings = data_of(text)["drawings"]
    offset_s = data_of(text)["offset_s"]
    assert offset_s == 4.5 * 3600
    for pack, drawn in zip(story.explained.packs, drawings[1::2], strict=True):
        assert 1_000 < len(drawn["x"]) < 3_000
        assert drawn["x"] == sorted(drawn["x"])
        voltage, current = drawn["panels"][:2]
        v, charger = (line["values"] for line in voltage["lines"])
        trace = pack.log.trace
        assert pack.log.charger_v is not None
        assert (max(v), min(v)) == (trace.v.max(), trace.v.min())
        assert max(charger) == pytest.approx(pack.log.charger_v.max(), abs=1e-6)
        (i,) = (line["values"] for line in current["lines"])
        assert (max(i), min(i)) == (trace.i.max(), trace.i.min())
        rows = np.searchsorted(trace.t, np.array(drawn["x"]) - offset_s)
        assert np.array_equal(trace.v[rows], v)
        levels = {level["name"]: level["at"] for level in voltage["levels"]}
        for name in ("entry_v", "full_v", "return_v"):
            assert levels[name] == getattr(pack.settings, name)


def test_stages_of_the_log_stand_beside_those_by_the_rules_with_what_happened(
    text: str,
) -> None:
    east = data_of(text)["drawings"][1]
    assert [lane["name"] for lane in east["lanes"]] == ["log", "rules"]
    assert east["lanes"][0]["changes"] == east["lanes"][1]["changes"]
    told = [word for _, word in east["lanes"][1]["changes"]]
    assert told == ["bulk", "absorption", "float"] * 3 + ["bulk"]
    kinds = [(lane, kind) for _, lane, kind in east["symbols"]]
    assert kinds.count((0, "full_reset")) == kinds.count((1, "full_reset")) == 3
    assert kinds.count((2, "hold_started")) == 3
    assert "The stages of the log are those that the rules ask for throughout." in words(text)


def test_the_crossing_shows_every_row_the_threshold_the_dwell_and_the_shortfall(
    story: Story, text: str
) -> None:
    drawn = data_of(text)["drawings"][2]
    north = story.explained.packs[1].log.trace
    low, high = drawn["near"]
    offset_s = data_of(text)["offset_s"]
    there = [x - offset_s for x in drawn["x"] if low <= x <= high]
    assert there == [t for t in north.t if low <= t + offset_s <= high]
    ((panel, x, read, asked, words_),) = drawn["measures"]
    assert (panel, read, asked, words_) == (0, 55.98, 55.99, "10 mV short")
    ((_, y, start, held, due, told, _),) = drawn["bars"]
    assert (y, start, held, due) == (55.99, x, x, x + 3.0)
    assert told == "entry_dwell_s: 0 s of 3 s"
    assert "10 mV short of entry_v (55.99 V)" in words(text)
    assert "Every row of the log around it is drawn." in words(text)


def test_every_picture_that_is_printed_is_sound(text: str) -> None:
    stills = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    # Of each of three packs: the moment, the whole log, and the wiring.
    assert len(stills) == 9
    for number, still in enumerate(stills):
        root = ET.fromstring(still)
        classes = [str(each.get("class")) for each in root.iter()]
        if number % 3 == 2:
            assert {"dots", "fit", "interval"} <= set(classes)
            continue
        assert {"line v", "line charger", "line i"} <= set(classes)
        assert classes.count("moment here") == 1
        told = [each.text for each in root.iter("text")]
        assert {"log", "rules", "events", "voltage, V", "current, A"} <= set(told)
    assert "10 mV short" in stills[3]
    assert 'class="needed"' in stills[3]


def test_no_name_becomes_markup(hostile_told: Story) -> None:
    text = page(hostile_told)
    told = Page(text)
    assert [tag for tag, _ in told.elements].count("script") == 3
    assert not [tag for tag, _ in told.elements if tag == "img"]
    shown = "".join(told.text)
    assert shown.count(ATTACK) > 10
    assert "{{7*7}}" in shown
    assert "<" not in next(each for kind, each in told.inline if kind == "data")


def test_what_cannot_be_told_apart_is_said_so(story: Story) -> None:
    explained = story.explained
    unsure = evolve(explained.lines["north"], apart=Apart.SPAN)
    few = Between(Apart.FEW, None, 0.0, float("nan"), 3)
    lines = {**explained.lines, "north": unsure, "east": few}
    text = page(Story(evolve(explained, lines=lines), story.fixes))
    shown = words(text)
    assert f"Not to be told from the meters: {Apart.SPAN.value}; the charger usually reads" in shown
    assert f"Not to be told from the meters: {Apart.FEW.value}." in shown
    # A line that cannot be believed is drawn as one, and without points there is no picture.
    assert text.count('class="fit unsure"') == 1
    assert len(re.findall(r"<svg.*?</svg>", text, re.DOTALL)) == 8


def test_a_log_without_the_charger_and_without_stages_is_a_page_as_well() -> None:
    log, settings = hut_log()
    packs = tuple(
        evolve(pack, charger_v=None, stage=None, soc=None, full_reset=None) for pack in log.packs
    )
    explained = explain(Log(log.path, packs), settings)
    text = page(Story(explained, {}))
    shown = words(text)
    assert "The log does not say in which stage its controller was." in shown
    assert "Between the charger and" not in shown
    assert data_of(text)["drawings"][1]["lanes"][0]["changes"] is None
    # Without dates times are hours of the log.
    assert data_of(text)["midnight_ms"] is None
    assert "The pack peaked at 55.980 V, 10 mV short. 50:09:00 h of the log" in shown


def test_where_the_log_and_the_rules_part_is_told() -> None:
    log, settings = hut_log()
    stage = log.packs[1].stage
    assert stage is not None
    stage = stage.copy()
    stage[2_000:2_100] = 2
    packs = (log.packs[0], evolve(log.packs[1], stage=stage), log.packs[2])
    shown = words(page(Story(explain(evolve(log, packs=packs), settings), {})))
    assert (
        "The log and the rules first part at 2031-02-03 07:16:45+00:00: the log says float, the rules"
        " say bulk, for 500 s." in shown
    )


def test_the_largest_page_stays_under_ten_megabytes() -> None:
    log, settings = restless_log(8, 12_000)
    explained = explain(log, settings)
    text = page(Story(explained, {}))
    assert len(text) < 10_000_000
    drawings = data_of(text)["drawings"]
    assert len(drawings) == 16
    for drawn in drawings:
        assert max(len(line["values"]) for p in drawn["panels"] for line in p["lines"]) <= 3_000
        assert len(drawn["symbols"]) <= 300
        assert all(len(lane["changes"]) <= 800 for lane in drawn["lanes"])
    # At its largest it has so many of these, whatever the length of the log and the number of packs.
    assert len(text) / len(drawings) * 2 * 24 < 10_000_000


def test_the_name_of_the_log_is_its_path(text: str) -> None:
    assert f"<code>{Path('hut')}</code>" in text
