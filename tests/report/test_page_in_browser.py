"""The page in a real browser: without errors, without the network, by keyboard, narrow, dark, printed."""

from __future__ import annotations

from pathlib import Path

import pytest
from attrs import evolve

from harness.report.result import Result
from harness.report.result_page import to_html
from tests.report.browser import Browser, found
from tests.report.driving import (
    CONTRAST,
    DRAWN,
    FOCUS,
    READ,
    TEXTS,
    all_differ,
    nameless,
    soon,
    still,
    tab_to,
)

pytestmark = pytest.mark.skipif(not found(), reason="there is no Chromium on this machine")

WIDE, NARROW, HIGH = 1100, 400, 900
SHOWN = "[...document.querySelectorAll('#table .row')].filter(row => !row.hidden).length"
# The stamp of the sample that is read.
STAMP = f"Number({READ}.match(/t ([-0-9.]+) s/)[1])"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory, broken: Result) -> Path:
    """The page of a faulty controller, in a file."""
    file = tmp_path_factory.mktemp("page") / "result.html"
    file.write_text(to_html(broken), encoding="utf-8")
    return file


def opened(browser: Browser, page: Path, width: int = WIDE, *, dark: bool = False) -> None:
    """Open a page, and wait until its first picture is drawn."""
    browser.size(width, HIGH, dark=dark)
    browser.open(page)
    browser.run("document.querySelector('#findings').scrollIntoView()")
    browser.until(f"{DRAWN} > 0")


def test_it_opens_without_errors_and_asks_for_nothing(browser: Browser, page: Path) -> None:
    opened(browser, page)
    assert browser.wrongs() == []
    assert browser.requests() == []
    # A picture is several panels over the same samples: voltage, current, stage, timers.
    assert browser.run("document.querySelector('.drawn').querySelectorAll('canvas').length") == 4


def test_hostile_names_run_nothing(browser: Browser, tmp_path: Path, hostile: Result) -> None:
    file = tmp_path / "hostile.html"
    file.write_text(to_html(hostile), encoding="utf-8")
    opened(browser, file)
    assert browser.run("document.title") != "taken"
    assert browser.run("document.images.length") == 0
    assert browser.wrongs() == []
    assert browser.requests() == []


def test_the_policy_of_the_page_stops_a_script_that_is_put_into_it(
    browser: Browser, page: Path, tmp_path: Path
) -> None:
    # So that the test above would fail if names were written as they are.
    file = tmp_path / "spoilt.html"
    spoilt = "<script>document.title='taken'</script><img src='nowhere.png'></main>"
    file.write_text(page.read_text().replace("</main>", spoilt), encoding="utf-8")
    opened(browser, file)
    assert browser.run("document.title") != "taken"
    assert len([wrong for wrong in browser.wrongs() if "Content Security Policy" in wrong]) == 2


def test_tab_comes_to_the_filter_and_what_is_typed_there_filters(
    browser: Browser, page: Path
) -> None:
    opened(browser, page)
    browser.run("window.scrollTo(0, 0)")
    tab_to(browser, "#words")
    whole = browser.run(SHOWN)
    for letter in "sag":
        browser.press(letter)
    assert 0 < browser.run(SHOWN) < whole
    assert browser.run(
        "[...document.querySelectorAll('#table .row')].filter(row => !row.hidden)"
        ".every(row => row.dataset.words.includes('sag'))"
    )
    said = browser.run("document.querySelector('#shown').textContent")
    assert said == f"{browser.run(SHOWN)} of {whole} requirements are shown."


def test_outcomes_can_be_left_out_by_keyboard(browser: Browser, page: Path) -> None:
    opened(browser, page)
    whole = browser.run(SHOWN)
    passed = browser.run("document.querySelectorAll('#table .row[data-outcome=pass]').length")
    tab_to(browser, "input[value=pass]")
    browser.press(" ")
    assert browser.run(SHOWN) == whole - passed
    browser.press(" ")
    assert browser.run(SHOWN) == whole


def test_down_and_enter_open_a_finding(browser: Browser, page: Path) -> None:
    opened(browser, page)
    tab_to(browser, "#words")
    for letter in "HOLD":
        browser.press(letter)
    browser.press("ArrowDown")
    assert browser.run(f"{FOCUS}.textContent") == "HOLD.full-length"
    browser.run("for (const each of document.querySelectorAll('.finding')) each.open = false")
    browser.press("Enter")
    assert browser.run(f"{FOCUS}.matches('#found-HOLD\\\\.full-length .finding[open] > summary')")
    # Down again goes to the next finding, Enter opens and closes it.
    browser.press("ArrowDown")
    assert not browser.run(f"{FOCUS}.parentElement.open")
    browser.press("Enter")
    assert browser.run(f"{FOCUS}.parentElement.open")
    browser.until(f"{FOCUS}.parentElement.querySelector('.drawn') !== null")


def test_a_picture_is_read_and_zoomed_by_keyboard(browser: Browser, page: Path) -> None:
    opened(browser, page)
    tab_to(browser, ".plots")
    at = browser.run(STAMP)
    browser.press("ArrowRight")
    assert browser.run(STAMP) > at
    browser.press("ArrowLeft")
    assert browser.run(STAMP) == at
    assert browser.run(READ).startswith("The finding: ")
    assert "controller float, reference absorption" in browser.run(READ)
    before = still(browser, FOCUS)
    browser.press("+")
    soon(lambda: still(browser, FOCUS) != before)
    browser.press("0")
    soon(lambda: still(browser, FOCUS) == before)


