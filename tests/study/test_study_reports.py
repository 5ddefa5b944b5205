"""The table of a study told: in a terminal, and on a page that is read in a browser."""

from __future__ import annotations

import base64
import hashlib
import io
import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from attrs import evolve
from rich.console import Console

from harness.report.caution import CAUTION
from harness.report.study_axis import Axis
from harness.report.study_page import page
from harness.report.study_signs import signs_of
from harness.report.study_terminal import show_study
from harness.report.study_words import sentences, value_text
from harness.study.measures import MEASURES, measure_named
from harness.study.results import ArmName
from harness.study.table import Table, table_of
from tests.report.browser import Browser, found
from tests.report.driving import CONTRAST, nameless
from tests.report.test_page_text import Page
from tests.study.drawn_rows import POLICIES, RULES, arms_of, drawn, facts_of, results_of

ATTACK = "</script><script>document.title='taken'</script><img src=x onerror=alert(1)>{{7*7}}"
in_browser = pytest.mark.skipif(not found(), reason="there is no Chromium on this machine")


def made(folder: Path, arms: tuple[ArmName, ...], banks: int, *, never_full: bool = False) -> Table:
    rows = drawn(arms, banks)
    if banks > 5:
        rows["stopped"][4, 2 % len(arms)] = 1
    if never_full:
        rows["resets"][:] = rows["full_days"][:] = 0.0
    failed = ((banks, "its worker died three times"),)
    return table_of(
        results_of(folder, rows, facts_of(arms, banks + 1, failed=failed)), resamples=400
    )


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Table:
    """Five rules times three policies on 60 banks, one of which stopped in one arm."""
    return made(tmp_path_factory.mktemp("rows"), arms_of(), 60)


def told(table: Table, width: int = 100) -> str:
    file = io.StringIO()
    show_study(Console(file=file, width=width, color_system=None), table)
    return file.getvalue()


def test_the_terminal_tells_the_table_what_differs_and_what_was_left_out(table: Table) -> None:
    text = told(table)
    plain = " ".join(text.split())
    lines = text.splitlines()
    assert lines[0] == "Reset rules in a hut"
    assert "60 banks for 365 days each (60 bank-years) in 15 arms, seed 7" in text
    for name in table.facts.labels:
        # Once in each block of columns, at the least.
        assert sum(line.startswith(name) for line in lines) >= 2
    each = table.of("missed_fulls")[6]
    value = f"{100 * each.value:.2f} ({100 * each.low:.2f} to {100 * each.high:.2f})"
    (row,) = (line for line in lines if line.startswith("hold_only, every *") and value in line)
    assert row
    assert "missed full days, policy every: lowest with hold_only" in plain
    assert "Bank 4 stopped before its end in voltage_after_hold, any: left out there." in plain
    assert "Bank 60 could not be run: its worker died three times." in plain
    assert plain.endswith(CAUTION)


@pytest.mark.parametrize("width", [60, 80, 200])
def test_the_table_keeps_within_the_width_of_the_terminal(table: Table, width: int) -> None:
    rows = [line for line in told(table, width).splitlines() if line.startswith(RULES)]
    assert rows
    assert max(map(len, rows)) <= width


def test_one_bank_is_told_without_any_interval(tmp_path: Path) -> None:
    table = made(tmp_path, arms_of(), 1)
    for text in (told(table), page(table)):
        plain = " ".join(text.split())
        assert "With one bank there is no interval, and no test can tell arms apart." in plain
        assert "worse" not in plain
        assert not re.search(r"\d \(\d[\d.]* to ", plain)


def test_what_is_not_defined_is_a_dash(tmp_path: Path) -> None:
    table = made(tmp_path, arms_of(), 12, never_full=True)
    assert table.front == ()
    text = told(table)
    rows = [line for line in text.splitlines() if line.startswith("taper, every")]
    assert any(re.search(r" - ", line) for line in rows)
    assert "missed full days, policy every: not defined in any arm." in text
    assert "There is no arm in which both are defined, so there is no picture." in page(table)
    assert "It is not defined in any arm." in page(table)


