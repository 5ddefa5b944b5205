"""The files of one vector: JSON with all of it, and CSV for a program that would rather not read JSON."""

from __future__ import annotations

from harness.cases.margins import stages_of
from harness.cases.trace_file import csv_rows
from harness.cases.vector import Vector, to_json
from harness.run import Case


def files_of(vector: Vector) -> dict[str, str]:
    """The text of the files of a vector, by name in the folder of its group."""
    name = vector.id.partition("/")[2]
    return {
        f"{name}.json": to_json(vector),
        f"{name}.csv": ",".join(vector.trace.columns) + "\n" + csv_rows(vector.trace),
        f"{name}.expected.csv": expected_rows(vector.case),
    }


def expected_rows(case: Case) -> str:
    """The expected stage and full reset of each sample, as CSV; line by line beside the trace."""
    assert case.expected is not None
    resets = set(case.expected.resets)
    lines = ["t,stage,full_reset"]
    before = ""
    for row, stage in zip(csv_rows(case.trace).splitlines(), stages_of(case), strict=True):
        stamp = row.partition(",")[0]
        reset = bool(stamp) and stage == "float" != before and float(stamp) in resets
        lines.append(f"{stamp},{stage},{int(reset)}")
        before = stage
    return "\n".join(lines) + "\n"
