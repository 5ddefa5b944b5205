"""Links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path, PurePosixPath

import pytest

_LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
_HEADING = re.compile(r"^#+ (.*?)(?: \{#([\w-]+)\})?$", re.MULTILINE)
_FENCE = re.compile(r"^```.*?^```$", re.MULTILINE | re.DOTALL)


def test_links_between_pages_and_to_headings_resolve(pages: dict[str, str], root: Path) -> None:
    anchors = {place: _anchors(text) for place, text in pages.items()}
    broken = []
    for place, text in pages.items():
        for target in _LINK.findall(_FENCE.sub("", text)):
            where, _, anchor = target.partition("#")
            other = _joined(place, where) if where else place
            there = other in pages or (root / "docs" / other).is_file()
            if not there or (anchor and anchor not in anchors[other]):
                broken.append(f"{place}: {target}")
    assert not broken


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "CHANGELOG.md"])
def test_links_of_the_files_at_the_top_resolve(name: str, root: Path) -> None:
    text = (root / name).read_text(encoding="utf-8")
    for target in _LINK.findall(_FENCE.sub("", text)):
        where = target.partition("#")[0]
        assert where == "" or (root / where).exists(), f"{name}: {target}"


def test_headings_of_a_page_have_different_anchors(pages: dict[str, str]) -> None:
    for place, text in pages.items():
        found = _anchors(text)
        assert len(found) == len(set(found)), place


def _anchors(text: str) -> list[str]:
    return [anchor or _slug(words) for words, anchor in _HEADING.findall(_FENCE.sub("", text))]


def _slug(words: str) -> str:
    """As the site makes an anchor of a heading that names none."""
    return re.sub(r"[-\s]+", "-", re.sub(r"[^\w\s-]", "", words).strip().lower())


def _joined(place: str, target: str) -> str:
    parts: list[str] = []
    for part in (PurePosixPath(place).parent / target).parts:
        if part == "..":
            parts.pop()
        else:
            parts.append(part)
    return "/".join(parts)
