"""The page of what a charger has to do, from the same catalogue that the checks are run from."""

from __future__ import annotations

import re

from vector_pages import sentence

from ctrl.charger import ChargerSettings
from harness.charger.cases import charger_cases
from harness.charger.rules import CHARGER_GROUPS, CHARGER_REQUIREMENTS
from harness.rules.requirement import Requirement

PLACE = "reference/charger-requirements.md"
LINK = "LINK"
_INTRODUCTION = """\
# Requirements of a charger

What a charger that listens to its packs has to do, {count} requirements in {groups} groups. Each has
an id that never changes its meaning, a sentence that is binding, a reason, and a check in the
program; this page is made from the catalogue that the checks stand in. The
[rules of a charger](charger.md) say the same in one piece.

How a charger answers is asked of it as of a controller: see [LINK](requirements/link.md).

- **must**: a charger that breaks it does not conform.

Beside a requirement stand the settings that its sentence names, with their defaults. The defaults are
common practice, no source; the limits in the data sheets of cells, charger and cables come first
([safety](../explanation/safety.md)).
"""


def charger_requirements_page() -> str:
    """The page as Markdown."""
    own = [one for one in CHARGER_REQUIREMENTS if one.group != LINK]
    groups = {name: about for name, about in CHARGER_GROUPS.items() if name != LINK}
    parts = [_INTRODUCTION.format(count=len(own), groups=len(groups))]
    parts.append("| id | level | title | settings |\n|---|---|---|---|")
    parts += [
        f"| [{one.id}](#{_anchor(one)}) | {one.level} | {one.title} | {_names(one)} |"
        for one in own
    ]
    for group, about in groups.items():
        parts.append(f"\n## {group} {{#{group.lower()}}}\n\n{about}\n")
        parts += [_entry(one) for one in own if one.group == group]
    return "\n".join(parts)


def _anchor(requirement: Requirement) -> str:
    return requirement.id.lower().replace(".", "-")


def _settings(requirement: Requirement) -> dict[str, object]:
    """The settings that the sentence names, with their defaults."""
    usual = ChargerSettings().to_mapping()
    named = re.findall(r"`(\w+)`", requirement.statement)
    return {name: usual[name] for name in named if name in usual}


def _names(requirement: Requirement) -> str:
    return ", ".join(f"`{name}`" for name in _settings(requirement))


def _entry(requirement: Requirement) -> str:
    told = ", ".join(f"`{name}` ({_shown(at)})" for name, at in _settings(requirement).items())
    cases = [case.id for case in charger_cases() if requirement.id in case.requirements]
    parts = [
        f"### {requirement.id} {{#{_anchor(requirement)}}}",
        f"**{sentence(requirement.title)}** ({requirement.level})",
        f"> {requirement.statement}",
        f"*Why:* {requirement.reason}",
    ]
    if told:
        parts.append(f"*Settings, with their defaults:* {told}.")
    about = ", ".join(f"`{name}`" for name in cases) or "many cases, and none in particular"
    parts.append(f"*Cases about it:* {about}.\n")
    return "\n\n".join(parts)


def _shown(value: object) -> str:
    if isinstance(value, tuple):
        return " to ".join(f"{part:g}" for part in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
