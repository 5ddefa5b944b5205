"""Compiles what many tests need, once: `python -m tests.compiled_beforehand worlds` or `studies`.

Test processes side by side would each compile the same kernels at the same time, more than a minute
each. What is compiled here they find kept.
"""

from __future__ import annotations

import subprocess
import sys

from harness.attach import attach
from harness.strategies.sweep import sweep
from harness.study.item import prepare
from harness.study.study_file import named
from harness.world.fast import simulate_compiled, simulate_many
from harness.world.loop import simulate
from harness.world.many import run_physics
from harness.world.network import ChargerLimits
from harness.world.plant import Plant
from tests.world.small_worlds import branch, world


def worlds() -> None:
    """The loops of the simulated bank, and its physics alone; in one process they share their parts."""
    small = world(branch("hut", 0.9), branch("pier", 0.8), hours=0.01)
    simulate_compiled(small)
    simulate_many([small])
    with attach("ref") as one, attach("ref") as other:
        simulate(small, [one, other])
    spec = small.plant_spec()
    limits = ChargerLimits(56.0, 10.0)
    Plant(spec).advance(1.0, limits)
    run_physics([spec], 1.0, limits, [0.0])


def studies() -> None:
    """The loop of studies, and what draws the traces of a hunt."""
    prepare(named("lead-or-every", banks=1, days=1))
    next(sweep(0))


WHAT = {"worlds": worlds, "studies": studies}


def compile_all() -> None:
    """Compile all of it, side by side; what fails here fails in its tests, where it is told."""
    command = [sys.executable, "-m", "tests.compiled_beforehand"]
    for running in [subprocess.Popen([*command, word]) for word in WHAT]:
        running.wait()


if __name__ == "__main__":
    WHAT[sys.argv[1]]()
