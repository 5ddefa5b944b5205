"""The pages of requirements, from the same catalogue that the checks are run from."""

from __future__ import annotations

from typing import Any

from vector_pages import anchor, sentence, shipped

from harness.rules import GROUPS, REQUIREMENTS
from harness.rules.requirement import Requirement

_INTRODUCTION = """\
# Requirements

What a controller has to do, {count} requirements in {groups} groups. Each has an id that never
changes its meaning, a sentence that is binding, a reason, and a check in the program; these pages
are made from the catalogue that the checks stand in. [The rules](../rules.md) say the same in
one piece.

{levels}
- A requirement that needs a **feature** is judged only for a controller that claims it
  ([features](../protocol.md#features)).
"""
# A level that is used for the first time has to be explained here.
_LEVELS = {"must": "- **must**: a controller that breaks it does not conform."}


def requirement_pages() -> dict[str, str]:
    """The pages as Markdown by their place in `docs`: an index, and a page a group."""
    folder = "reference/requirements"
    pages = {f"{folder}/index.md": _index()}
    for group, about in GROUPS.items():
        entries = [_entry(one) for one in REQUIREMENTS if one.group == group]
        pages[f"{folder}/{group.lower()}.md"] = "\n".join([f"# {group}\n\n{about}\n", *entries])
    return pages


def slug(requirement: Requirement) -> str:
    """Where a requirement stands on the page of its group."""
    return requirement.id.partition(".")[2]


def _index() -> str:
    levels = "\n".join(_LEVELS[level] for level in sorted({one.level for one in REQUIREMENTS}))
    parts = [_INTRODUCTION.format(count=len(REQUIREMENTS), groups=len(GROUPS), levels=levels)]
    for group, about in GROUPS.items():
        parts.append(f"## [{group}]({group.lower()}.md) {{#{group.lower()}}}\n\n{about}\n")
        parts.append("| id | level | title |\n|---|---|---|")
        parts.extend(
            f"| [{one.id}]({group.lower()}.md#{slug(one)}) | {one.level} | {one.title} |"
            for one in REQUIREMENTS
            if one.group == group
        )
        parts.append("")
    return "\n".join(parts)


def _entry(requirement: Requirement) -> str:
    features = ", ".join(f"`{name}`" for name in sorted(requirement.features))
    return "\n\n".join(
        [
            f"## {requirement.id} {{#{slug(requirement)}}}",
            f"**{sentence(requirement.title)}** ({requirement.level})",
            f"> {requirement.statement}",
            f"*Why:* {requirement.reason}",
            f"*Judged:* {f'where the controller claims {features}' if features else 'always'}.",
            _exercised(requirement.id),
        ]
    )


def _exercised(requirement: str) -> str:
    about = [one for one in shipped() if requirement in one["requirements"]]
    if not about:
        return "*Exercised by:* every case that is run.\n"
    happens = [_link(one) for one in about if requirement not in one["negative"]]
    happens_not = [_link(one) for one in about if requirement in one["negative"]]
    return "\n".join(
        [
            "*Exercised by the vectors*\n",
            f"- by what must happen: {', '.join(happens) or 'none'}",
            f"- by what must not happen: {', '.join(happens_not) or 'none'}\n",
        ]
    )


def _link(vector: dict[str, Any]) -> str:
    name = str(vector["id"])
    return f"[{name}](../vectors.md#{anchor(name)}){{ .id }}"
