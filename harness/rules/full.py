"""FULL: when a pack may be called full, and when it must be."""

from __future__ import annotations

import numpy as np

from ctrl.vocabulary import Stage
from harness.rules.absorption import CONFIRMED, DENIED, GRANTED, TAPER, VOLTAGE, WAIT, absorptions
from harness.rules.life import Life
from harness.rules.requirement import Marks, Requirement

AT_END = "FULL.at-hold-end"
SETS_ONE = "FULL.sets-one"
BLOCKED = "PROTECT.blocks-full"
NO_RESET = "EQUALISE.no-reset"


def resets(life: Life, marks: Marks) -> None:
    """Look at every row that is flagged as a full reset."""
    if life.row_reset is None:
        return
    for episode in life.of_stage(Stage.INHIBITED):
        marks.seen(BLOCKED, episode.rows[1] > episode.rows[0])
    for episode in life.of_stage(Stage.EQUALISATION):
        marks.seen(NO_RESET, episode.rows[1] > episode.rows[0])
    for episode in life.of_stage(Stage.FLOAT):
        marks.seen(AT_END, episode.came_from is Stage.ABSORPTION)
    for row in np.flatnonzero(life.row_reset).tolist():
        stage = Stage(life.row_stage[row])
        before = Stage(life.row_stage[row - 1]) if row else Stage.BULK
        if stage is Stage.INHIBITED:
            marks.broken(
                BLOCKED,
                life,
                row,
                observed="full reset while inhibited",
                expected="no full reset",
                sentence="the pack was called full while protection was blocking the charge",
            )
        elif before is not Stage.ABSORPTION or stage is not Stage.FLOAT:
            equalised = Stage.EQUALISATION in (before, stage) and "equalisation" in life.claims
            marks.broken(
                NO_RESET if equalised else AT_END,
                life,
                row,
                observed=f"full reset, {before.word} -> {stage.word}",
                expected="a full reset only on the change from absorption to float",
                sentence=f"full reset at the wrong moment: the stage went from {before.word} to {stage.word}",
            )
        else:
            marks.seen(AT_END)
        if life.row_soc is not None:
            marks.seen(SETS_ONE)
            soc = float(life.row_soc[row])
            if soc != 1.0:
                marks.broken(
                    SETS_ONE,
                    life,
                    row,
                    observed=f"SoC {soc:.9g}",
                    expected="SoC 1",
                    margin=1.0 - soc,
                    unit="SoC",
                    sentence=f"the full reset left the state of charge at {soc:.9g}, not at 1",
                )


REQUIREMENTS = (
    Requirement(
        id=VOLTAGE,
        title="a full reset needs the voltage after the hold",
        statement="A full reset happens only at a sample at which the voltage is at or above `full_v`.",
        reason="A load that sags the bank during the hold leaves a pack at 90 % that is called full.",
        check=absorptions,
        features={"full_reset"},
    ),
    Requirement(
        id=CONFIRMED,
        title="the voltage is confirmed for the whole dwell",
        statement="The condition of the full reset has held for `confirm_s` without interruption, "
        "counted at the earliest from the sample at which the hold timer ran out.",
        reason="One reading above the line, in a noisy meter, proves nothing.",
        check=absorptions,
        features={"full_reset", "confirm"},
    ),
    Requirement(
        id=TAPER,
        title="a full reset needs a small current where one is set",
        statement="With `taper_a` set, a full reset happens only at a sample at which the current is "
        "within plus or minus `taper_a`.",
        reason="A pack that still takes a large current at the voltage is not full, nor is one that "
        "discharges hard.",
        check=absorptions,
        features={"full_reset", "taper"},
    ),
    Requirement(
        id=AT_END,
        title="a full reset happens once, at the end of a hold",
        statement="A full reset is reported only on the sample on which absorption is left for float: "
        "at most once for each hold, never in bulk, in float or while inhibited.",
        reason="A count that is put to 100 % at any other moment hides what is really in the pack.",
        check=resets,
        features={"full_reset"},
    ),
    Requirement(
        id=GRANTED,
        title="a pack that is confirmed gets its full reset",
        statement="When the condition of the full reset has held for `confirm_s` after the hold, the "
        "full reset happens at that sample and the stage becomes float.",
        reason="A reset that is missed lets the count drift on for another day.",
        check=absorptions,
        features={"full_reset"},
    ),
    Requirement(
        id=DENIED,
        title="a pack that is not confirmed is denied as set",
        statement="At a sample after the hold at which the condition of the full reset is false the "
        "stage becomes float or bulk, as `on_unconfirmed` says, without a full reset; while the "
        "condition is true but not yet for long enough, the pack is neither confirmed nor denied.",
        reason="Whoever sets what follows an unproved hold relies on it.",
        check=absorptions,
    ),
    Requirement(
        id=WAIT,
        title="a pack waits for its proof, but not for ever",
        statement="Under `on_unconfirmed = wait` absorption goes on after the hold until the pack is "
        "confirmed, or until `wait_limit_s` after the hold, when the stage becomes float without a "
        "full reset.",
        reason="Without the limit a pack that never gets there would be held at its highest voltage.",
        check=absorptions,
        features={"wait"},
    ),
    Requirement(
        id=SETS_ONE,
        title="a full reset sets the count to exactly 1",
        statement="On the sample of a full reset the state of charge is exactly 1.",
        reason="A reset that stops short leaves a part of the drift that it is there to remove.",
        check=resets,
        features={"full_reset", "soc"},
    ),
)
