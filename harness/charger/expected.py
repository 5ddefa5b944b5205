"""What must come of a case of a charger, sample by sample, and where an answer lies outside."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

import numpy as np
import numpy.typing as npt
from attrs import frozen

from ctrl.charger import Conduct
from harness.charger.case import ChargerAnswers, Conducts, Value
from harness.run import Floats

# A charger answers to the millivolt and to the milliampere: so much beside the corridor is in it.
BESIDE_V = 1e-3
BESIDE_A = 1e-3
BOUND_COLUMNS = ("set_point_least_v", "set_point_most_v", "limit_least_a", "limit_most_a")
EXPECTED_COLUMNS = ("state", "also", *BOUND_COLUMNS)

_CODES: dict[Value, int] = {conduct.word: int(conduct) for conduct in Conduct}


@frozen
class Outside:
    """One answer that lies outside.

    Attributes:
        index: the sample.
        column: the column of what is expected that it does not keep.
        observed: what was answered.
        expected: what would be right.
    """

    index: int
    column: str
    observed: str
    expected: str


@frozen(eq=False)
class Corridor:
    """What must come out: states, and bounds of set-point and limit; one entry a sample.

    Attributes:
        state: the state by the rules, `ctrl.charger.Conduct` as int8, shape (samples,).
        also: which states are right too, because a timer may be off by an interval; by their
            numbers, shape (samples, 3).
        set_point_least_v: lowest set-point, V; NaN for no bound.
        set_point_most_v: highest set-point, V.
        limit_least_a: lowest limit, A.
        limit_most_a: highest limit, A.
    """

    state: Conducts
    also: npt.NDArray[np.bool_]
    set_point_least_v: Floats
    set_point_most_v: Floats
    limit_least_a: Floats
    limit_most_a: Floats

    def __len__(self) -> int:
        return len(self.state)

    def rows(self) -> Iterator[list[Value]]:
        """One row a sample, in the order of `EXPECTED_COLUMNS`; None for no bound."""
        bounds = [getattr(self, name).tolist() for name in BOUND_COLUMNS]
        for code, also, *numbers in zip(self.state.tolist(), self.also, *bounds, strict=True):
            others = " ".join(Conduct(k).word for k in np.flatnonzero(also).tolist())
            yield [Conduct(code).word, others, *(None if isnan(n) else n for n in numbers)]

    @classmethod
    def from_rows(cls, rows: list[list[Value]]) -> Corridor:
        """The same again from such rows; raises `KeyError` for a state that is none."""
        codes = [_CODES[row[0]] for row in rows]
        also = np.zeros((len(rows), len(Conduct)), dtype=np.bool_)
        for k, row in enumerate(rows):
            if row[1]:
                for word in str(row[1]).split():
                    also[k, _CODES[word]] = True
        bounds = np.array([row[2:] for row in rows], dtype=np.float64).T
        return cls(np.array(codes, dtype=np.int8), also, *bounds)

    def outside(self, answers: ChargerAnswers) -> Outside | None:
        """The first answer that lies outside, or None.

        Args:
            answers: one for each sample.
        """
        beside = {"v": BESIDE_V, "a": BESIDE_A}
        right = (answers.state == self.state) | self.also[np.arange(len(self)), answers.state]
        wrong = {"state": ~right}
        for name in BOUND_COLUMNS:
            numbers, bounds = self._answered(answers, name), getattr(self, name)
            over = numbers - bounds if "most" in name else bounds - numbers
            # A number that is none keeps no bound.
            wrong[name] = ~np.isnan(bounds) & ~(over <= beside[name[-1]])
        first = {name: int(np.argmax(rows)) for name, rows in wrong.items() if rows.any()}
        if not first:
            return None
        name = min(first, key=lambda each: first[each])
        index = first[name]
        if name == "state":
            words = [Conduct(k).word for k in np.flatnonzero(self.also[index]).tolist()]
            right_words = " or ".join([Conduct(int(self.state[index])).word, *words])
            return Outside(index, name, Conduct(int(answers.state[index])).word, right_words)
        side = "most" if "most" in name else "least"
        unit = name[-1].upper()
        observed = f"{self._answered(answers, name)[index]:.6g} {unit}"
        return Outside(index, name, observed, f"at {side} {getattr(self, name)[index]:.6g} {unit}")

    @staticmethod
    def _answered(answers: ChargerAnswers, bound: str) -> Floats:
        return answers.set_point_v if bound.startswith("set_point") else answers.limit_a
