"""Makes the pictures of the page in docs/how-to/reports.md: `python -m tests.report.make_pictures`."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from tests.report.browser import Browser

IMAGES = Path(__file__).resolve().parents[2] / "docs" / "images"
CONTROLLER = "exec:python -m harness.zoo sag-restart-ignored"
# Name, width, height, dark, and what stands at the top.
PICTURES = (
    ("report-wide.png", 1000, 1060, False, ".requirement"),
    ("report-narrow.png", 400, 900, False, "h1"),
    ("report-dark.png", 1000, 800, True, "h1"),
)


def main() -> None:
    """Judge a faulty controller, open the page, and take the pictures."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        page = Path(folder) / "result.html"
        subprocess.run(
            [sys.executable, "-m", "harness.cli.main", "verify", CONTROLLER, "--html", str(page)],
            stdout=subprocess.DEVNULL,
            check=False,
        )
        with Browser(Path(folder) / "profile") as browser:
            for name, width, height, dark, top in PICTURES:
                browser.size(width, height, dark=dark)
                browser.open(page)
                browser.run(f"document.querySelector({top!r}).scrollIntoView()")
                browser.run("new Promise(done => setTimeout(done, 500))")
                browser.picture(IMAGES / name)
                print(name, (IMAGES / name).stat().st_size)


if __name__ == "__main__":
    main()
