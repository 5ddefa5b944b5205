"""Makes the pictures of the page of a study: `python -m tests.report.make_study_pictures study.html`."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.report.browser import Browser

IMAGES = Path(__file__).resolve().parents[2] / "docs" / "images"
PLANE = (
    "[...document.querySelectorAll('h2')]"
    ".find(e => e.textContent === 'False fulls and missed full days')"
)
MEASURES = "[...document.querySelectorAll('h2')].find(e => e.textContent === 'Every measure')"
# Name, width, height, dark, and what stands at the top.
PICTURES = (
    ("study-plane.png", 1000, 740, False, PLANE),
    ("study-measures.png", 1000, 1060, False, MEASURES),
    ("study-dark.png", 1000, 740, True, PLANE),
)


def main(file: Path) -> None:
    """Open the page of a study, and take the pictures."""
    with (
        tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder,
        Browser(Path(folder) / "profile") as browser,
    ):
        for name, width, height, dark, top in PICTURES:
            browser.size(width, height, dark=dark)
            browser.open(file)
            browser.run(f"{top}.scrollIntoView()")
            browser.run("new Promise(done => setTimeout(done, 300))")
            assert browser.wrongs() == []
            browser.picture(IMAGES / name)
            print(name, (IMAGES / name).stat().st_size)


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
