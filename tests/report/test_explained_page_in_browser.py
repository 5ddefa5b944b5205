"""The page of an explained log in a real browser: errors, network, keyboard, narrow, dark, printed."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.report.explained import Story
from harness.report.explained_page import page as page_of
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
LINES = ["v", "i", "charger", "other", "held", "needed", "level", "here", "line", "cell", "soc"]
NORTH = "document.querySelectorAll('.picture')[2]"
IN_NORTH = f"{NORTH}.querySelector('.plots')"


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory, story: Story) -> Path:
    """The page of the hut, in a file."""
    file = tmp_path_factory.mktemp("page") / "hut.html"
    file.write_text(page_of(story), encoding="utf-8")
    return file


def opened(browser: Browser, page: Path, width: int = WIDE, *, dark: bool = False) -> None:
    """Open a page, go to the moment that decides for the second pack, and wait until it is drawn."""
    browser.size(width, HIGH, dark=dark)
    browser.open(page)
    browser.run(f"{NORTH}.scrollIntoView()")
    browser.until(f"{NORTH}.matches('.drawn')")


def test_every_picture_is_drawn_without_errors_and_asks_for_nothing(
    browser: Browser, told: Path
) -> None:
    opened(browser, told)
    for k in range(6):
        browser.run(f"document.querySelectorAll('.picture')[{k}].scrollIntoView()")
        browser.until(f"document.querySelectorAll('.picture')[{k}].matches('.drawn')")
    assert browser.run(DRAWN) == 6
    # Voltage, current and stages of each.
    assert browser.run("document.querySelectorAll('.drawn canvas').length") == 18
    assert browser.wrongs() == []
    assert browser.requests() == []


def test_names_that_attack_run_nothing(
    browser: Browser, tmp_path: Path, hostile_told: Story
) -> None:
    file = tmp_path / "hostile.html"
    file.write_text(page_of(hostile_told), encoding="utf-8")
    opened(browser, file)
    assert browser.run("document.title") != "taken"
    assert browser.run("document.images.length") == 0
    assert browser.wrongs() == []
    assert browser.requests() == []


def test_a_name_that_attacks_leaves_the_page_as_narrow(
    browser: Browser, tmp_path: Path, hostile_told: Story
) -> None:
    file = tmp_path / "hostile.html"
    file.write_text(page_of(hostile_told), encoding="utf-8")
    opened(browser, file, NARROW)
    assert browser.run("document.documentElement.scrollWidth") <= NARROW


def test_a_link_leads_to_its_pack_and_tab_goes_on_from_there(browser: Browser, told: Path) -> None:
    opened(browser, told)
    browser.run("window.scrollTo(0, 0)")
    tab_to(browser, "nav a[href='#pack-1']")
    browser.press("Enter")
    assert browser.run(f"{FOCUS}.textContent").startswith("north: ")
    browser.press("Tab")
    assert browser.run(f"{FOCUS}.closest('.picture') === {NORTH}")


def test_the_moment_is_read_and_zoomed_by_keyboard(browser: Browser, told: Path) -> None:
    opened(browser, told)
    browser.run("window.scrollTo(0, 0)")
    tab_to(browser, "nav a[href='#pack-1']")
    browser.press("Enter")
    tab_to(browser, ".plots")
    moment = browser.run(READ)
    assert moment.startswith("The moment: 2031-02-05 06:39:00, pack 55.98 V, charger 56 V, ")
    assert moment.endswith("log bulk, rules bulk")
    browser.press("ArrowRight")
    assert browser.run(READ).startswith("2031-02-05 06:39:05, pack ")
    browser.press("ArrowLeft")
    assert browser.run(READ) == moment
    before = still(browser, FOCUS)
    browser.press("+")
    soon(lambda: still(browser, FOCUS) != before)
    browser.press("0")
    soon(lambda: all_differ(before, still(browser, FOCUS)))
    browser.run(
        f"[...{NORTH}.querySelectorAll('button')].find(b => b.textContent === 'The moment').click()"
    )
    soon(lambda: still(browser, FOCUS) == before)


def test_dragging_zooms_every_panel_of_a_picture(browser: Browser, told: Path) -> None:
    opened(browser, told)
    browser.run(f"{IN_NORTH}.scrollIntoView()")
    before = still(browser, IN_NORTH)
    x, y, width, height = browser.run(
        f"(b => [b.x, b.y, b.width, b.height])({IN_NORTH}.querySelector('.u-over').getBoundingClientRect())"
    )
    browser.drag((x + 0.3 * width, y + height / 2), (x + 0.6 * width, y + height / 2))
    soon(lambda: all_differ(before, still(browser, IN_NORTH)))
    assert browser.wrongs() == []


def test_it_fits_a_narrow_screen_with_everything_open(browser: Browser, told: Path) -> None:
    opened(browser, told, NARROW)
    browser.run("for (const each of document.querySelectorAll('details')) each.open = true")
    browser.run("new Promise(requestAnimationFrame)")
    assert browser.run("document.documentElement.scrollWidth") <= NARROW
    assert browser.wrongs() == []


@pytest.mark.parametrize("dark", [False, True])
def test_colours_can_be_told_from_the_ground(browser: Browser, told: Path, dark: bool) -> None:
    opened(browser, told, dark=dark)
    back = browser.run("getComputedStyle(document.body).backgroundColor")
    assert (back == "rgb(255, 255, 255)") is not dark
    # The bounds of WCAG 2.1 for text, and for what is drawn.
    for one, other in (*TEXTS, ("here", "back")):
        assert browser.run(f"{CONTRAST}({one!r}, {other!r})") >= 4.5, (one, other)
    for name in LINES:
        assert browser.run(f"{CONTRAST}({name!r}, 'back')") >= 3.0, name


def test_a_picture_changes_with_light_and_dark(browser: Browser, told: Path) -> None:
    opened(browser, told)
    before = still(browser, IN_NORTH)
    browser.size(WIDE, HIGH, dark=True)
    soon(lambda: all_differ(before, still(browser, IN_NORTH)))


def test_everything_that_the_keyboard_reaches_has_a_name(browser: Browser, told: Path) -> None:
    opened(browser, told)
    assert nameless(browser) == []


def test_on_paper_there_are_pictures_and_no_buttons(browser: Browser, told: Path) -> None:
    opened(browser, told)
    browser.size(WIDE, HIGH, dark=True, media="print")
    browser.run("new Promise(requestAnimationFrame)")
    high = "e => e.getBoundingClientRect().height"
    assert browser.run(f"({high})({NORTH}.querySelector('.still'))") > 100
    assert browser.run(f"({high})({NORTH}.querySelector('.plots'))") == 0
    assert browser.run(f"({high})({NORTH}.querySelector('.tools'))") == 0
    assert browser.run(f"({high})(document.querySelector('.plane'))") > 100
    # On paper it is dark on white, whatever the screen is.
    assert browser.run("getComputedStyle(document.querySelector('h2')).color") == "rgb(17, 17, 17)"
    assert len(browser.pdf()) > 20_000


def test_without_scripts_the_moment_is_shown_all_the_same(browser: Browser, told: Path) -> None:
    browser.size(WIDE, HIGH)
    browser.ask("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.open(told)
        document = browser.ask("DOM.getDocument")["root"]["nodeId"]
        for selector in (".picture svg", "svg.plane"):
            node = browser.ask("DOM.querySelector", nodeId=document, selector=selector)
            box = browser.ask("DOM.getBoxModel", nodeId=node["nodeId"])["model"]
            assert (box["width"] > 500, box["height"] > 200) == (True, True), selector
    finally:
        browser.ask("Emulation.setScriptExecutionDisabled", value=False)
