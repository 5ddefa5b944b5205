"""What stands beside the answers of a charger: what is in force at each sample, and the reference."""

from __future__ import annotations

import numpy as np

from harness.charger.attach import InProcessCharger, drive_charger
from harness.charger.case import ChargerAnswers, ChargerCase
from harness.charger.rules.heard import known
from harness.run import Floats

NAMES = ("asked_v", "asked_a", "oldest_s", "fresh_s")


def reference_answers(case: ChargerCase) -> ChargerAnswers:
    """What the reference answers to a case."""
    return drive_charger(InProcessCharger("ref"), case).answers


def in_force(case: ChargerCase) -> dict[str, Floats]:
    """What follows from the messages alone at each sample of a case; NaN where there is nothing.

    Returns:
        `asked_v` and `asked_a`: lowest voltage and sum of the currents that are asked for by the
        requests in force, V and A. `oldest_s`: age of the oldest of them, s. `fresh_s`: for how
        long all of them have been fresh, s.
    """
    columns = {name: np.full(len(case.trace), np.nan) for name in NAMES}
    cycles = sorted(k for k in case.power_cycles if k > 0)
    for start, stop in zip([0, *cycles], [*cycles, len(case.trace)], strict=True):
        for now in known(case.settings, case.trace.part(start, stop), 0.0):
            fresh_s = now.perhaps_steady_s if now.perhaps_steady_s >= 0.0 else np.nan
            told = (now.asked_v, now.asked_a, now.oldest_s, fresh_s)
            for name, value in zip(NAMES, told, strict=True):
                columns[name][start + now.row] = value if np.isfinite(value) else np.nan
    return columns