def test_dragging_zooms_every_panel_and_a_button_shows_all_again(
    browser: Browser, page: Path
) -> None:
    opened(browser, page)
    browser.run("document.querySelector('.plots').scrollIntoView()")
    before = still(browser)
    box = browser.run(
        "(b => [b.x, b.y, b.width, b.height])(document.querySelector('.u-over').getBoundingClientRect())"
    )
    x, y, width, height = box
    browser.drag((x + 0.2 * width, y + height / 2), (x + 0.5 * width, y + height / 2))
    soon(lambda: all_differ(before, still(browser)))
    button = "[...document.querySelectorAll('.tools button')].find(b => b.textContent === 'All')"
    browser.run(f"{button}.click()")
    soon(lambda: still(browser) == before)


def test_it_fits_a_narrow_screen(browser: Browser, page: Path) -> None:
    opened(browser, page, NARROW)
    browser.run("for (const each of document.querySelectorAll('details')) each.open = true")
    browser.run("new Promise(requestAnimationFrame)")
    assert browser.run("document.documentElement.scrollWidth") <= NARROW
    assert browser.wrongs() == []


def test_a_picture_follows_the_width_of_the_window(browser: Browser, page: Path) -> None:
    opened(browser, page)
    browser.size(700, HIGH)
    browser.until("document.querySelector('.drawn canvas').clientWidth < 700")
    assert browser.run("document.documentElement.scrollWidth") <= 700


LINES = ["v", "i", "soc", "request", "level", "here", "line", *(f"clock{k}" for k in range(5))]


@pytest.mark.parametrize("dark", [False, True])
def test_contrast_is_enough_in_light_and_dark(browser: Browser, page: Path, dark: bool) -> None:
    opened(browser, page, dark=dark)
    assert browser.run("matchMedia('(prefers-color-scheme: dark)').matches") is dark
    back = browser.run("getComputedStyle(document.body).backgroundColor")
    assert (back == "rgb(255, 255, 255)") is not dark
    # The bounds of WCAG 2.1 for text, and for what is drawn.
    for one, other in TEXTS:
        assert browser.run(f"{CONTRAST}({one!r}, {other!r})") >= 4.5, (one, other)
    for name in LINES:
        assert browser.run(f"{CONTRAST}({name!r}, 'back')") >= 3.0, name


def test_pictures_change_with_light_and_dark(browser: Browser, page: Path) -> None:
    opened(browser, page)
    before = still(browser)
    browser.size(WIDE, HIGH, dark=True)
    soon(lambda: all_differ(before, still(browser)))


def test_everything_that_can_be_reached_has_a_name(browser: Browser, page: Path) -> None:
    opened(browser, page)
    assert nameless(browser) == []
    nodes = browser.ask("Accessibility.getFullAXTree")["nodes"]
    roles = {node.get("role", {}).get("value") for node in nodes}
    assert {"searchbox", "checkbox", "button", "table", "heading"} <= roles


def test_it_prints(browser: Browser, page: Path) -> None:
    opened(browser, page)
    browser.size(WIDE, HIGH, dark=True, media="print")
    browser.run("new Promise(requestAnimationFrame)")
    visible = "e => e.getBoundingClientRect().height > 0"
    assert browser.run(f"({visible})(document.querySelector('.drawn .still'))")
    assert not browser.run(f"({visible})(document.querySelector('.drawn .plots'))")
    assert not browser.run(f"({visible})(document.querySelector('.filter'))")
    # On paper it is dark on white, whatever the screen is.
    text = browser.run("getComputedStyle(document.querySelector('h1')).color")
    assert text == "rgb(17, 17, 17)"
    pdf = browser.pdf()
    assert pdf.startswith(b"%PDF-")
    assert len(pdf) > 20_000


def test_without_scripts_it_still_shows_pictures(browser: Browser, page: Path) -> None:
    browser.size(WIDE, HIGH)
    browser.ask("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.open(page)
        document = browser.ask("DOM.getDocument")["root"]["nodeId"]
        still_id = browser.ask("DOM.querySelector", nodeId=document, selector=".finding[open] svg")
        box = browser.ask("DOM.getBoxModel", nodeId=still_id["nodeId"])["model"]
        assert (box["width"] > 500, box["height"] > 200) == (True, True)
        form = browser.ask("DOM.querySelector", nodeId=document, selector=".filter[hidden]")
        assert form["nodeId"] != 0
    finally:
        browser.ask("Emulation.setScriptExecutionDisabled", value=False)


def test_a_reading_is_told_to_its_last_digit(
    browser: Browser, tmp_path: Path, broken: Result
) -> None:
    excerpts = tuple(
        evolve(each, columns={**each.columns, "v": 55.0 + 1e-6 * each.columns["t"]})
        for each in broken.excerpts
    )
    file = tmp_path / "fine.html"
    file.write_text(to_html(evolve(broken, excerpts=excerpts)), encoding="utf-8")
    opened(browser, file)
    browser.run(
        "[...document.querySelectorAll('.tools button')].find(b => b.textContent === 'Finding').click()"
    )
    soon(lambda: "v 55.000009" in browser.run("document.querySelector('.readout').textContent"))
    assert browser.wrongs() == []
