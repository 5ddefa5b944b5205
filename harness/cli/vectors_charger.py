"""What must come of a vector for a charger, in words and as a table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any

from harness.charger.expected import EXPECTED_COLUMNS, Corridor
from harness.charger.vector import ChargerVector
from harness.cli.vectors_side import Table, Told
from harness.report.words import count, number


def expected(vector: ChargerVector) -> Told:
    """The states, and where the corridor ends."""
    if vector.expected is None:
        return ()
    stamps = vector.trace.t.tolist()
    states = ", ".join(f"{word} at {number(stamps[k])} s" for k, word in _states(vector.expected))
    either = int(vector.expected.also.any(axis=1).sum())
    *_, last = vector.expected.rows()
    least_v, most_v, least_a, most_a = last[2:]
    return (
        ("states", states),
        ("either", f"at {count(either, 'sample')} another state is right too" if either else ""),
        (
            "at the end",
            f"the set-point is {_between(least_v, most_v, 'V')}, "
            f"the limit {_between(least_a, most_a, 'A')}",
        ),
    )


def _states(corridor: Corridor) -> Iterator[tuple[int, str]]:
    before = ""
    for k, row in enumerate(corridor.rows()):
        if row[0] != before:
            before = str(row[0])
            yield k, before


def _between(least: Any, most: Any, unit: str) -> str:
    if least is None:
        return f"at most {number(most)} {unit}"
    if least == most:
        return f"{number(least)} {unit}"
    return f"{number(least)} to {number(most)} {unit}"


def tables(vector: ChargerVector, most: int) -> Sequence[Table]:
    """The first samples, and what must come of them."""
    samples = vector.trace.part(0, most).rows()
    told = [Table(vector.trace.columns, samples, len(vector.trace))]
    if vector.expected is not None:
        expected_rows = islice(vector.expected.rows(), most)
        rows = [[sample[0], *row] for sample, row in zip(samples, expected_rows, strict=True)]
        told.append(Table(("t", *EXPECTED_COLUMNS), rows, len(vector.trace)))
    return told
