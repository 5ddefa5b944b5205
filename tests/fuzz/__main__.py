"""Fuzzes the readers: `python -m tests.fuzz --minutes 30`, one after the other, each its share.

With atheris installed what is tried next is chosen by the code that it reaches; without it, by
chance alone. Findings go into a folder, one file each beside what was said of it, and the last line
of a reader counts them. Ends with 1 where there are any.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from random import Random
from typing import Any

REPORT_EVERY_S = 2.0
READER_NAMES = (
    *("log", "log-parquet", "mapping", "trace", "charger-trace", "vector", "charger-vector"),
    *("settings-toml", "settings-json", "scenario", "study", "result", "known", "fmu-mapping"),
    *("answers", "charger-answers"),
)


class Tally:
    """Counts what one reader was given, and keeps what was found."""

    def __init__(self, name: str, into: Path, minutes: float) -> None:
        from tests.fuzz.readers import READERS
        from tests.fuzz.watch import Watch

        self.reader = READERS[name]
        self.name = name
        self._watch = Watch(self.reader)
        self._into = into
        self._found: dict[tuple[str, str], str] = {}
        self._runs = 0
        self._most_s = 60.0 * minutes
        self._reported = 0.0

    def take(self, data: bytes) -> None:
        """Give this to the reader; keep it where something is wrong that was not seen yet."""
        finding = self._watch.read(data)
        self._runs += 1
        if finding is not None and (finding.kind, finding.place) not in self._found:
            key = hashlib.sha256(data).hexdigest()[:12]
            self._found[finding.kind, finding.place] = key
            stem = self._into / f"{self.name}-{key}"
            stem.with_suffix(self.reader.suffix).write_bytes(data)
            stem.with_suffix(".why").write_text(finding.said, encoding="utf-8", errors="replace")
        now = time.monotonic()
        if now - self._reported > REPORT_EVERY_S:
            self._reported = now
            self.report()

    def warm_up(self) -> None:
        """Read every example, whatever comes of it and however long it takes."""
        with tempfile.TemporaryDirectory() as folder:
            for example in self.reader.seeds():
                place = Path(folder) / f"data{self.reader.suffix}"
                place.write_bytes(example)
                self.reader.take(place)

    @property
    def over(self) -> bool:
        """Whether the time is up."""
        return time.process_time() > self._most_s

    def take_in_time(self, data: bytes) -> None:
        """The same, and the end of the process where the time is up: the engine knows of none."""
        self.take(data)
        if self.over:
            self.report()
            os._exit(0)

    def report(self) -> None:
        """Write what there is to tell; the engine may end the process without asking."""
        told = {
            "runs": self._runs,
            "accepted": self._watch.accepted,
            "minutes": round(time.process_time() / 60.0, 2),
            "findings": [f"{kind} at {place}: {key}" for (kind, place), key in self._found.items()],
        }
        place = self._into / f"{self.name}.json"
        written = place.with_suffix(".new")
        written.write_text(json.dumps(told))
        written.replace(place)


def by_chance(tally: Tally, seed: int) -> None:
    """Changes of the examples, and changes of those, by chance alone."""
    from tests.fuzz.mutation import mutated

    chance = Random(seed)
    seeds = list(tally.reader.seeds())
    while not tally.over:
        data = chance.choice(seeds)
        for _ in range(chance.choice((1, 1, 1, 2, 4))):
            data = mutated(data, chance)
        tally.take(data)
    tally.report()


def by_coverage(name: str, into: Path, minutes: float, seed: int) -> None:
    """The same changes, kept where they reach code that was not reached before."""
    import atheris  # type: ignore[import-untyped, import-not-found, unused-ignore]

    with atheris.instrument_imports(include=["harness", "ctrl", "tomllib", "cattrs"]):
        tally = Tally(name, into, minutes)
        # What a reader imports when it is first used is loaded here, and not counted as its time.
        tally.warm_up()
    from tests.fuzz.mutation import LARGEST_BYTES, mutated

    corpus = Path(tempfile.mkdtemp(prefix="corpus-", dir=into))
    examples = tally.reader.seeds()
    for number, example in enumerate(examples):
        (corpus / f"seed-{number}").write_bytes(example)

    def change(data: bytes, largest: int, seed: int) -> bytes:
        chance = Random(seed)
        way = chance.random()
        if way < 0.1:
            return bytes(atheris.Mutate(data, largest))
        # What is kept is mostly broken already; changes of it alone would never get far.
        return mutated(chance.choice(examples) if way < 0.5 else data, chance)[:largest]

    arguments = (
        *(sys.argv[0], str(corpus), f"-max_len={LARGEST_BYTES}", "-len_control=0"),
        *(f"-seed={seed}", "-rss_limit_mb=4000", "-timeout=30", "-verbosity=0"),
        f"-artifact_prefix={into}/{name}-",
    )
    atheris.Setup(list(arguments), tally.take_in_time, custom_mutator=change)
    atheris.Fuzz()


def _engine(asked: str) -> str:
    if asked != "any":
        return asked
    try:
        import atheris  # type: ignore[import-untyped, import-not-found, unused-ignore]  # noqa: F401
    except ImportError:
        return "chance"
    return "coverage"


def _one(arguments: Any) -> int:
    into = Path(arguments.into)
    if arguments.engine == "coverage":
        by_coverage(arguments.reader[0], into, arguments.minutes, arguments.seed)
    else:
        by_chance(Tally(arguments.reader[0], into, arguments.minutes), arguments.seed)
    return 0


def _every(arguments: Any) -> int:
    """Each reader in a process of its own: one may take all memory, or end it."""
    names = arguments.reader or list(READER_NAMES)
    engine = _engine(arguments.engine)
    into = Path(arguments.into or tempfile.mkdtemp(prefix="fullproof-fuzz-"))
    into.mkdir(parents=True, exist_ok=True)
    print(f"engine: {engine}; findings go to {into}", flush=True)
    wrong = 0
    for name in names:
        command = [sys.executable, "-m", "tests.fuzz", "--alone", "--reader", name]
        command += ["--minutes", str(arguments.minutes / len(names)), "--engine", engine]
        command += ["--seed", str(arguments.seed), "--into", str(into)]
        with (into / f"{name}.log").open("wb") as log:
            ended = subprocess.run(command, stdout=log, stderr=log, check=False).returncode
        place = into / f"{name}.json"
        told: dict[str, Any] = {"runs": 0, "findings": []}
        if place.exists():
            told = json.loads(place.read_text())
        if ended:
            told["findings"].append(f"the process ended with {ended}, see {name}.log")
        wrong += len(told["findings"])
        print(f"{name:16} {told['runs']:9} runs, {told.get('accepted', 0)} read, "
              f"{told.get('minutes', 0):5} min, {len(told['findings'])} findings", flush=True)  # fmt: skip
        for finding in told["findings"]:
            print(f"  {finding}", flush=True)
    return 1 if wrong else 0


def main() -> int:
    """One command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=30.0, help="of processor time, in all")
    parser.add_argument(
        "--reader", choices=READER_NAMES, action="append", help="only this; repeatable"
    )
    parser.add_argument("--engine", choices=("any", "coverage", "chance"), default="any")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--into", help="where findings go; a new folder otherwise")
    parser.add_argument("--alone", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    return _one(arguments) if arguments.alone else _every(arguments)


if __name__ == "__main__":
    sys.exit(main())
