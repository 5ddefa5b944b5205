"""The site is built, and asks no other server for anything."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from harness.rules import REQUIREMENTS

_LOADED = re.compile(
    r"<(?:script|img|link|iframe)\b[^>]*?(?:src|href)=[\"']?((?:https?:)?//[^\"' >]+)"
)


@pytest.fixture(scope="module")
def site(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    pytest.importorskip("mkdocs", reason="the site is built where the extra dev is installed")
    folder = tmp_path_factory.mktemp("site")
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--site-dir", str(folder)],
        cwd=root,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def test_no_page_loads_anything_from_elsewhere(site: Path) -> None:
    found = list(site.rglob("*.html"))
    assert len(found) > 20
    assert {
        page.name: links for page in found if (links := _LOADED.findall(page.read_text()))
    } == {}


def test_every_requirement_has_its_anchor(site: Path) -> None:
    for requirement in REQUIREMENTS:
        group, slug = requirement.id.split(".")
        page = site / "reference" / "requirements" / group.lower() / "index.html"
        assert f'id="{slug}"' in page.read_text(encoding="utf-8")


def test_code_of_the_site_is_no_part_of_it(site: Path) -> None:
    assert not list(site.rglob("*.py"))
