"""The measures of a study and the columns of its rows, from `harness.study.measures`."""

from __future__ import annotations

from harness.study.measures import MEASURES


def measures_table() -> str:
    """The table as Markdown: what each measure is called, says, and is worked out of."""
    lines = ["| measure | unit | what it says | formula |", "|---|---|---|---|"]
    for each in MEASURES:
        lines.append(f"| `{each.name}` | {each.unit} | {each.meaning} | `{each.formula}` |")
    return "\n".join(lines)
