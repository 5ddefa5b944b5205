"""The line of a field, by its path."""

from __future__ import annotations

import pytest

from harness.toml_place import line_of

TEXT = '''# title = "no"
title = "hut" # = 3
shows = """
run = 1
[bank]
"""
run.hours = 8

[bank]
cells = 16
"policy" = "every"

[[pack]]
name = "north"
  [pack.cell]
  capacity_ah = 100
[[pack]]
name = "south"
soc = 0.5
cell = { capacity_ah = 90 }
[[pack.cell.pairs]]
ohm = 1
[[pack.cell.pairs]]
tau_s = 60
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ("title", 2),
        ("run.hours", 7),
        ("bank", 9),
        ("bank.cells", 10),
        ("bank.policy", 11),
        ("pack[0].name", 14),
        ("pack[0].cell", 15),
        ("pack[0].cell.capacity_ah", 16),
        ("pack[1].name", 18),
        ("pack[1].soc", 19),
        ("pack[1].cell.capacity_ah", 20),
        ("pack[1].cell.pairs[0].ohm", 22),
        ("pack[1].cell.pairs[1].tau_s", 24),
    ],
)
def test_a_field_has_its_line(path: str, line: int) -> None:
    assert line_of(TEXT, path) == line


@pytest.mark.parametrize(
    ("path", "line"),
    [("bank.lead", 9), ("pack[1].meter.interval_s", 17), ("pack[0].soc", 13), ("title[2]", 2)],
)
def test_what_is_missing_has_the_line_of_the_table_around_it(path: str, line: int) -> None:
    assert line_of(TEXT, path) == line


def test_what_stands_nowhere_has_no_line() -> None:
    assert line_of(TEXT, "banks") is None
    assert line_of(TEXT, "loads.base_w") is None
    assert line_of("", "title") is None
