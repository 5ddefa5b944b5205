"""The page of a charger in a browser: its pictures are drawn, read by key, and can be seen."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.report.result_page import to_html
from tests.report.browser import Browser, found
from tests.report.driving import CONTRAST, DRAWN, READ, tab_to
from tests.report.made_charger import deaf_result

pytestmark = pytest.mark.skipif(not found(), reason="there is no browser")
STATES = ("stopped", "fallback", "following")


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "charger.html"
    path.write_text(to_html(deaf_result()), encoding="utf-8")
    return path


@pytest.mark.parametrize(("width", "dark"), [(1_280, False), (400, True)])
def test_pictures_are_drawn_and_read(browser: Browser, page: Path, width: int, dark: bool) -> None:
    browser.size(width, 900, dark=dark)
    browser.open(page)
    browser.run("document.querySelector('#found-STALE\\\\.falls-back').scrollIntoView()")
    browser.run("new Promise(done => setTimeout(done, 500))")
    assert browser.run(DRAWN) > 0
    assert browser.run("document.documentElement.scrollWidth") <= width
    titles = browser.run("[...document.querySelectorAll('.plots h4')].map(e => e.textContent)")
    assert "state" in titles
    assert "stage" not in titles
    tab_to(browser, "[id='found-STALE.falls-back'] .plots")
    browser.press("ArrowRight")
    read = browser.run(READ)
    assert "t 47 s" in read
    assert "set_point_v 56" in read
    assert "charger following, reference fallback" in read
    for state in STATES:
        assert browser.run(f"{CONTRAST}('on-{state}', '{state}')") >= 4.5, state
    assert browser.run(f"{CONTRAST}('own', 'back')") >= 3.0
    assert [e for e in browser.events if e.get("method") == "Runtime.exceptionThrown"] == []
