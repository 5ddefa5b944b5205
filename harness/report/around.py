"""The samples next to a finding as rows of text: what can be read where no picture is shown."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.report.excerpt import Excerpt
from harness.report.words import number
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
    names = [name for name in (*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS) if name in excerpt.columns]
    if finding.requirement.partition(".")[0] == "REQUEST":
        names += [n for n in ("voltage_request_v", "current_request_a") if n in excerpt.columns]
    counted = finding.unit == "SoC" or finding.requirement.partition(".")[0] == "SOC"
    heads = ["sample", *(f"{name}, {UNITS[name]}" if name in UNITS else name for name in names)]
    if counted and "soc" in excerpt.columns:
        heads.append("soc")
        names.append("soc")
    heads += ["controller", "reference"]
    rows = tuple(
        (
            str(int(excerpt.indices[k])),
            *(number(float(excerpt.columns[name][k])) for name in names),
            _word(excerpt.stages, k),
            _word(excerpt.reference_stages, k),
        )
        for k in chosen
    )
    return Rows(
        heads=tuple(heads),
        rows=rows,
        here=chosen.index(at),
        left_out=bool(np.any(np.diff(excerpt.indices[chosen]) > 1)),
    )


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


def _word(stages: Stages | None, k: int) -> str:
    return "no answer" if stages is None else Stage(stages[k]).word