def test_a_setting_with_many_values_is_not_compared_in_pairs(tmp_path: Path) -> None:
    arms = arms_of(("taper",), ("every",), tuple(600.0 + k for k in range(7)))
    table = made(tmp_path, arms, 12)
    assert table.comparisons == ()
    for text in (told(table), page(table)):
        assert "none are compared" in " ".join(text.split())
    assert "hold_s 600" in told(table)


def test_arms_that_differ_in_a_setting_are_compared(tmp_path: Path) -> None:
    arms = arms_of(("taper",), ("every", "any"), (600.0, 900.0))
    found = sentences(made(tmp_path, arms, 12))
    heat = {each.about: each.text for each in found if each.measure == "heat"}
    assert sorted(heat) == [
        "lost as heat, hold_s 600", "lost as heat, hold_s 900",
        "lost as heat, policy any", "lost as heat, policy every",
    ]  # fmt: skip
    assert "hold_s 600" in heat["lost as heat, policy any"]
    assert "hold_s 900" in heat["lost as heat, policy any"]


def test_a_sentence_names_the_best_what_is_worse_and_what_is_not_told_apart(table: Table) -> None:
    by_about = {each.about: each for each in sentences(table)}
    assert len(by_about) == 8 * (len(MEASURES) - 1)
    found = by_about["missed full days, policy lead"]
    compared = {
        (c.difference.pair.first, c.difference.pair.second): c.difference
        for c in table.compared_in("missed_fulls")
    }
    assert found.differs
    assert found.text.startswith("lowest with hold_only, ")
    # Arms 4 and 7 are first_touch and hold_only under this policy.
    each = compared[4, 7]
    text = f"first_touch by {100 * each.value:.2f} ({100 * each.low:.2f} to {100 * each.high:.2f})"
    assert text in found.text
    assert "worse, in points of 100: " in found.text
    heat = by_about["lost as heat, policy any"]
    assert not heat.differs
    assert "not told apart from" in heat.text
    denied = by_about["loads refused, rule taper"]
    assert denied.text == "the same in every bank whatever the policy: 0 kWh a bank-year."


def test_numbers_have_as_many_digits_as_people_read() -> None:
    false, missed = measure_named("false_fulls"), measure_named("missed_fulls")
    assert value_text(false, 0.0123456, 0.01, 0.02) == "0.0123 (0.0100 to 0.0200)"
    assert value_text(false, 12345.6) == "12,346"
    assert value_text(missed, 0.25, 0.2, 0.3) == "25.0 (20.0 to 30.0)"
    assert value_text(missed, float("nan")) == "-"
    assert value_text(false, 0.0, float("nan"), float("nan")) == "0"
    assert value_text(false, -0.0001, -3.0, 3.0) == "0.00 (-3.00 to 3.00)"


def test_an_axis_finds_room_for_all_and_is_rooted_where_they_spread() -> None:
    near = Axis([10.0, 11.0, float("nan")], 0.0, 100.0)
    assert 0.0 < near.at(10.0) < near.at(11.0) < 100.0
    far = Axis([0.1, 0.0, 60.0], 0.0, 100.0, rooted=True)
    assert far.rooted
    assert far.at(0.0) == 0.0
    assert far.at(0.1) > 3.0
    assert far.ticks(5)[0] == 0.0
    assert len(far.ticks(5)) > 3
    assert not Axis([5.0, 60.0], 0.0, 100.0, rooted=True).rooted
    for empty in (
        Axis([], 0.0, 100.0, rooted=True),
        Axis([0.0, 0.0], 100.0, 0.0),
        Axis([-2.0], 0.0, 9.0),
    ):
        assert empty.ticks(4)


