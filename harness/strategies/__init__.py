"""Settings and traces that aim at the decisions of charge control, for property tests of any controller.

`settings` and `cases` are strategies of Hypothesis, which shrinks what they draw;
`harness.strategies.sweep` draws the same traces from random numbers, many times faster.

    from hypothesis import given
    from harness import strategies

    @given(strategies.cases())
    def test_conforms(drawn):
        assert not judge(drive(attachment, drawn.case)).findings
"""

from __future__ import annotations

from harness.strategies.drawn import Drawn, cases, settings

__all__ = ["Drawn", "cases", "settings"]
