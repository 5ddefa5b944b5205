"""A failing trace of a charger as a small table: what it heard and read, and what it made of that.

A column that says the same at every sample is told in a line of its own, so that what changes stays
in sight.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from ctrl.charger import Conduct
from harness.charger.case import ChargerAnswers, ChargerCase, ChargerRun
from harness.report.charger_heard import reference_answers
from harness.report.hunt_table import AROUND, HERE, LEFT_OUT, MOST_ROWS, Table
from harness.report.words import number
from harness.run import Finding, Floats

_OWN = (("own_v", "own V"), ("own_a", "own A"))
_PACK = (
    ("request_v", "asks V"),
    ("request_a", "asks A"),
    ("pack_v", "reads V"),
    ("pack_a", "reads A"),
    ("age_s", "age s"),
)
_ANSWERED = (("set_point_v", "V", 4), ("limit_a", "A", 3))


def charger_table(case: ChargerCase, run: ChargerRun | None, finding: Finding) -> Table:
    """The table of a failing case.

    Args:
        case: the case.
        run: what the charger answered; None where it failed to.
        finding: what is wrong; its index counts in this case.
    """
    said = reference_answers(case)
    answers = None if run is None else run.answers
    columns = [("t in s", True, _numbers(case.trace.t))]
    columns += [
        (head, True, _numbers(values)) for _, head, values in _inputs(case) if not _constant(values)
    ]
    for who, given in (("charger", answers), ("reference", said)):
        columns.append((who, False, _states(given, len(case.trace))))
        for name, unit, digits in _ANSWERED:
            values = None if given is None else getattr(given, name)
            columns.append((unit, True, _rounded(values, digits, len(case.trace))))
    columns.append(("", False, _happened(case, finding.index)))
    rows: list[tuple[str, ...]] = []
    here, before = -1, -1
    for k in _shown(case, answers, said, finding.index):
        if k != before + 1:
            rows.append((LEFT_OUT, *[""] * (len(columns) - 2), f"{k - before - 1} rows like these"))
        if k == finding.index:
            here = len(rows)
        rows.append(tuple(cells[k] for _, _, cells in columns))
        before = k
    return Table(
        heads=tuple(head for head, _, _ in columns),
        right=tuple(on_right for _, on_right, _ in columns),
        rows=tuple(rows),
        here=here,
    )


def charger_throughout(case: ChargerCase) -> list[str]:
    """What is the same at every sample: one line for the charger, and one for each pack."""
    told: dict[str, dict[str, list[str]]] = {}
    for who, head, values in _inputs(case):
        if _constant(values):
            thing, unit = head.split()[-2:]
            words = f"no {unit}" if np.isnan(values[0]) else f"{number(float(values[0]))} {unit}"
            told.setdefault(who, {}).setdefault(thing, []).append(words)
    lines = []
    for who, things in told.items():
        parts = [f"{thing} {' and '.join(words)}" for thing, words in things.items()]
        lines.append(f"{who}: {', '.join(parts)}")
    return lines


def _inputs(case: ChargerCase) -> Iterator[tuple[str, str, Floats]]:
    """Whose reading each is, how its column is called, and the values."""
    for name, head in _OWN:
        yield "charger", head, case.trace.column(name)
    packs = case.trace.packs
    for p in range(1, packs + 1):
        for name, head in _PACK:
            which = f"{p} " if packs > 1 else ""
            yield f"pack {p}", f"{which}{head}", case.trace.column(f"{name}_{p}")


def _constant(values: Floats) -> bool:
    same = (values == values[0]) | (np.isnan(values) & np.isnan(values[0]))
    return bool(np.all(same))


def _numbers(values: Floats) -> list[str]:
    return [number(value) for value in values.tolist()]


def _rounded(values: Floats | None, digits: int, count: int) -> list[str]:
    if values is None:
        return ["-"] * count
    return [number(round(value, digits)) for value in values.tolist()]


def _states(answers: ChargerAnswers | None, count: int) -> list[str]:
    if answers is None:
        return ["-"] * count
    return [Conduct(code).word for code in answers.state.tolist()]


def _happened(case: ChargerCase, here: int) -> list[str]:
    """What the charger cannot read: a loss of power, a cut, and where the finding is."""
    told: list[list[str]] = [[] for _ in range(len(case.trace))]
    for k in case.power_cycles:
        told[k].append("power was lost before")
    for k in case.cuts:
        told[k].append("a new message")
    cells = [", ".join(words) for words in told]
    if 0 <= here < len(cells):
        cells[here] = f"{cells[here]}  {HERE}".strip()
    return cells


def _shown(
    case: ChargerCase, answers: ChargerAnswers | None, said: ChargerAnswers, here: int
) -> list[int]:
    """The rows that are shown: all of a short trace; of a long one those where anything happens."""
    count = len(case.trace)
    if count <= MOST_ROWS:
        return list(range(count))
    marks = {0, count - 1, *case.power_cycles, max(here, 0)}
    tables: list[Any] = [case.trace.request_v, case.trace.request_a]
    tables += [given.state[:, np.newaxis] for given in (answers, said) if given is not None]
    for table in tables:
        before, after = table[:-1], table[1:]
        turns = (before != after) & ~(np.isnan(before) & np.isnan(after))
        marks |= set((np.flatnonzero(np.any(turns, axis=1)) + 1).tolist())
    near = {k + step for k in marks for step in range(-AROUND, AROUND + 1)}
    return sorted(k for k in near if 0 <= k < count)