def test_arms_look_different_by_more_than_their_colour() -> None:
    signs = signs_of(arms_of())
    looks = {(signs.kind(k), signs.path(k)) for k in range(15)}
    assert len(looks) == 15
    assert (signs.coloured, signs.shaped) == (RULES, POLICIES)
    grid = signs_of(arms_of(("taper",), ("every",), (1.0, 2.0)))
    assert grid.coloured == ("hold_s 1", "hold_s 2")


def test_the_page_asks_for_nothing_and_runs_nothing(table: Table) -> None:
    text = page(table)
    told = Page(text)
    assert not re.search(r"https?://", text)
    for tag, attributes in told.elements:
        assert tag not in ("link", "img", "iframe", "object", "base", "script"), tag
        assert not {"src", "style"} & set(attributes)
        assert not any(name.startswith("on") for name in attributes), attributes
        if tag == "a":
            assert str(attributes["href"]).startswith("#")
    (policy,) = (str(a["content"]) for _, a in told.elements if "http-equiv" in a)
    assert policy.startswith("default-src 'none'; script-src 'none'; style-src 'sha256-")
    (style,) = (text for kind, text in told.inline if kind == "style")
    assert base64.b64encode(hashlib.sha256(style.encode()).digest()).decode() in policy
    ids = {str(attributes["id"]) for _, attributes in told.elements if "id" in attributes}
    links = {str(a["href"])[1:] for tag, a in told.elements if tag == "a"}
    assert links <= ids


def test_the_page_tells_formulas_limits_settings_and_the_caution(table: Table) -> None:
    shown = " ".join(" ".join(Page(page(table)).text).split())
    for each in MEASURES:
        assert each.formula in shown
        assert each.meaning in shown
    for words in (*table.facts.limits, CAUTION, table.facts.fingerprint, "normal, 0.1 A"):
        assert words in shown
    assert "a full reset below a true 97 %" in shown


def test_every_picture_shows_every_arm(table: Table) -> None:
    stills = re.findall(r'<svg class="still.*?</svg>', page(table), re.DOTALL)
    # The plane, and each measure but the loads refused, which are 0 everywhere.
    assert len(stills) == 1 + len(MEASURES) - 1
    plane, *forests = (ET.fromstring(still) for still in stills)
    marks = [str(each.get("class")) for each in plane.iter("path")]
    assert sum(kind.startswith("mark ") for kind in marks) == 15
    assert sum(kind.endswith(" beaten") for kind in marks) == 15 - len(table.front)
    names = [each.text for each in plane.iter("text") if each.get("class") == "label"]
    assert {table.facts.labels[k] for k in table.front} <= set(names)
    for still in forests:
        assert [t.text for t in still.iter("text") if "strong-name" in str(t.get("class"))] == list(
            table.facts.labels
        )
    # An interval is drawn where it is, in the same places from left to right as it is told.
    first = forests[0]
    ends = [str(each.get("d")) for each in first.iter("path") if "cross" in str(each.get("class"))]
    values = [each for each in table.of("false_fulls") if each.low == each.low]
    lows = [float(re.match(r"M([\d.]+)", each).group(1)) for each in ends]  # type: ignore[union-attr]
    ordered = sorted(range(len(values)), key=lambda k: values[k].low)
    assert [lows[k] for k in ordered] == sorted(lows)


def test_labels_on_the_plane_do_not_cover_each_other(table: Table) -> None:
    (still, *_) = re.findall(r'<svg class="still plane2.*?</svg>', page(table), re.DOTALL)
    places = [
        (float(str(each.get("x"))), float(str(each.get("y"))), len(each.text or ""))
        for each in ET.fromstring(still).iter("text")
        if each.get("class") == "label"
    ]
    assert len(places) >= 12
    for k, (x, y, letters) in enumerate(places):
        for other_x, other_y, _ in places[k + 1 :]:
            beside = not x <= other_x < x + 5 * letters
            assert beside or abs(y - other_y) >= 11.0


