"""How a shortened failure of a charger is told."""

from __future__ import annotations

from typing import Any

from harness.charger.case import ChargerCase
from harness.charger.corridor import corridor
from harness.charger.expected import EXPECTED_COLUMNS
from harness.charger.vector import FORMAT, ChargerVector
from harness.hunt.charger.as_vector import charger_as_vector
from harness.report.hunt_picture_charger import draw_charger
from harness.report.hunt_roles import HuntTold
from harness.report.hunt_table_charger import charger_table, charger_throughout
from harness.report.words import changed_settings
from harness.role import CHARGER


def _beside(case: ChargerCase) -> list[tuple[str, str]]:
    throughout = [("throughout", text) for text in charger_throughout(case)]
    return [*throughout, ("settings", changed_settings(case.settings))]


def _files(vector: ChargerVector) -> dict[str, str]:
    # The recipes come with it, and most hunts save nothing.
    from harness.charger.render import files_of

    return files_of(vector)


def _document(case: ChargerCase) -> dict[str, Any]:
    """A case with the members of the vector format that it has."""
    return {
        "format": FORMAT,
        "role": CHARGER,
        "settings": case.settings.to_mapping(),
        "power_cycles": case.power_cycles,
        "cuts": case.cuts,
        "expected": {"columns": EXPECTED_COLUMNS, "rows": list(corridor(case).rows())},
        "columns": case.trace.columns,
        "rows": case.trace.rows(),
    }


CHARGER_TOLD = HuntTold(
    table=charger_table,
    beside=_beside,
    vector=charger_as_vector,
    files=_files,
    document=_document,
    draw=draw_charger,
)
