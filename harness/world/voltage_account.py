"""Where the voltage went between what was asked for and what a pack's controller read.

A simulated world knows what a log cannot show: every true voltage on the way. So the account is
exact: the parts add up to what was missing.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.world.charger_course import lowest_request
from harness.world.network import Bound
from harness.world.result import Result


@frozen
class Account:
    """The way of the voltage at the moment of a pack's highest reading outside float.

    Attributes:
        t: the moment, s since the start.
        asked_v: what the charger was asked for, V.
        read_v: what the pack's controller read, V.
        above_v: what the charger's set-point lay above that, V.
        held: whether the charger held its set-point; if not, something else bounds its current.
        charger_v: its terminals less its set-point, V: the error of its meter, where it held it.
        main_v: lost in the cable from the charger to the bus, V.
        lead_v: lost in the pack's own lead, V.
        meter_v: what the pack's meter shows too much, V.
        charger_a: current of the charger, A.
        pack_a: current of the pack, A.
    """

    t: float
    asked_v: float
    read_v: float
    above_v: float
    held: bool
    charger_v: float
    main_v: float
    lead_v: float
    meter_v: float
    charger_a: float
    pack_a: float

    @property
    def missing_v(self) -> float:
        """What the pack read less than what was asked for, V: the parts together."""
        return self.main_v + self.lead_v - self.above_v - self.charger_v - self.meter_v


def account(result: Result, p: int) -> Account | None:
    """The account of a pack; None where it read nothing, or nothing was kept.

    Args:
        result: what came of a run with a charger under test.
        p: index of the pack.
    """
    pack, bank, run = result.packs[p], result.bank, result.charger
    samples = pack.samples
    if samples is None or run is None or not len(bank.t) or not len(run.case.trace):
        return None
    decides = np.isfinite(samples.trace.v) & (samples.answers.stage != Stage.FLOAT)
    if not decides.any():
        return None
    sample = int(np.argmax(np.where(decides, samples.trace.v, -np.inf)))
    t = float(samples.true_t[sample])
    # The row that holds at that moment: rows are the ends of steps, and samples lie within them.
    row = min(int(np.searchsorted(bank.t, t - 1e-9)), len(bank.t) - 1)
    told = int(np.searchsorted(run.case.trace.t, bank.t[row] - 1e-9)) - 1
    asked_v = float(lowest_request(run)[max(told, 0)])
    if not np.isfinite(asked_v):
        return None
    set_v, charger_v, bus_v = (float(c[row]) for c in (bank.set_v, bank.charger_v, bank.bus_v))
    true_v, read_v = float(pack.true_v[row]), float(samples.trace.v[sample])
    return Account(
        t=t,
        asked_v=asked_v,
        read_v=read_v,
        above_v=set_v - asked_v,
        held=bool(bank.bound[row] == Bound.VOLTAGE),
        charger_v=charger_v - set_v,
        main_v=charger_v - bus_v,
        lead_v=bus_v - true_v,
        meter_v=read_v - true_v,
        charger_a=float(bank.charger_a[row]),
        pack_a=float(pack.true_a[row]),
    )
