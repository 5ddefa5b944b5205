"""What a logger left out is no fault of the controller, and what the log's stages say is believed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.explain.explained import Explained, explain
from harness.explain.reason import Cause
from harness.explain.ruled import bridged
from harness.logs.log import Log, PackLog
from harness.run import Trace

SETTINGS = Settings.for_cells(16, entry_dwell_s=60.0, hold_s=600.0)
EVERY_S = 30.0
ROWS = 400
# The charge peaks here and stands for an hour.
RISES, FALLS = 100, 220


def pack(top_v: float, *, stage: Stage | None = Stage.BULK) -> PackLog:
    """A pack that rises to a voltage, stands there, and falls; a row every 30 s."""
    t = np.arange(0.0, EVERY_S * ROWS, EVERY_S)
    v = np.interp(np.arange(ROWS), (0, RISES, FALLS, ROWS), (53.0, top_v, top_v, 53.5))
    i = np.where(np.arange(ROWS) < FALLS, 10.0, -2.0)
    stages = None if stage is None else np.full(ROWS, int(stage), np.int8)
    return PackLog("hut", Path("hut.csv"), Trace(t, v, i), stage=stages)


def without(log: PackLog, *rows: int) -> PackLog:
    v = log.trace.v.copy()
    v[list(rows)] = np.nan
    return evolve(log, trace=evolve(log.trace, v=v))


def explained(log: PackLog, *, complete: bool = False) -> Explained:
    return explain(Log(Path("hut.csv"), (log,), complete=complete), {"hut": SETTINGS})


@pytest.mark.parametrize("hole", [RISES - 20, FALLS + 50])
def test_a_blank_cell_is_no_protection(hole: int) -> None:
    short = without(pack(SETTINGS.entry_v - 0.03), hole)
    for stage in (Stage.BULK, None):
        log = evolve(short, stage=pack(0.0, stage=stage).stage)
        main = explained(log).main("hut")
        assert main.cause is not Cause.PROTECTION
        assert "its hold never started" in main.chain[0].sentence


def test_where_every_sample_is_a_row_a_hole_is_the_controllers() -> None:
    log = without(pack(SETTINGS.entry_v - 0.03, stage=None), *range(RISES - 20, RISES - 10))
    main = explained(log, complete=True).main("hut")
    assert main.cause is Cause.PROTECTION
    assert main.chain[-1].rule == "PROTECT.no-reading"


def test_a_hole_in_the_hold_does_not_abandon_it() -> None:
    log = without(pack(SETTINGS.entry_v + 0.05, stage=None), RISES + 10)
    whole, holed = explained(pack(SETTINGS.entry_v + 0.05, stage=None)), explained(log)
    assert holed.main("hut").cause is whole.main("hut").cause is Cause.HEALTHY
    assert holed.main("hut").t == whole.main("hut").t
    # The row itself is not counted twice: with every sample a row, the hold begins anew behind it.
    assert explained(log, complete=True).main("hut").t > whole.main("hut").t


def test_only_gaps_that_the_log_explains_are_bridged() -> None:
    settings = SETTINGS
    wide = without(pack(55.0), *range(150, 170))
    through = bridged(wide, settings)
    assert through.max_gap_s == pytest.approx(1.01 * 21 * EVERY_S)
    changed = pack(55.0).stage
    assert changed is not None
    changed = changed.copy()
    changed[:160] = Stage.ABSORPTION
    assert bridged(evolve(wide, stage=changed), settings) == settings
    assert bridged(evolve(wide, stage=None), settings) == settings
    assert bridged(evolve(wide, restarts=(160,)), settings) == settings
    assert bridged(pack(55.0), settings) == settings


def test_a_pack_in_bulk_all_day_was_not_called_full() -> None:
    main = explained(pack(SETTINGS.entry_v + 0.05)).main("hut")
    assert main.cause is Cause.WRONG_SETTINGS
    assert "The log has it in bulk all that day." in main.chain[-1].sentence


def test_a_pack_in_float_all_day_is_well() -> None:
    main = explained(pack(SETTINGS.entry_v + 0.05, stage=Stage.FLOAT)).main("hut")
    assert main.cause is Cause.HEALTHY
    assert "float all that day" in main.chain[-1].sentence


def test_protection_that_the_log_does_not_have_is_not_told() -> None:
    log = pack(SETTINGS.entry_v - 0.03)
    cell_v = np.where(abs(np.arange(ROWS) - RISES) <= 2, 3.7, 3.4)
    hot = evolve(log, trace=evolve(log.trace, cell_max_v=cell_v))
    assert explained(evolve(hot, stage=None)).main("hut").cause is Cause.PROTECTION
    assert explained(hot).main("hut").cause is not Cause.PROTECTION
