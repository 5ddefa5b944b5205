"""TIME: gaps, stamps that step back, and readings that cannot be believed."""

from __future__ import annotations

import numpy as np

from ctrl.vocabulary import Stage
from harness.rules.absorption import absorptions
from harness.rules.blame import BACK, GAP, INVALID
from harness.rules.count import GAP as ADDS_NOTHING
from harness.rules.count import SOC_SLACK, counts
from harness.rules.float_stage import RUNS_ON, floats
from harness.rules.life import Life
from harness.rules.requirement import Marks, Requirement
from harness.run import Flags

ABANDONS = "TIME.gap-abandons-hold"


def skips(life: Life, marks: Marks) -> None:
    """Look at every invalid sample: it must change nothing, but for a trip."""
    if life.valid_rows is None:
        return
    rows = np.setdiff1d(np.arange(len(life.row_stage)), life.valid_rows, assume_unique=True)
    marks.seen(INVALID, len(rows))
    for row in rows.tolist():
        stage = Stage(life.row_stage[row])
        before = Stage(life.row_stage[row - 1]) if row else Stage.BULK
        if stage not in (before, Stage.INHIBITED):
            _tell(life, row, marks, stage.word, before.word, 0.0, "", "the stage changed")
            return
        if life.row_soc is not None:
            kept = float(life.row_soc[row - 1]) if row else life.soc_before
            soc = float(life.row_soc[row])
            if kept is not None and not abs(soc - kept) <= SOC_SLACK:
                _tell(
                    life, row, marks, f"SoC {soc:.7f}", f"SoC {kept:.7f}", abs(soc - kept), "SoC",
                    "the count moved",
                )  # fmt: skip
                return
        if life.row_reset is not None and life.row_reset[row]:
            _tell(life, row, marks, "full reset", "none", 0.0, "", "a full reset was reported")
            return
        asked = life.row_voltage_request_v
        if asked is not None and row and stage is before and asked[row] != asked[row - 1]:
            moved_mv = abs(float(asked[row] - asked[row - 1])) * 1000.0
            _tell(
                life, row, marks, f"{asked[row]:.4f} V", f"{asked[row - 1]:.4f} V", moved_mv, "mV",
                "the voltage asked for moved",
            )  # fmt: skip
            return


def _tell(
    life: Life,
    row: int,
    marks: Marks,
    observed: str,
    expected: str,
    margin: float,
    unit: str,
    what: str,
) -> None:
    marks.broken(
        INVALID,
        life,
        row,
        observed=observed,
        expected=expected,
        margin=margin,
        unit=unit,
        sentence=f"{what} at a sample that cannot be believed: {observed}, not {expected}",
    )


def gaps(life: Life, marks: Marks) -> None:
    """Note where a dwell ran into a break in time: that puts the restart of dwells to the test."""
    at = life.breaks
    if not len(at):
        return
    s = life.settings
    stage = life.stage[at - 1]

    def both(condition: Flags) -> Flags:
        """Where it holds on both sides of a break."""
        held: Flags = condition[at - 1] & condition[at]
        return held

    runs = (stage == Stage.BULK) & both(life.level_v >= s.entry_v)
    runs |= (stage == Stage.FLOAT) & both(life.level_v < s.return_v)
    cell_v = life.reading("cell_max_v")
    if s.cell_limit_v is not None and cell_v is not None:
        runs |= both(cell_v >= s.cell_limit_v)
    if s.empty_v is not None:
        runs |= both(life.v <= s.empty_v)
    runs |= stage == Stage.INHIBITED
    back = life.t[at] < life.t[at - 1]
    marks.seen(BACK, int(np.count_nonzero(back)))
    marks.seen(GAP, int(np.count_nonzero(runs & ~back)))


REQUIREMENTS = (
    Requirement(
        id=ABANDONS,
        title="a gap abandons the hold",
        statement="At a valid sample more than `max_gap_s` after the valid one before it, absorption is "
        "left for bulk: a running hold or confirmation is abandoned.",
        reason="What the voltage did while nobody looked is not known.",
        check=absorptions,
    ),
    Requirement(
        id=GAP,
        title="a gap restarts every dwell",
        statement="At a valid sample more than `max_gap_s` after the valid one before it every dwell "
        "(entry, low voltage, trip, release, empty) begins anew with that sample.",
        reason="Two readings with an hour between them do not make an hour at the voltage.",
        check=gaps,
    ),
    Requirement(
        id=ADDS_NOTHING,
        title="a gap adds nothing to the count",
        statement="Over an interval longer than `max_gap_s` the state of charge does not change.",
        reason="A current that was not measured cannot be counted; guessing hides the drift.",
        check=counts,
        features={"soc"},
    ),
    Requirement(
        id=BACK,
        title="a stamp that steps back starts time anew",
        statement="At a valid sample whose stamp lies before that of the valid one before it, every dwell "
        "begins anew, a hold is abandoned, nothing is counted, and a float timer starts again.",
        reason="Clocks wrap and are set; a timer that believes them ends at once, or never.",
        check=gaps,
    ),
    Requirement(
        id=RUNS_ON,
        title="the float timer runs on over a gap",
        statement="A gap does not stop or restart the float timer: it goes on with the time stamps.",
        reason="Float asks nothing of the voltage, so nothing is lost by not having seen it.",
        check=floats,
        features={"float_timer"},
    ),
    Requirement(
        id=INVALID,
        title="a reading that cannot be believed is skipped",
        statement="A sample whose `t`, `v` or `i` is missing, not finite or outside its plausible range "
        "changes no stage, count, timer or dwell, interrupts no dwell, and leaves the outputs as they "
        "were.",
        reason="One lost message must neither end a hold nor complete one.",
        check=skips,
    ),
)
