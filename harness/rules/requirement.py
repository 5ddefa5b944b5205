"""What a requirement is, and where the analyses put what they find."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from math import isfinite
from typing import Any, Protocol

from attrs import field, frozen

from harness.run import Finding


class Placed(Protocol):
    """Rows of a run, one life long, that know where in the run they stand.

    Attributes:
        first_row: the row of the whole run with which they begin.
    """

    first_row: int

    def row_t(self, row: int) -> float:
        """The time stamp of a row, s."""


def plain(value: float) -> str:
    """A number as a person writes it: no exponent, no idle zeros, three decimals at most."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


class Marks:
    """What the analyses saw: how often each requirement was put to the test, and what broke it."""

    def __init__(self, case: str) -> None:
        self.case = case
        self.exercised: Counter[str] = Counter()
        self.findings: list[Finding] = []

    def seen(self, requirement: str, times: int = 1) -> None:
        """The requirement was put to the test, whatever came of it."""
        if times > 0:
            self.exercised[requirement] += times

    def broken(
        self,
        requirement: str,
        life: Placed,
        row: int,
        *,
        observed: str,
        expected: str,
        margin: float = 0.0,
        unit: str = "",
        sentence: str,
    ) -> None:
        """The requirement was broken at a row of the run; an infinite margin is none."""
        self.seen(requirement)
        measured = isfinite(margin)
        self.findings.append(
            Finding(
                requirement=requirement,
                case=self.case,
                t=float(life.row_t(row)),
                index=life.first_row + row,
                observed=observed,
                expected=expected,
                margin=float(margin) if measured else 0.0,
                unit=unit if measured else "",
                sentence=f"{sentence[:1].upper()}{sentence[1:]}.",
            )
        )


# Its first argument is the evidence of one life: `Life`, or that of a charger.
Check = Callable[[Any, Marks], None]


def _frozen(names: Iterable[str]) -> frozenset[str]:
    return frozenset(names)


@frozen
class Requirement:
    """One thing that a controller must or should do.

    Attributes:
        id: stable name, group and slug: `HOLD.full-length`.
        title: a few words.
        statement: the normative sentence.
        reason: why it matters to whoever owns the battery.
        check: the analysis that judges it; one analysis may judge several requirements.
        features: what a controller must claim for this to be judged; all of them.
        level: `must` or `should`.
    """

    id: str
    title: str
    statement: str
    reason: str
    check: Check
    features: frozenset[str] = field(default=frozenset(), converter=_frozen)
    level: str = "must"

    @property
    def group(self) -> str:
        """The group in capitals."""
        return self.id.partition(".")[0]
