"""Keeps the samples around findings while cases run, and never more than a page can hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from harness.report.excerpt import Excerpt, excerpts_of
from harness.run import Finding

# So many findings of each requirement are sure of an excerpt, up to the most in all.
SURE_EACH = 25
# Beyond that, findings get one while there are fewer than this.
MOST_FREE = 250
MOST = 400
# And so many numbers in all of them: some five million characters.
MOST_NUMBERS = 600_000


class Keeping:
    """Takes each case with findings, and keeps what shows them.

    Attributes:
        excerpts: what is kept so far, in the order of the cases.
    """

    def __init__(
        self,
        *,
        compared: bool = True,
        excerpts: Callable[..., Iterator[Excerpt]] = excerpts_of,
    ) -> None:
        """Keep nothing yet.

        Args:
            compared: whether the reference is asked, too.
            excerpts: makes the excerpts of one case; as `excerpts_of`, for another role.
        """
        self.excerpts: list[Excerpt] = []
        self._compared = compared
        self._excerpts_of = excerpts
        self._of: Counter[str] = Counter()
        self._numbers = 0

    def __call__(self, case: Any, run: Any, findings: Sequence[Finding]) -> None:
        """Keep what shows these findings of one case; `run` is None where there was no answer."""
        # Asked one by one, while what is kept grows.
        wanted = (finding for finding in findings if self._wants(finding))
        for found in self._excerpts_of(case, run, wanted, compared=self._compared):
            self._numbers += found.numbers
            if len(self.excerpts) < MOST and self._numbers <= MOST_NUMBERS:
                self.excerpts.append(found)

    def _wants(self, finding: Finding) -> bool:
        if len(self.excerpts) >= MOST or self._numbers > MOST_NUMBERS:
            return False
        self._of[finding.requirement] += 1
        return self._of[finding.requirement] <= SURE_EACH or len(self.excerpts) < MOST_FREE