def test_many_arms_are_numbered_and_the_page_stays_within_bounds(tmp_path: Path) -> None:
    arms = arms_of(holds_s=tuple(100.0 * k for k in range(1, 21)))
    rows = drawn(arms, 6)
    found = table_of(results_of(tmp_path, rows, facts_of(arms, 6)), resamples=50, flips=99)
    text = page(found)
    (still, *_) = re.findall(r'<svg class="still plane2.*?</svg>', text, re.DOTALL)
    labels = [e.text or "" for e in ET.fromstring(still).iter("text") if e.get("class") == "label"]
    names = {found.facts.labels[k] for k in found.front}
    assert all(each in names or each.isdigit() for each in labels)
    assert any(each.isdigit() for each in labels)
    # Of 900 pairs in each measure.
    assert text.count("500 more are in comparisons.parquet and in the JSON.") == len(MEASURES) - 1
    assert len(text) < 10_000_000


def hostile(table: Table) -> Table:
    """Names that are attacks, in every place where a name can stand."""
    arms = tuple(
        evolve(arm, rule=f"{arm.rule}{ATTACK}", policy=f"{arm.policy}{ATTACK}")
        for arm in table.facts.arms
    )
    facts = evolve(
        table.facts, arms=arms, title=ATTACK, question=ATTACK, settings=((ATTACK, ATTACK),),
        limits=(ATTACK,), failed=((60, ATTACK),), fingerprint=ATTACK,
    )  # fmt: skip
    return evolve(table, facts=facts)


def test_no_name_becomes_markup(table: Table) -> None:
    told = Page(page(hostile(table)))
    tags = [tag for tag, _ in told.elements]
    assert "script" not in tags
    assert "img" not in tags
    shown = "".join(told.text)
    assert shown.count(ATTACK) > 20
    for still in re.findall(r'<svg class="still.*?</svg>', page(hostile(table)), re.DOTALL):
        ET.fromstring(still)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with Browser(tmp_path_factory.mktemp("profile")) as started:
        yield started


@in_browser
@pytest.mark.parametrize("width", [1100, 390])
@pytest.mark.parametrize("attacked", [False, True])
def test_it_fits_the_screen_without_errors(
    browser: Browser, tmp_path: Path, table: Table, width: int, attacked: bool
) -> None:
    browser.events.clear()
    file = tmp_path / "study.html"
    file.write_text(page(hostile(table) if attacked else table), encoding="utf-8")
    browser.size(width, 900)
    browser.open(file)
    browser.run("for (const each of document.querySelectorAll('details')) each.open = true")
    browser.run("new Promise(requestAnimationFrame)")
    assert browser.run("document.documentElement.scrollWidth") <= width
    assert browser.run("document.images.length") == 0
    assert browser.wrongs() == []
    assert browser.requests() == []
    assert nameless(browser) == []


@in_browser
@pytest.mark.parametrize("dark", [False, True])
def test_colours_of_arms_can_be_told_from_the_ground(
    browser: Browser, tmp_path: Path, table: Table, dark: bool
) -> None:
    file = tmp_path / "study.html"
    file.write_text(page(table), encoding="utf-8")
    browser.size(1100, 900, dark=dark)
    browser.open(file)
    back = browser.run("getComputedStyle(document.body).backgroundColor")
    assert (back == "rgb(255, 255, 255)") is not dark
    for k in range(5):
        assert browser.run(f"{CONTRAST}('arm{k}', 'back')") >= 3.0
    mark = browser.run("getComputedStyle(document.querySelector('.mark.arm1')).stroke")
    cross = browser.run("getComputedStyle(document.querySelector('.cross.arm1')).stroke")
    assert mark == cross == ("rgb(255, 154, 77)" if dark else "rgb(192, 77, 0)")


@in_browser
def test_it_can_be_printed(browser: Browser, tmp_path: Path, table: Table) -> None:
    file = tmp_path / "study.html"
    file.write_text(page(table), encoding="utf-8")
    browser.size(1100, 900)
    browser.open(file)
    assert len(browser.pdf()) > 20_000
