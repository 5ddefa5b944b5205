"""The table of speeds, as Markdown: `python -m tests.benchmarks.table [ROW ...]`.

Each ratio is measured in one run, the two sides in turns, and is that of the medians of five
rounds or more; so a machine that is busy slows both sides. Nothing here fails on time.
"""

from __future__ import annotations

import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from statistics import median

from attrs import frozen

from harness.cli.example import example
from tests.benchmarks import hunting, library, link, logs, starting, workload

ROUNDS = 5


@frozen
class Measure:
    """One line of the table.

    Attributes:
        name: by which it is chosen on the command line.
        what: what is compared with what.
        target: what is aimed at.
        taken: measures it; text with its unit.
    """

    name: str
    what: str
    target: str
    taken: Callable[[], str]


def _taken_in_turns(*calls: Callable[[], object], rounds: int = ROUNDS) -> list[float]:
    """The median time of each call, s; one round of each is thrown away first."""
    for call in calls:
        call()
    taken = [[link.seconds(call) for call in calls] for _ in range(rounds)]
    return [median(column) for column in zip(*taken, strict=True)]


def _times(call: Callable[[], object], other: Callable[[], object], *, rounds: int = ROUNDS) -> str:
    ours, theirs = _taken_in_turns(call, other, rounds=rounds)
    return f"{ours / theirs:.3g} times"


def _per_sample(call: Callable[[], object], samples: int) -> str:
    (taken,) = _taken_in_turns(call)
    return f"{taken / samples * 1e9:.3g} ns"


def _judging_memory() -> str:
    run = workload.year_run()
    trace = sum(run.case.trace.column(name).nbytes for name in run.case.trace.columns)
    answers = [
        run.answers.stage,
        run.answers.soc,
        run.answers.full_reset,
        run.answers.voltage_request_v,
        run.answers.current_request_a,
    ]
    given = trace + sum(column.nbytes for column in answers if column is not None)
    tracemalloc.start()
    try:
        workload.judge_year()
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    return f"{peak / given:.3g} times"


def _conversation(rows: int, rows_a_message: int) -> str:
    with (
        tempfile.TemporaryDirectory() as folder,
        link.Conversation(Path(folder), rows, rows_a_message) as talk,
    ):
        return _times(talk.with_program, talk.with_echo)


def _command(*arguments: str) -> str:
    with tempfile.TemporaryDirectory() as folder:
        link.command_seconds(Path(folder), "--help")
        taken = [link.command_seconds(Path(folder) / str(k), *arguments) for k in range(ROUNDS)]
    return f"{median(taken):.2f} s"


def _started(name: str) -> Callable[[], str]:
    # A start is short and what else a machine does is not: it takes more rounds to tell.
    return lambda: _times(starting.started(name), starting.bare(), rounds=4 * ROUNDS)


def _attached_library(taken: Callable[[library.Attached], str]) -> str:
    with tempfile.TemporaryDirectory() as folder, library.Attached(Path(folder)) as attached:
        return taken(attached)


def _reference_over_compiled() -> str:
    reference, year = _taken_in_turns(workload.by_reference, workload.replay_year)
    return f"{reference / workload.PART / (year / workload.YEAR_S):.3g} times"


