"""A find counts when the monitor confirms its shortest trace, wherever it can express the rule."""

from __future__ import annotations

from tests.oracles.finds import asked, findable

# The groups whose rules the monitor can express, on traces that are evenly spaced.
GROUPS = {"ENTRY", "HOLD", "FULL", "FLOAT", "RETURN"}
# One in so many of those made by hand; `python -m tests.oracles.finds` asks about all there are.
ONE_IN, TRACES = 7, 80


def test_no_find_is_refuted() -> None:
    chosen = [
        subject
        for subject in findable()
        if subject.by_hand and {name.partition(".")[0] for name in subject.breaks} <= GROUPS
    ]
    finds = list(asked(chosen[::ONE_IN], TRACES))
    assert [find for find in finds if find.says is False] == []
    assert len({find.name for find in finds}) >= 5
    assert sum(find.says is True for find in finds) >= 1
