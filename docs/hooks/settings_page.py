"""The page of settings, from the docstring and the defaults of `ctrl.settings.Settings`."""

from __future__ import annotations

from docstrings import attributes

from ctrl.settings import SETTING_NAMES, Settings

_INTRODUCTION = """\
# Settings

The settings of one pack's controller. Defaults are for 16 LFP cells in series;
`Settings.for_cells(n)` scales the pack voltages to another number of cells, and
`Settings.for_chemistry(name, cells, capacity_ah)` takes those of another
[chemistry](chemistry.md). They are **common
practice, no source**: the limits in the cell maker's data sheet come before any of them
([safety](../explanation/safety.md)).

The line protocol sends every setting by these names, `null` for none. Which settings contradict
each other is said in [the rules](rules.md#contradictions).

| setting | default | meaning |
|---|---|---|
"""


def settings_page() -> str:
    """The page as Markdown."""
    defaults = Settings().to_mapping()
    meanings = attributes(Settings)
    rows = [f"| `{name}` | {_shown(defaults[name])} | {meanings[name]} |" for name in SETTING_NAMES]
    return _INTRODUCTION + "\n".join(rows) + "\n"


def _shown(value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, tuple):
        return " to ".join(f"{part:g}" for part in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
