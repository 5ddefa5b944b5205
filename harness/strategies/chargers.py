"""The traces of a hunt of chargers as a strategy of Hypothesis, which shrinks what fails.

Choices are drawn as bytes. Where they end everything is the plainest there is, so what is shorter is
plainer.
"""

from __future__ import annotations

from attrs import frozen
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from ctrl.charger import ChargerSettings
from harness.charger.case import ChargerAnswers, ChargerCase
from harness.charger.hunting.picks import Picks
from harness.charger.hunting.sweep import drawn_trace

MOST_CHOICES = 160


@frozen(eq=False)
class ChargerDrawn:
    """One drawn case of a charger.

    Attributes:
        case: settings and trace; the id is `drawn`.
        said: what the reference answers to it.
    """

    case: ChargerCase
    said: ChargerAnswers

    def __repr__(self) -> str:
        """What a failing property test prints: all that is needed to see it again."""
        case = self.case
        return (
            f"ChargerDrawn(settings={case.settings!r}, power_cycles={case.power_cycles!r}, "
            f"columns={case.trace.columns!r}, rows={case.trace.rows()!r})"
        )


def charger_cases(
    of: ChargerSettings | None = None, *, most_choices: int = MOST_CHOICES
) -> SearchStrategy[ChargerDrawn]:
    """Cases of a charger whose traces come near every rule, with the reference's answers.

    Args:
        of: the settings; None draws them.
        most_choices: how many choices are drawn; after them everything is plain.
    """

    def drawn(choices: bytes) -> ChargerDrawn:
        return ChargerDrawn(*drawn_trace("drawn", Picks(numbers=list(choices)), of))

    return st.binary(max_size=most_choices).map(drawn)
