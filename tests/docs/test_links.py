"""Links lead somewhere, and nowhere outside."""

from __future__ import annotations

import itertools
import re
from pathlib import Path, PurePosixPath

import pytest

_LINK = re.compile(r"(!?)\[((?:[^\[\]]|\[[^\]]*\])*)\]\(([^)\s]+)(?:\s[^)]*)?\)")
_HEADING = re.compile(r"^(#+) (.*?)(?: \{#([\w-]+)\})?$", re.MULTILINE)
# A word of the glossary, and a name whose docstring the site puts there.
_INLINE_ANCHOR = re.compile(r"\*\*\{#([\w-]+)\}|^::: (\S+)$", re.MULTILINE)
_FENCE = re.compile(r"^ *```.*?^ *```$", re.MULTILINE | re.DOTALL)
_CODE = re.compile(r"`[^`\n]*`")
_COMMENT = re.compile(r"<!--.*?-->", re.DOTALL)
_ADDRESS = re.compile(r"\b(?:https?|ftp|mailto):|\]\(//|^\[[^\]]+\]: |<a\s|<img\s", re.MULTILINE)
# The site shows an image that ends so in one colour scheme only.
_SCHEMES = ("only-light", "only-dark")
TOP = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "tests/README.md")


def test_links_between_pages_and_to_headings_resolve(pages: dict[str, str], root: Path) -> None:
    anchors = {place: _anchors(text) for place, text in pages.items()}
    found, broken = 0, []
    for place, text in pages.items():
        for image, _, target in _LINK.findall(_prose(text)):
            found += 1
            where, _, anchor = target.partition("#")
            other = _joined(place, where) if where else place
            if other in pages:
                right = not image and (not anchor or anchor in anchors[other])
            else:
                right = (root / "docs" / other).is_file() and anchor in ("", *_SCHEMES)
            if not right:
                broken.append(f"{place}: {target}")
    assert found > 500
    assert broken == []


@pytest.mark.parametrize("name", TOP)
def test_links_of_the_files_outside_of_the_site_resolve(
    name: str, root: Path, pages: dict[str, str]
) -> None:
    if not (root / name).is_file():
        pytest.skip("there is no such file")
    text = (root / name).read_text(encoding="utf-8")
    broken = []
    for _, _, target in _LINK.findall(_prose(text)):
        where, _, anchor = target.partition("#")
        other = _joined(name, where) if where else name
        if other.removeprefix("docs/") in pages:
            of_other = pages[other.removeprefix("docs/")]
        elif other in TOP and (root / other).is_file():
            of_other = (root / other).read_text(encoding="utf-8")
        else:
            of_other = ""
        there = bool(of_other) or (root / other).exists()
        if not there or (anchor and anchor not in _anchors(of_other)):
            broken.append(target)
    assert broken == []


def test_no_page_names_an_address(pages: dict[str, str], root: Path) -> None:
    named = {place: _prose(text) for place, text in pages.items()}
    named |= {name: _prose((root / name).read_text(encoding="utf-8")) for name in TOP[:3]}
    assert {
        place: found for place, text in named.items() if (found := _ADDRESS.findall(text))
    } == {}


def test_every_image_is_shown_and_says_in_words_what_it_shows(
    pages: dict[str, str], root: Path
) -> None:
    shown = set()
    for place, text in pages.items():
        for image, words, target in _LINK.findall(_prose(text)):
            if image:
                shown.add(_joined(place, target.partition("#")[0]))
                assert len(words.split()) >= 4, f"{place}: {target}"
    images = {
        path.relative_to(root / "docs").as_posix() for path in (root / "docs/images").iterdir()
    }
    # The mark is named in mkdocs.yml.
    assert images - shown == {"images/mark.svg"}


def test_headings_of_a_page_are_in_order_and_have_different_anchors(pages: dict[str, str]) -> None:
    for place, text in pages.items():
        found = _anchors(text)
        assert len(found) == len(set(found)), place
        depths = [len(marks) for marks, _, _ in _HEADING.findall(_FENCE.sub("", text))]
        assert depths[0] == 1, place
        assert depths.count(1) == 1, place
        steps = itertools.pairwise(depths)
        assert all(after - before <= 1 for before, after in steps), place


def _prose(text: str) -> str:
    """What is neither code nor a comment."""
    return _CODE.sub("", _COMMENT.sub("", _FENCE.sub("", text)))


def _anchors(text: str) -> list[str]:
    text = _FENCE.sub("", text)
    headings = [anchor or _slug(words) for _, words, anchor in _HEADING.findall(text)]
    return [*headings, *("".join(found) for found in _INLINE_ANCHOR.findall(text))]


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
