"""Settings read off a log, where nobody gives them: what can be seen, and how surely."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.logs.log import Indices, PackLog
from harness.run import Floats, Stages

# A cell that is neither empty nor full has about so much, V (LFP: 3.266 V at one half by Prada et al.,
# 3.291 V by Naumann; the same sources as in `ctrl.advice`; the others: common practice, no source).
MIDDLE_CELL_V = {
    "lfp": 3.28,
    "nmc": 3.7,
    "lead_flooded": 2.1,
    "lead_agm": 2.1,
    "lead_gel": 2.1,
}
# What explaining a log cannot do without.
NEEDED = ("cells", "capacity_ah", "entry_v", "entry_dwell_s", "hold_s", "full_v")


@frozen
class Inferred:
    """One setting that was read off a log.

    Attributes:
        name: the setting.
        value: what it seems to be.
        low: not lower than this.
        high: not higher.
        times: how often it was seen.
        told: how it was seen, in plain words.
    """

    name: str
    value: float
    low: float
    high: float
    times: int
    told: str

    @property
    def sure(self) -> bool:
        """Whether it is known well enough to go by."""
        return self.times > 0 and self.high - self.low <= 0.02 * max(abs(self.value), 1.0)


def inferred(pack: PackLog, chemistry: str | None = None) -> dict[str, Inferred]:
    """What a log shows of a pack's settings, by name; nothing that it does not show.

    Args:
        pack: the log.
        chemistry: of its cells; None where nobody says. The voltage of a pack alone does not tell how
            many cells it has: 24 of lead and 16 of LFP stand at the same.
    """
    found = {}
    for each in (
        _cells(pack, chemistry),
        *_requests(pack),
        _entry(pack),
        _hold(pack),
        _capacity(pack),
    ):
        if each is not None:
            found[each.name] = each
    return found


def missing(found: Mapping[str, Inferred], given: Mapping[str, Any]) -> list[str]:
    """The settings that are needed, and neither given nor surely seen."""
    return [n for n in NEEDED if n not in given and not (n in found and found[n].sure)]


def _cells(pack: PackLog, chemistry: str | None) -> Inferred | None:
    v, cell_v = pack.trace.v, pack.trace.cell_max_v
    both = np.isfinite(v) & (np.isfinite(cell_v) if cell_v is not None else True)
    if not both.any():
        return None
    pack_v = float(np.median(v[both]))
    told = f"{pack_v:.2f} V in the middle of the log"
    if cell_v is not None:
        of_cell_v = float(np.median(cell_v[both]))
        told += f", {of_cell_v:.3f} V a cell"
    elif chemistry is not None:
        of_cell_v = MIDDLE_CELL_V[chemistry]
    else:
        return None
    if not of_cell_v > 0:
        return None
    cells = max(1, round(pack_v / of_cell_v))
    return Inferred("cells", cells, cells, cells, 1, told)


def _changes(stage: Stages, before: Stage, after: Stage) -> Indices:
    rows: Indices = np.flatnonzero((stage[:-1] == before) & (stage[1:] == after)) + 1
    return rows


def _requests(pack: PackLog) -> list[Inferred | None]:
    asked = pack.voltage_request_v
    if asked is None or pack.stage is None:
        return []
    found: list[Inferred | None] = []
    for name, stages in (
        ("absorption_v", (Stage.BULK, Stage.ABSORPTION)),
        ("float_v", (Stage.FLOAT,)),
    ):
        values = asked[np.isin(pack.stage, [int(s) for s in stages]) & np.isfinite(asked)]
        if len(values):
            middle = float(np.median(values))
            found.append(
                Inferred(
                    name,
                    middle,
                    float(values.min()),
                    float(values.max()),
                    len(values),
                    "what the pack asks for",
                )
            )
    return found


def _entry(pack: PackLog) -> Inferred | None:
    """Between the highest voltage that did not do and the lowest that did."""
    if pack.stage is None:
        return None
    rows = _changes(pack.stage, Stage.BULK, Stage.ABSORPTION)
    if not len(rows):
        return None
    v = pack.trace.v
    reached = float(np.nanmin(v[rows]))
    bulk = (pack.stage == Stage.BULK) & np.isfinite(v)
    # Just before an entry the level stands already, and waits for the dwell.
    waiting = np.zeros(len(v), bool)
    for row in rows.tolist():
        waiting[max(row - 600, 0) : row] = True
    not_enough = v[bulk & ~waiting & (v <= reached)]
    low = float(not_enough.max()) if len(not_enough) else 0.0
    return Inferred(
        "entry_v", reached, low, reached, len(rows), "the voltage at which absorption began"
    )


def _hold(pack: PackLog) -> Inferred | None:
    if pack.stage is None:
        return None
    t, stage = pack.trace.t, pack.stage
    begins = _changes(stage, Stage.BULK, Stage.ABSORPTION)
    ends = _changes(stage, Stage.ABSORPTION, Stage.FLOAT)
    lengths = []
    for end in ends.tolist():
        before = begins[begins < end]
        if len(before):
            lengths.append(float(t[end] - t[before[-1]]))
    if not lengths:
        return None
    return _seconds("hold_s", np.array(lengths), "from the start of absorption to its end")


def _capacity(pack: PackLog) -> Inferred | None:
    """Charge that flowed over what the count moved, where the count is in the log."""
    soc = pack.soc
    if soc is None:
        return None
    t, i = pack.trace.t, pack.trace.i
    apart_s = np.diff(t)
    fine = (apart_s > 0) & (apart_s <= 60.0) & np.isfinite(i[1:]) & np.isfinite(i[:-1])
    charge_ah = np.where(fine, 0.5 * (i[1:] + i[:-1]) * apart_s, 0.0) / 3600.0
    moved = np.diff(soc)
    # While it discharges no efficiency comes in, and no ceiling.
    down = fine & (charge_ah < 0) & (moved < 0)
    total, counted = float(-charge_ah[down].sum()), float(-moved[down].sum())
    if counted < 0.02:
        return None
    capacity_ah = total / counted
    error = 0.01 * capacity_ah
    return Inferred(
        "capacity_ah",
        round(capacity_ah, 1),
        capacity_ah - error,
        capacity_ah + error,
        int(np.count_nonzero(down)),
        "charge taken out over what the count fell by",
    )


def _seconds(name: str, lengths: Floats, told: str) -> Inferred:
    middle = float(np.median(lengths))
    near = lengths[np.abs(lengths - middle) <= 0.05 * middle]
    return Inferred(name, round(middle), float(near.min()), float(near.max()), len(near), told)
