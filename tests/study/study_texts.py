"""A small study as text, and the same with a line changed."""

from __future__ import annotations

from pathlib import Path

from harness.study.study import Study
from harness.study.study_file import read

TEXT = """\
title = "A small study"
rules = ["voltage_after_hold", "first_touch"]
policies = ["every", "any"]
banks = 3
days = 2
scenario = "meters-drift-over-a-year"

[grid]
hold_s = [1800, 3600]

[[population]]
part = "pack.meter.voltage_offset_v"
law = "normal"
deviation = 0.02
how = "add"

[[population]]
name = "age"
law = "uniform"
low = 0
high = 10
effects = [
  { part = "pack.cell.capacity_ah", how = "times", per_unit = -0.02 },
  { part = "pack.cell.series_ohm", how = "times", per_unit = 0.05 },
]

[[population]]
part = "sun.day_of_year"
law = "whole"
low = 1
high = 365
"""

OWN_RULE = """\
from ctrl.resets import ResetRule

def higher(limits, level_v, i):
    return level_v >= limits.full_v + 0.1

RULE = ResetRule("higher", "100 mV more", during_hold=False, sustained=True, condition=higher)
OTHER = 5
"""


def small_study(folder: Path, *changes: tuple[str, str], **numbers: int) -> Study:
    """The small study with these replacements in its text."""
    text = TEXT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "small.toml"
    path.write_text(text, encoding="utf-8")
    return read(path, **numbers)
