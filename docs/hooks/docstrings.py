"""Takes the attributes out of a docstring in Google style."""

from __future__ import annotations

import inspect
import re

_ENTRY = re.compile(r"^    (\w+): (.*)$")


def attributes(of: type) -> dict[str, str]:
    """What the section `Attributes` of a class says, name by name, each on one line.

    Raises:
        ValueError: the class has no such section.
    """
    text = inspect.getdoc(of) or ""
    _, found, section = text.partition("Attributes:\n")
    if not found:
        raise ValueError(f"the docstring of {of.__name__} has no section Attributes")
    meanings: dict[str, str] = {}
    name = ""
    for line in section.splitlines():
        if entry := _ENTRY.match(line):
            name = entry[1]
            meanings[name] = entry[2]
        elif line.startswith("     ") and name:
            meanings[name] += f" {line.strip()}"
        elif line.strip():
            break
    return meanings
