"""The site is built, and asks no other server for anything."""

from __future__ import annotations

import re
import subprocess
import sys
from html import unescape
from pathlib import Path
from urllib.parse import unquote

import pytest

from harness.rules import REQUIREMENTS

_LOADED = re.compile(
    r"<(?:script|img|link|iframe)\b[^>]*?(?:src|href)=[\"']?((?:https?:)?//[^\"' >]+)"
)
_TARGET = re.compile(r"<[a-z]+\b[^>]*?\s(?:href|src)=(?:\"([^\"]*)\"|'([^']*)'|([^\s>]+))")
_ANCHOR = re.compile(r"\s(?:id|name)=(?:\"([^\"]*)\"|'([^']*)'|([^\s>]+))")
# These are resolved by the page itself or by nobody: code, and what stands in the page.
_NO_FILES = ("javascript:", "data:")


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


def test_every_link_of_the_site_leads_to_a_file_and_to_a_place_in_it(site: Path) -> None:
    # What is shown where a page is not found may stand in any folder, so it names all from the top.
    pages = [page for page in site.rglob("*.html") if page.name != "404.html"]
    texts = {page: page.read_text(encoding="utf-8") for page in pages}
    anchors = {page: _found(_ANCHOR, text) for page, text in texts.items()}
    checked, broken = 0, set()
    for page, text in texts.items():
        for target in _found(_TARGET, text):
            where, _, anchor = unquote(target).partition("#")
            if where.startswith(_NO_FILES):
                continue
            checked += 1
            file = (page.parent / where.partition("?")[0]).resolve() if where else page
            file = file / "index.html" if file.is_dir() else file
            right = file.is_file()
            if right and anchor and file in anchors:
                right = anchor in anchors[file]
            if not right:
                broken.add(f"{page.relative_to(site)}: {target}")
    assert checked > 2000
    assert broken == set()


def _found(pattern: re.Pattern[str], text: str) -> set[str]:
    return {unescape("".join(groups)) for groups in pattern.findall(text)} - {""}
