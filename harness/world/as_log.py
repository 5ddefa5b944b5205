"""A closed-loop run as a log: what someone who kept all readings would have afterwards.

So the reasons that `harness.explain` finds in a recorded log are found in a simulated day too.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from attrs import evolve

from harness.logs.log import Log, PackLog
from harness.run import Floats
from harness.world.result import Result


def as_log(result: Result) -> Log:
    """The readings and answers of a run, with the charger's voltage by its own meter beside them.

    Raises:
        ValueError: the samples were not kept, or no controller took any.
    """
    packs = []
    for p, pack in enumerate(result.packs):
        samples = pack.samples
        if samples is None or not len(samples):
            raise ValueError(f"no samples of {pack.name} were kept")
        # Every pack has a clock of its own; a log of the bank has one for all.
        offset_s = result.world.packs[p].meter.clock_offset_s
        answers = samples.answers
        packs.append(
            PackLog(
                name=pack.name,
                file=Path(f"{result.world.name}-{pack.name}.csv"),
                trace=evolve(samples.trace, t=samples.trace.t - offset_s),
                stage=answers.stage,
                soc=answers.soc,
                full_reset=answers.full_reset,
                voltage_request_v=answers.voltage_request_v,
                current_request_a=answers.current_request_a,
                charger_v=_charger_v(result, samples.true_t),
            )
        )
    return Log(
        path=Path(result.world.name), packs=tuple(packs), complete=True, exact=True,
        from_power_up=True,
    )  # fmt: skip


def _charger_v(result: Result, t: Floats) -> Floats | None:
    """What the charger reads at its terminals, V, on straight lines between its samples."""
    if result.charger is None or not len(result.charger.case.trace):
        return None
    trace = result.charger.case.trace
    return np.interp(t, trace.t, trace.own_v)
