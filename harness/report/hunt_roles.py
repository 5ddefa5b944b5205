"""How a shortened failure of each role is told: as a table, as a vector, and as a picture.

What only a charger needs is loaded only where a charger was hunted.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from attrs import frozen

from harness.report.hunt_table import Table, table_of
from harness.report.words import changed_settings, number
from harness.role import CHARGER
from harness.run import Case, Finding


@frozen
class HuntTold:
    """One role.

    Attributes:
        table: takes a case, its run (None where there is none) and a finding.
        beside: takes a case, and gives what is told under its table, as label and text.
        vector: takes failure, case and finding, and `number`; gives the vector of the role.
        files: takes a vector, and gives the text of its files, by their names.
        document: takes a case, and gives it as members for a JSON document.
        draw: takes a case, its run, a finding and a file.
    """

    table: Callable[[Any, Any, Finding], Table]
    beside: Callable[[Any], list[tuple[str, str]]]
    vector: Callable[..., Any]
    files: Callable[[Any], dict[str, str]]
    document: Callable[[Any], dict[str, Any]]
    draw: Callable[[Any, Any, Finding, Path], None]


def hunt_told(role: str) -> HuntTold:
    """How this role is told."""
    if role == CHARGER:
        from harness.report.hunt_charger import CHARGER_TOLD

        return CHARGER_TOLD
    from harness.cases.vector_files import files_of
    from harness.hunt.as_vector import as_vector

    return HuntTold(
        table=table_of,
        beside=_beside,
        vector=as_vector,
        files=files_of,
        document=_document,
        draw=_draw,
    )


def _beside(case: Case) -> list[tuple[str, str]]:
    return [
        ("settings", changed_settings(case.settings)),
        ("start", f"count {number(100.0 * case.soc)} %"),
    ]


def _document(case: Case) -> dict[str, Any]:
    """A case with the members of the vector format that it has."""
    from harness.cases.vector import FORMAT
    from harness.hunt.as_vector import expectation

    expected = expectation(case)
    return {
        "format": FORMAT,
        "settings": case.settings.to_mapping(),
        "soc": case.soc,
        "power_cycles": case.power_cycles,
        "equalise_requests": case.equalise_requests,
        "cuts": case.cuts,
        "expected": {"stages": expected.stages, "resets": expected.resets, "soc": expected.soc},
        "columns": case.trace.columns,
        "rows": case.trace.rows(),
    }


def _draw(case: Case, run: Any, finding: Finding, file: Path) -> None:
    from harness.report.hunt_picture import draw

    draw(case, run, finding, file)
