"""Many cases on controllers that break: `python -m tests.soak --cases 10000`.

They go the way that `verify` takes. Every fifth of them it is counted what is held: children, open
files, threads, temporary files and memory. Ends with 1 where anything is left behind, or memory
grows.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ctrl.settings import Settings
from harness.attach import attach
from harness.run import Case, Trace
from harness.verify import verify
from tests.soak.fragile import library, program
from tests.soak.left_behind import Held, held

BATCH = 50
# Of a hundred cases so many go to the library: to begin its worker takes far longer.
OF_LIBRARY = 4
LIMIT_S = 0.3
LIBRARY_LIMIT_S = 20.0
MOST_GROWN_MB = 20.0
STOPS = 5


def cases(first: int, count: int) -> list[Case]:
    """So many short cases, each with a loss of power and a cut."""
    t = np.arange(12.0)
    trace = Trace(t, np.full(12, 55.9), np.full(12, 12.5))
    settings = Settings.for_cells(16, hold_s=4.0, confirm_s=1.0)
    return [
        Case(f"soak/{k}", settings, trace, 0.5, power_cycles=(8,), cuts=(4,))
        for k in range(first, first + count)
    ]


def soaked(many: int, folder: Path) -> Iterator[tuple[int, Held, Counter[str]]]:
    """Try so many cases; after each fifth, what is held, and what the faults were so far."""
    broken, crashing = program(folder), library(folder)
    told: Counter[str] = Counter()
    before = held(folder, patience_s=0.0)
    yield 0, before, told
    done, stop = 0, 1
    while done < many:
        of_library = min(max(1, BATCH * OF_LIBRARY // 100), many - done)
        for spec, limit_s, count in (
            (f"exec:{broken} {done}", LIMIT_S, min(BATCH - of_library, many - done)),
            (f"lib:{crashing}", LIBRARY_LIMIT_S, of_library),
        ):
            told.update(_tried(spec, limit_s, cases(done, count)))
            done += count
        if done >= many * stop / STOPS:
            stop += 1
            yield done, held(folder, usual=before.children), told


def _tried(spec: str, limit_s: float, tried: list[Case]) -> list[str]:
    """Verify a controller by these cases; what its faults were, and a word for each case."""
    with attach(spec, limit_s=limit_s) as attachment:
        report = verify(attachment, tried)
    faults = [f.observed for f in report.findings if f.requirement.startswith("LINK.")]
    return ["cases"] * report.cases + faults


def complaints(first: Held, warm: Held, last: Held) -> list[str]:
    """What was left behind: `first` is before all cases, `warm` after some, `last` after all."""
    wrong = []
    for name in ("children", "strays", "files", "threads", "temporary"):
        before, after = getattr(first, name), getattr(last, name)
        if after > before:
            wrong.append(f"{name}: {before} before, {after} after")
    if last.memory_mb > warm.memory_mb + MOST_GROWN_MB:
        wrong.append(f"memory: {warm.memory_mb:.1f} MB, then {last.memory_mb:.1f} MB")
    return wrong


def soak(many: int) -> tuple[list[str], Counter[str]]:
    """Try so many cases, tell of it, and return what was left behind and what happened."""
    with tempfile.TemporaryDirectory(prefix="soak-") as name:
        programs, temporary = Path(name) / "programs", Path(name) / "temporary"
        programs.mkdir()
        temporary.mkdir()
        before, tempfile.tempdir = tempfile.tempdir, str(temporary)
        try:
            stops = []
            began = time.monotonic()
            told: Counter[str] = Counter()
            for done, now, told in soaked(many, programs):  # noqa: B007  the last one is told
                stops.append(now)
                print(f"{done:6} cases, {time.monotonic() - began:6.0f} s: {now.line}", flush=True)
        finally:
            tempfile.tempdir = before
    return complaints(stops[0], stops[1], stops[-1]), told


def main() -> int:
    """One command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    parser.add_argument("--cases", type=int, default=10_000)
    wrong, told = soak(parser.parse_args().cases)
    for what, times in told.most_common(25):
        print(f"{times:6} {what}")
    print("left behind: " + ("; ".join(wrong) or "nothing"))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
