"""The pages of shipped vectors, from their files: one for controllers, one for chargers."""

from __future__ import annotations

import json
from functools import cache
from itertools import groupby
from typing import Any

from docstrings import attributes

from harness.cases.folder import vectors_folder
from harness.cases.recipe import TAGS
from harness.cases.vector import Vector

CONTROLLER, CHARGER = "controller", "charger"
CHARGER_PLACE = "reference/charger-vectors.md"
_INTRODUCTIONS = {
    CONTROLLER: """\
# Shipped vectors

{count} traces with settings and the behaviour that must follow. What their members mean is said in
the [vector format](vector-format.md). `fullproof vectors show ID` prints one of them.
""",
    CHARGER: """\
# Shipped vectors for a charger

{count} traces of what packs say, with settings and the corridor in which every right charger stays. What
their members mean is said in the [vector format](vector-format.md#charger). `fullproof vectors show
--role charger ID` prints one of them.
""",
}


@cache
def shipped(role: str = CONTROLLER) -> tuple[dict[str, Any], ...]:
    """The shipped vectors of a role in the order of their ids, without their samples."""
    found = []
    for path in vectors_folder().rglob("*.json"):
        content = json.loads(path.read_text(encoding="utf-8"))
        if "rows" in content and content.get("role", CONTROLLER) == role:
            content["samples"] = len(content.pop("rows"))
            found.append(content)
    return tuple(sorted(found, key=lambda vector: str(vector["id"])))


def anchor(vector: str) -> str:
    """Where a vector stands on the page of vectors."""
    return vector.replace("/", "-")


def requirement_link(requirement: str, *, folder: str = "requirements/") -> str:
    """A link to a requirement, from a page of the reference."""
    group, _, slug = requirement.partition(".")
    return f"[{requirement}]({folder}{group.lower()}.md#{slug}){{ .id }}"


def charger_requirement_link(requirement: str) -> str:
    """A link to a requirement of a charger; those of the link itself are those of a controller."""
    if requirement.startswith("LINK."):
        return requirement_link(requirement)
    place = requirement.lower().replace(".", "-")
    return f"[{requirement}](charger-requirements.md#{place}){{ .id }}"


def sentence(text: str) -> str:
    """Words as a sentence: a capital in front, a full stop behind."""
    whole = text[:1].upper() + text[1:]
    return whole if whole.endswith((".", "!", "?")) else f"{whole}."


def vectors_page(role: str = CONTROLLER) -> str:
    """The page of a role as Markdown: one heading a group, one a vector."""
    found = shipped(role)
    parts = [_INTRODUCTIONS[role].format(count=len(found))]
    for group, vectors in groupby(found, lambda vector: str(vector["id"]).partition("/")[0]):
        parts.append(f"## {group}\n")
        parts.extend(_entry(vector) for vector in vectors)
    return "\n".join(parts)


def members_table() -> str:
    """The members of a vector as a table, from the docstring of `Vector`."""
    meanings = {name: text for name, text in attributes(Vector).items() if name != "trace"}
    meanings |= {
        "columns": "names of the columns of the trace, `t`, `v` and `i` first.",
        "rows": "the samples, one list each; `null` for a reading that is missing.",
    }
    rows = [f"| `{name}` | {text} |" for name, text in meanings.items()]
    return "\n".join(["| member | meaning |", "|---|---|", *rows])


def tags_table() -> str:
    """The tags of a vector as a table."""
    rows = [f"| `{tag}` | {meaning} |" for tag, meaning in TAGS.items()]
    return "\n".join(["| tag | a vector that has it |", "|---|---|", *rows])


def _entry(vector: dict[str, Any]) -> str:
    linked = requirement_link if vector.get("role") != CHARGER else charger_requirement_link
    positive = [name for name in vector["requirements"] if name not in vector["negative"]]
    lines = [
        f"### {vector['id']} {{#{anchor(vector['id'])}}}\n",
        f"**{sentence(vector['title'])}** {vector['description']}\n",
        f"*Why:* {sentence(vector['why'])}\n",
        _listed("Exercises", [linked(name) for name in positive]),
        _listed(
            "Exercises by what must not happen",
            [linked(name) for name in vector["negative"]],
        ),
        _listed("Needs", [f"`{name}`" for name in vector["features"]]),
        _listed("Meant to catch", vector["catches"], separator="; "),
        _listed("Tags", [f"`{name}`" for name in vector["tags"]]),
        f"- Source of the expectation: {vector['source']}; {vector['samples']} samples\n",
    ]
    return "\n".join(line for line in lines if line)


def _listed(label: str, items: list[str], *, separator: str = ", ") -> str:
    return f"- {label}: {separator.join(items)}" if items else ""
