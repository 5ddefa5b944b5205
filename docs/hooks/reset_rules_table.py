"""The table of reset rules, from `ctrl.resets.RESET_RULES`."""

from __future__ import annotations

from ctrl.resets import RESET_RULES


def reset_rules_table() -> str:
    """The table as Markdown: what each rule is called, and when the count is set to 1 by it."""
    lines = ["| rule | a pack is full when |", "|---|---|"]
    lines += [f"| `{name}` | {rule.title} |" for name, rule in RESET_RULES.items()]
    return "\n".join(lines)
