"""Pages that are made from the code, and pages by hand that list what the code lists."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from types import ModuleType

import ctrl.settings
from ctrl.settings import SETTING_NAMES
from ctrl.transitions import TRANSITIONS
from harness.rules import GROUPS, REQUIREMENTS
from harness.run import FEATURES


def test_every_requirement_has_a_heading_and_says_what_the_catalogue_says(
    pages: dict[str, str],
) -> None:
    assert len(REQUIREMENTS) > len(GROUPS)
    for requirement in REQUIREMENTS:
        group, slug = requirement.id.split(".")
        folder, place = "reference/requirements", f"{group.lower()}.md"
        page = pages[f"{folder}/{place}"]
        assert f"## {requirement.id} {{#{slug}}}" in page
        assert requirement.statement in page
        assert requirement.reason in page
        assert f"[{requirement.id}]({place}#{slug})" in pages[f"{folder}/index.md"]


def test_every_group_has_a_page_and_a_place_in_the_navigation(
    pages: dict[str, str], root: Path
) -> None:
    navigation = (root / "mkdocs.yml").read_text(encoding="utf-8")
    for group in GROUPS:
        place = f"reference/requirements/{group.lower()}.md"
        assert place in pages
        assert f"- {group}: {place}\n" in navigation


def test_every_page_is_in_the_navigation(pages: dict[str, str], root: Path) -> None:
    navigation = (root / "mkdocs.yml").read_text(encoding="utf-8").partition("\nnav:\n")[2]
    named = re.findall(r"[\w/-]+\.md", navigation)
    assert sorted(named) == sorted(pages)


def test_every_vector_has_a_heading(pages: dict[str, str], root: Path) -> None:
    chargers = root / "vectors" / "charger"
    of_chargers = _ids(chargers, chargers.rglob("*.json"))
    all_files = (root / "vectors").rglob("*.json")
    others = (path for path in all_files if not path.is_relative_to(chargers))
    of_controllers = _ids(root / "vectors", others)
    assert len(of_controllers) >= 60
    assert len(of_chargers) >= 40
    for page, ids in (("vectors", of_controllers), ("charger-vectors", of_chargers)):
        text = pages[f"reference/{page}.md"]
        headings = re.findall(r"^### (\S+) \{#\S+\}$", text, re.MULTILINE)
        assert sorted(headings) == ids


def _ids(folder: Path, files: Iterable[Path]) -> list[str]:
    found = [path for path in files if "schema" not in path.name]
    return sorted(path.relative_to(folder).with_suffix("").as_posix() for path in found)


def test_every_setting_has_a_row_with_a_meaning(pages: dict[str, str]) -> None:
    rows = re.findall(
        r"^\| `(\w+)` \| (.+) \| (.+) \|$", pages["reference/settings.md"], re.MULTILINE
    )
    assert tuple(name for name, _, _ in rows) == SETTING_NAMES
    assert (
        "sag_v",
        "none",
        "a voltage under this in the hold is a sag, V; None: as `entry_v`.",
    ) in rows
    assert ("plausible_v", "16 to 64", "low and high bound of a believable voltage, V.") in rows


def test_rules_name_every_contradiction(pages: dict[str, str]) -> None:
    said = " ".join(pages["reference/rules.md"].split())
    for _, _, must_hold in ctrl.settings._CONTRADICTIONS:
        assert f"`{must_hold}`" in said


def test_rules_have_a_row_for_every_way_out_of_a_stage(pages: dict[str, str]) -> None:
    rows = re.findall(
        r"^\| (\d+) \| .+ \| (\w+) \| .+ \| .+ \|$", pages["reference/rules.md"], re.MULTILINE
    )
    ways = {row.way: row.to.word for table in TRANSITIONS.values() for row in table}
    assert rows == [(str(way + 1), to) for way, to in sorted(ways.items())]


def test_protocol_page_lists_the_features(pages: dict[str, str]) -> None:
    section = pages["reference/protocol.md"].partition("## Features")[2].partition("\n## ")[0]
    assert tuple(re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)) == FEATURES


def test_no_table_is_left_to_be_filled_in(
    pages_from_code: ModuleType, pages: dict[str, str]
) -> None:
    for name in pages_from_code.TABLES:
        assert not any(name in text for text in pages.values())
