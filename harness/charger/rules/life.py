"""The evidence: one life of a charger, from power-up to power-down.

A check never runs a charger of its own beside the one under test. It follows the state, set-point
and limit that the charger reports, and asks at each sample whether what it has heard justifies them.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property, lru_cache
from itertools import pairwise

from attrs import frozen

from ctrl.charger import ChargerSettings, Conduct
from harness.charger.case import ChargerRun, ChargerTrace
from harness.charger.rules.heard import Known, known
from harness.rules.requirement import Marks

# A charger answers to the millivolt and to the milliampere, or more coarsely.
SLACK_V = 1e-3
SLACK_A = 1e-3
# Lives of cases for which what is known is kept, for the next charger that is tried.
KEPT = 128


@frozen
class Turn:
    """One valid sample, what was known at it, and what the charger made of it.

    Attributes:
        now: what is known at the sample.
        before: what was known at the valid sample before; None at the first.
        own_v: what the charger reads at its own terminals, V.
        own_a: the current that it reads, A.
        was: the state before; `stopped` at power-up.
        was_v: the set-point before, V; `fallback_v` at power-up.
        was_a: the limit before, A; 0 at power-up.
        state: the state that it answers.
        set_v: the set-point that it answers, V.
        limit_a: the limit that it answers, A.
    """

    now: Known
    before: Known | None
    own_v: float
    own_a: float
    was: Conduct
    was_v: float
    was_a: float
    state: Conduct
    set_v: float
    limit_a: float

    @property
    def follows_on(self) -> bool:
        """Whether it follows before and after the sample."""
        return self.was is self.state is Conduct.FOLLOWING

    @property
    def row(self) -> int:
        """The row of the life."""
        return self.now.row


class Told:
    """Marks of one analysis: of each requirement the first break in a life is told, no more."""

    def __init__(self, life: ChargerLife, marks: Marks) -> None:
        self._life = life
        self._marks = marks
        self._names: set[str] = set()

    def seen(self, requirement: str) -> None:
        """The requirement was put to the test."""
        self._marks.seen(requirement)

    def broken(
        self,
        requirement: str,
        row: int,
        observed: str,
        expected: str,
        margin: float,
        unit: str,
        sentence: str,
    ) -> None:
        """The requirement was broken at a row of the life."""
        if requirement in self._names:
            return
        self._names.add(requirement)
        self._marks.broken(
            requirement,
            self._life,
            row,
            observed=observed,
            expected=expected,
            margin=margin,
            unit=unit,
            sentence=sentence,
        )


class ChargerLife:
    """One life: rows of the run between two power cycles.

    Attributes:
        settings: the settings in force.
        known: what is known at each valid sample.
        first_row: the row of the whole run with which this life begins.
        before_power_cycle: the life that ended in the loss of power with which this one begins.
        tolerance_s: declared tolerance of the charger's clock, s.
    """

    def __init__(
        self,
        run: ChargerRun,
        start: int,
        stop: int,
        *,
        before: ChargerLife | None,
        tolerance_s: float,
    ) -> None:
        answers = run.answers
        self.settings: ChargerSettings = run.case.settings
        self.trace: ChargerTrace = run.case.trace.part(start, stop)
        self.known = _known(run.case.trace, start, stop, self.settings, tolerance_s)
        self.first_row = start
        self.before_power_cycle = before
        self.tolerance_s = tolerance_s
        self.state = [Conduct(code) for code in answers.state[start:stop].tolist()]
        self.set_v: list[float] = answers.set_point_v[start:stop].tolist()
        self.limit_a: list[float] = answers.limit_a[start:stop].tolist()

    @property
    def after_power_cycle(self) -> bool:
        """Whether it begins with a loss of power."""
        return self.before_power_cycle is not None

    def row_t(self, row: int) -> float:
        """The time stamp of a row, s."""
        return float(self.trace.t[row])

    def before(self, row: int) -> tuple[Conduct, float, float]:
        """State, set-point (V) and limit (A) before a row: at power-up those of one that starts."""
        if row == 0:
            return Conduct.STOPPED, self.settings.fallback_v, 0.0
        return self.state[row - 1], self.set_v[row - 1], self.limit_a[row - 1]

    @cached_property
    def turns(self) -> tuple[Turn, ...]:
        """The valid samples, with what the charger made of each."""
        own_v, own_a = self.trace.own_v.tolist(), self.trace.own_a.tolist()
        turns = []
        before = None
        for now in self.known:
            row = now.row
            turns.append(
                Turn(
                    now,
                    before,
                    own_v[row],
                    own_a[row],
                    *self.before(row),
                    self.state[row],
                    self.set_v[row],
                    self.limit_a[row],
                )
            )
            before = now
        return tuple(turns)


@lru_cache(maxsize=KEPT)
def _known(
    trace: ChargerTrace, start: int, stop: int, settings: ChargerSettings, tolerance_s: float
) -> tuple[Known, ...]:
    """What is known at each valid sample of one life; the same for every charger that is tried."""
    return tuple(known(settings, trace.part(start, stop), tolerance_s))


def charger_lives(run: ChargerRun, tolerance_s: float = 0.0) -> Iterator[ChargerLife]:
    """The lives of a run, in order: it is cut where the charger lost power."""
    cycles = sorted({k for k in run.case.power_cycles if 0 < k < len(run.case.trace)})
    life = None
    for start, stop in pairwise([0, *cycles, len(run.case.trace)]):
        if start < stop:
            life = ChargerLife(run, start, stop, before=life, tolerance_s=tolerance_s)
            yield life
