"""Makes the pictures of the page of an explained log: `python -m tests.report.make_explained_pictures`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from harness.report.explained_page import page
from tests.report.browser import Browser
from tests.report.made_story import hut_story

IMAGES = Path(__file__).resolve().parents[2] / "docs" / "images"
NORTH = "document.querySelector('#pack-1')"
WIRING = (
    "[...document.querySelectorAll('h3')].find(e => e.textContent.endsWith('charger and north'))"
)
# Name, width, height, dark, and what stands at the top.
PICTURES = (
    ("explained-wide.png", 1000, 1250, False, NORTH),
    ("explained-wiring.png", 1000, 520, False, WIRING),
    ("explained-dark.png", 1000, 1250, True, NORTH),
)


def main() -> None:
    """Explain the hut's log, open the page, and take the pictures."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        file = Path(folder) / "hut.html"
        file.write_text(page(hut_story()), encoding="utf-8")
        with Browser(Path(folder) / "profile") as browser:
            for name, width, height, dark, top in PICTURES:
                browser.size(width, height, dark=dark)
                browser.open(file)
                for _ in range(3):
                    # What is drawn above moves what stands below.
                    browser.run(f"{top}.scrollIntoView()")
                    browser.run("new Promise(done => setTimeout(done, 400))")
                assert browser.wrongs() == []
                browser.picture(IMAGES / name)
                print(name, (IMAGES / name).stat().st_size)


if __name__ == "__main__":
    main()
