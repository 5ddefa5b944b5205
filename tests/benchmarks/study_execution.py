"""What it costs to run a study on workers: `python -m tests.benchmarks.study_execution [ROW ...]`.

The items are of busy loops, so that nothing is measured but the way around them. A busy machine
spoils the row of two workers. The row of the memory takes some minutes.
"""

from __future__ import annotations

import multiprocessing
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from statistics import median

from harness.study.executors import CountedExecutor, local
from harness.study.running import Job, run
from harness.study.store import Folder
from tests.study.cheap_work import Columns, two_banks

ROUNDS = 3
ITEMS = 6
ITEM_S = 1.0
FEW, MANY = 1_000, 100_000


def busy(turns: int, item: int) -> Columns:
    """The rows of an item after so many turns of a loop that needs one core."""
    total = 0.0
    for turn in range(turns):
        total += turn * 0.5
    columns = two_banks(item)
    columns["value"] = columns["value"] + total * 0.0
    return columns


def turns_of_an_item() -> int:
    """How many turns take about the time of an item."""
    turns = 2_000_000
    return int(turns * ITEM_S / min(_seconds(lambda: busy(turns, 0)) for _ in range(5)))


def _seconds(call: Callable[[], object]) -> float:
    begin_s = time.perf_counter()
    call()
    return time.perf_counter() - begin_s


def study(work: Callable[[int], Columns], items: int, executor: CountedExecutor) -> None:
    """Run and put together in a folder that is then removed."""
    with (
        tempfile.TemporaryDirectory() as name,
        Folder(Path(name), "benchmark", items, resume=False) as folder,
    ):
        assert run(Job("benchmark", items, work), folder, executor).complete
        folder.compact()


def waiting(seconds: float, item: int) -> Columns:
    """The rows of an item after a time in which no core is needed."""
    time.sleep(seconds)
    return two_banks(item)


def _in_turns(calls: list[Callable[[], object]]) -> list[float]:
    """The median time of each call, s; one round of each is thrown away first."""
    for call in calls:
        call()
    rounds = [[_seconds(call) for call in calls] for _ in range(ROUNDS)]
    return [median(column) for column in zip(*rounds, strict=True)]


def over_plain_calls() -> str:
    """One worker process, rows on disk and all, over the calls alone in this process."""
    work = partial(busy, turns_of_an_item())
    with local(1) as executor:
        ours, plain = _in_turns(
            [
                lambda: study(work, ITEMS, executor),
                lambda: [work(item) for item in range(ITEMS)],
            ]
        )
    return f"{ours / plain - 1.0:+.1%} ({plain / ITEMS:.2f} s an item)"


def over_plain_waiting() -> str:
    """The same with items that wait instead of needing a core."""
    work = partial(waiting, ITEM_S)
    with local(1) as executor:
        ours, plain = _in_turns(
            [
                lambda: study(work, ITEMS, executor),
                lambda: [work(item) for item in range(ITEMS)],
            ]
        )
    return f"{ours / plain - 1.0:+.1%} ({plain / ITEMS:.2f} s an item)"


def two_over_one() -> str:
    """How many times faster two workers are than one, and what two bare processes come to."""
    work = partial(busy, turns_of_an_item())
    context = multiprocessing.get_context("spawn")
    with local(1) as one, local(2) as two, context.Pool(1) as bare, context.Pool(2) as bare_pair:
        calls: list[Callable[[], object]] = [
            lambda: study(work, ITEMS, one),
            lambda: study(work, ITEMS, two),
            lambda: bare.map(work, range(ITEMS), chunksize=1),
            lambda: bare_pair.map(work, range(ITEMS), chunksize=1),
        ]
        single, double, bare_single, bare_double = _in_turns(calls)
    return f"{single / double:.2f} times; bare processes {bare_single / bare_double:.2f} times"


def two_over_one_waiting() -> str:
    """The same with items that wait instead: what is left is the way around them."""
    work = partial(waiting, ITEM_S / 2)
    with local(1) as one, local(2) as two:
        single, double = _in_turns(
            [lambda: study(work, 2 * ITEMS, one), lambda: study(work, 2 * ITEMS, two)]
        )
    return f"{single / double:.2f} times"


def an_empty_item() -> str:
    """What an item costs that needs no time itself."""
    with local(1) as executor:
        (taken,) = _in_turns([lambda: study(two_banks, FEW, executor)])
    return f"{taken / FEW * 1e3:.2f} ms"


def memory() -> str:
    """The most memory of the main process with few items and with many."""
    peaks = {}
    for items in (FEW, MANY):
        command = [sys.executable, "-m", __spec__.name, f"--peak={items}"]
        peaks[items] = int(subprocess.run(command, check=True, stdout=subprocess.PIPE).stdout)
    few, many = peaks[FEW] / 1024, peaks[MANY] / 1024
    return f"{few:.0f} MB and {many:.0f} MB, {many / few:.2f} times"


def _peak(items: int) -> int:
    import resource

    with local(2) as executor:
        study(two_banks, items, executor)
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


ROWS: dict[str, tuple[str, str, Callable[[], str]]] = {
    "overhead": (
        "one worker over plain calls, items of about 1 s that need a core",
        "under 5 %",
        over_plain_calls,
    ),
    "overhead-waiting": ("the same with items that only wait", "under 5 %", over_plain_waiting),
    "scaling": (
        "one worker : two, items that need a core",
        "at least 1.8 on two idle cores",
        two_over_one,
    ),
    "scaling-waiting": ("the same with items that only wait", "at least 1.8", two_over_one_waiting),
    "empty": (
        "an item that takes no time, from its number to its rows",
        "no target",
        an_empty_item,
    ),
    "memory": (f"most memory with {FEW:,} and {MANY:,} small items", "flat", memory),
}


def main(chosen: list[str]) -> int:
    """Print the lines as they are measured; return the exit code."""
    if len(chosen) == 1 and chosen[0].startswith("--peak="):
        print(_peak(int(chosen[0].partition("=")[2])))
        return 0
    unknown = [name for name in chosen if name not in ROWS]
    if unknown:
        print(f"there is no row {', '.join(unknown)}; there are {', '.join(ROWS)}", file=sys.stderr)
        return 2
    print("| what | measured | target |")
    print("|---|---|---|")
    for name, (what, target, taken) in ROWS.items():
        if not chosen or name in chosen:
            print(f"| {what} | {taken()} | {target} |", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
