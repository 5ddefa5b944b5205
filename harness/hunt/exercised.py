"""How often the hunt put each requirement to the test, and which traces it judges to know that.

A trace that is answered as the reference answers it needs no judging for what is wrong with it.
What it put to the test is known only when it is judged all the same: the first ones are, until
every requirement that the controller claims has been put to the test often enough, and a share of
the others after that.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping

from harness.rules import REQUIREMENTS
from harness.rules.link import CUTS, FRESH
from harness.rules.requirement import Requirement
from harness.verify import TRANSPORT

ENOUGH = 5
MOST_IN_FULL = 400
# Of the traces after that, one in so many: more of them while something was never put to the test.
SHARE, SHARE_WHILE_LACKING = 25, 5
# These show in how a case is run, not in a run.
NOT_JUDGED = frozenset({*TRANSPORT, CUTS, FRESH, "LINK.stops"})


class Exercised:
    """Counts what was put to the test.

    Attributes:
        times: how often, by requirement.
        cases: in how many traces, by requirement.
    """

    def __init__(
        self,
        features: Collection[str],
        selected: Collection[str] | None,
        catalogue: Collection[Requirement] = REQUIREMENTS,
    ) -> None:
        """Nothing yet; `features` are those that the controller claims, of `catalogue`."""
        self.times: Counter[str] = Counter()
        self.cases: Counter[str] = Counter()
        self._wanted = {
            r.id
            for r in catalogue
            if r.features <= set(features)
            and r.id not in NOT_JUDGED
            and (selected is None or r.id in selected)
        }

    def due(self, done: int) -> bool:
        """Whether to judge the next trace whatever it is answered; `done` came before it."""
        if done < MOST_IN_FULL and any(self.times[name] < ENOUGH for name in self._wanted):
            return True
        lacking = any(not self.times[name] for name in self._wanted)
        return done % (SHARE_WHILE_LACKING if lacking else SHARE) == 0

    def add(self, times: Mapping[str, int]) -> None:
        """A trace was judged."""
        for name, often in times.items():
            self.times[name] += often
            self.cases[name] += 1

    def answered(self, *, cut: bool, after_another: bool) -> None:
        """A trace was answered, row by row, and without a fault of the link."""
        names = [*TRANSPORT]
        if cut:
            names.append(CUTS)
        if after_another:
            names.append(FRESH)
        self.add(dict.fromkeys(names, 1))