MEASURES = (
    Measure(
        "replay",
        "compiled replay of a year at 1 Hz : one read of its arrays",
        "at most 6",
        lambda: _times(workload.replay_year, workload.read_year),
    ),
    Measure(
        "many",
        "the year as 1,000 traces, on all cores : one read of its arrays, on one core",
        "at most 3 on two idle cores",
        lambda: _times(workload.replay_traces, workload.read_year),
    ),
    Measure(
        "compiled",
        "reference : compiled, a sample",
        "at least 100",
        _reference_over_compiled,
    ),
    Measure(
        "plain",
        "reference : the same machine in plain Python with local variables",
        "at most 12",
        lambda: _times(workload.by_reference, workload.by_plain_python),
    ),
    Measure(
        "library",
        "a general state-machine library asked at every sample : reference",
        "at least 3",
        lambda: _times(workload.by_library, workload.by_reference),
    ),
    Measure(
        "judge",
        "judging the year by every requirement : one read of the arrays of its run",
        "at most 30",
        lambda: _times(workload.judge_year, workload.read_run),
    ),
    Measure(
        "memory",
        "most memory while judging the year : trace and answers",
        "at most 3",
        _judging_memory,
    ),
    Measure(
        "batches",
        "`exec:` with a program that answers at once, 1,000 rows a message : bare C echo of its bytes",
        "at most 30",
        lambda: _conversation(100_000, 1_000),
    ),
    Measure(
        "rows",
        "`exec:` with a program that answers at once, one row a message : bare C echo of its bytes",
        "at most 2",
        lambda: _conversation(10_000, 1),
    ),
    Measure(
        "attached",
        "`lib:` with the example library, a sample, over what the library takes by itself",
        "at most 500 ns",
        lambda: _attached_library(library.Attached.over_own),
    ),
    Measure(
        "restart",
        "a new worker with its library, as after a crash : a bare interpreter",
        "at most 5, and under 100 ms",
        lambda: _attached_library(library.Attached.new_start_over_python),
    ),
    Measure(
        "swept",
        "traces swept and compared with the reference, in process, a second",
        "at least 4,000",
        hunting.swept_a_second,
    ),
    Measure(
        "drawn",
        "traces drawn by Hypothesis and compared with the reference, in process, a second",
        "at least 600",
        hunting.drawn_a_second,
    ),
    Measure(
        "sent",
        "swept traces that the example in C answers over `exec:`, a second",
        "at least 100",
        lambda: hunting.sent_a_second(example().spec),
    ),
    Measure(
        "log-read",
        "a month's log in CSV, one row a second, read : parsed by pyarrow alone",
        "at most 3",
        logs.read_over_arrow,
    ),
    Measure(
        "log-judge",
        "rows of a year's log judged a second, once it is read",
        "at least 5 million",
        lambda: logs.judged_a_second(rounded=False),
    ),
    Measure(
        "log-sparse",
        "the same where the log is rounded and may lack samples",
        "no target",
        lambda: logs.judged_a_second(rounded=True),
    ),
    Measure(
        "verify",
        "`fullproof verify` of the example in C, all vectors, its compiling included",
        "under 5 s",
        lambda: _command("verify"),
    ),
    Measure("help", "`fullproof --help`", "under 0.3 s", lambda: _command("--help")),
    *(
        Measure(f"start-{name}", f"{what} : `python -c 'import click'`", target, _started(name))
        for name, what, target in (
            ("version", "`fullproof --version`", "at most 1.5"),
            ("help", "`fullproof --help`", "at most 1.5"),
            ("verify-help", "`fullproof verify --help`", "at most 3"),
            ("settings", "`fullproof settings`", "at most 3"),
            ("ctrl", "`import ctrl`", "at most 2"),
            ("harness", "`import harness`", "at most 1"),
        )
    ),
    Measure(
        "sample",
        "compiled replay, a sample",
        "no target",
        lambda: _per_sample(workload.replay_year, workload.YEAR_S),
    ),
    Measure(
        "step",
        "reference, a sample",
        "no target",
        lambda: _per_sample(workload.by_reference, workload.PART),
    ),
)


def main(chosen: list[str]) -> int:
    """Print the lines as they are measured; return the exit code."""
    known = [measure.name for measure in MEASURES]
    unknown = [name for name in chosen if name not in known]
    if unknown:
        print(
            f"there is no row {', '.join(unknown)}; there are {', '.join(known)}", file=sys.stderr
        )
        return 2
    print("| what | measured | target |")
    print("|---|---|---|")
    for measure in MEASURES:
        if not chosen or measure.name in chosen:
            begin = time.perf_counter()
            line = f"| {measure.what} | {measure.taken()} | {measure.target} |"
            print(line, flush=True)
            print(f"{measure.name}: {time.perf_counter() - begin:.0f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
