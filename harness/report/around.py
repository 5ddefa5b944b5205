"""The samples next to a finding as rows of text: what can be read where no picture is shown."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from harness.report.excerpt import Excerpt
from harness.report.roles import Told, told_of
from harness.report.words import number
from harness.role import CHARGER
from harness.run import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Finding, Stages

MOST_ROWS = 15
UNITS = {
    "t": "s",
    "v": "V",
    "i": "A",
    "cell_max_v": "V",
    "temp_c": "°C",
    "temp_max_c": "°C",
}
UNITS_OF_ENDINGS = {"_v": "V", "_a": "A", "_s": "s"}
# Their names stand without a unit, as they always have.
ANSWERED = ("voltage_request_v", "current_request_a")


@frozen
class Rows:
    """Samples as text.

    Attributes:
        heads: what stands in each column.
        rows: the cells, row by row.
        here: number of the row of the finding.
        left_out: samples between rows are left out.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    here: int
    left_out: bool


def rows_around(excerpt: Excerpt, finding: Finding, most: int = MOST_ROWS) -> Rows:
    """The samples that tell most: those next to the finding, and changes of stage before it.

    Args:
        excerpt: kept samples; the finding's is one of them.
        finding: the finding.
        most: how many rows there may be.
    """
    at = excerpt.position(finding)
    chosen = _chosen(excerpt, at, most)
    names = _of_charger(excerpt) if excerpt.role == CHARGER else _of_controller(excerpt, finding)
    told = told_of(excerpt.role)
    rows = tuple(
        (
            str(int(excerpt.indices[k])),
            *(number(float(excerpt.columns[name][k])) for name in names),
            _word(told, excerpt.stages, k),
            _word(told, excerpt.reference_stages, k),
        )
        for k in chosen
    )
    return Rows(
        heads=("sample", *map(_head, names), excerpt.role, "reference"),
        rows=rows,
        here=chosen.index(at),
        left_out=bool(np.any(np.diff(excerpt.indices[chosen]) > 1)),
    )


def _head(name: str) -> str:
    """The name of a column with its unit: `own_v, V`."""
    plain = name.rstrip("0123456789").rstrip("_")
    unit = UNITS.get(plain) or UNITS_OF_ENDINGS.get(plain[-2:], "")
    return f"{name}, {unit}" if unit and name not in ANSWERED else name


def _of_charger(excerpt: Excerpt) -> list[str]:
    """What a charger reads, hears and answers, and nothing that is only worked out."""
    answered = [name for name in ("set_point_v", "limit_a") if name in excerpt.columns]
    said = [name for name in excerpt.columns if name[-1].isdigit()]
    return ["t", "own_v", "own_a", *said, *answered]


def _of_controller(excerpt: Excerpt, finding: Finding) -> list[str]:
    names = [name for name in (*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS) if name in excerpt.columns]
    if finding.requirement.partition(".")[0] == "REQUEST":
        names += [n for n in ("voltage_request_v", "current_request_a") if n in excerpt.columns]
    counted = finding.unit == "SoC" or finding.requirement.partition(".")[0] == "SOC"
    if counted and "soc" in excerpt.columns:
        names.append("soc")
    return names


def _chosen(excerpt: Excerpt, at: int, most: int) -> list[int]:
    last = len(excerpt.indices) - 1
    by_rank: list[int] = [at, at - 1, at + 1, at - 2, at + 2]
    for stages in (excerpt.stages, excerpt.reference_stages):
        if stages is not None:
            changes = (np.flatnonzero(stages[1:] != stages[:-1]) + 1).tolist()
            for k in sorted(changes, key=lambda k: abs(k - at))[:4]:
                by_rank += [k, k - 1]
    by_rank += [0, *(k for away in range(3, most) for k in (at - away, at + away))]
    inside = dict.fromkeys(k for k in by_rank if 0 <= k <= last)
    return sorted(list(inside)[:most])


def _word(told: Told, stages: Stages | None, k: int) -> str:
    return "no answer" if stages is None else told.words[stages[k]]
