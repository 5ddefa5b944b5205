"""POWER: what a controller knows after it has lost power."""

from __future__ import annotations

from ctrl.vocabulary import Stage
from harness.rules.blame import FORGETS
from harness.rules.count import KEEPS, counts
from harness.rules.life import Life
from harness.rules.requirement import Marks, Requirement

STARTS = "POWER.starts-in-bulk"


def starts(life: Life, marks: Marks) -> None:
    """Look at the first row after a loss of power."""
    if not life.after_power_cycle:
        return
    marks.seen(STARTS)
    marks.seen(FORGETS)
    stage = Stage(life.row_stage[0])
    s = life.settings
    at_once = (
        stage is Stage.BULK
        or (stage is Stage.ABSORPTION and s.entry_dwell_s <= life.slack_s(0))
        or (stage is Stage.INHIBITED and s.trip_dwell_s <= life.slack_s(0))
    )
    if not at_once:
        marks.broken(
            STARTS,
            life,
            0,
            observed=stage.word,
            expected="bulk",
            sentence=f"the first sample after a loss of power found the controller in {stage.word}",
        )


REQUIREMENTS = (
    Requirement(
        id=STARTS,
        title="after a loss of power it starts in bulk",
        statement="At the first sample after a loss of power the stage is bulk, unless a dwell of no "
        "length is met by that very sample.",
        reason="A hold that was interrupted has proved nothing.",
        check=starts,
        features={"power_cycle"},
    ),
    Requirement(
        id=KEEPS,
        title="after a loss of power it keeps the count",
        statement="At the first sample after a loss of power the state of charge is what it was at the "
        "last sample before: it is stored, and the first sample adds nothing.",
        reason="The count is the one thing that no reading can give back.",
        check=counts,
        features={"power_cycle", "soc"},
    ),
    Requirement(
        id=FORGETS,
        title="after a loss of power it forgets the rest",
        statement="Timers, dwells, trips, the last sample and the last temperature are forgotten by a loss "
        "of power.",
        reason="What is half remembered is combined with what comes next into a proof that never was.",
        check=starts,
        features={"power_cycle"},
    ),
)
