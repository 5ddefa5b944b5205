"""Work that costs nothing, and some that goes wrong: in a module that worker processes can import."""

from __future__ import annotations

import os
import signal
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

Columns = dict[str, npt.NDArray[Any]]
ARMS = 3


def rows_of_banks(banks: range) -> Columns:
    """A row for each bank and arm, of numbers that belong to the bank."""
    bank = np.repeat(np.array(banks, np.int64), ARMS)
    arm = np.tile(np.arange(ARMS, dtype=np.int16), len(banks))
    drawn = [np.random.default_rng([7, number]).random(ARMS) for number in banks]
    return {
        "bank": bank,
        "arm": arm,
        "value": np.concatenate(drawn),
        "stopped": np.zeros(len(bank), np.int8),
    }


def item_of(banks: int, an_item: int, item: int) -> Columns:
    """The rows of an item of `an_item` banks, the last one of what is left."""
    return rows_of_banks(range(item * an_item, min(banks, (item + 1) * an_item)))


def two_banks(item: int) -> Columns:
    return item_of(10**9, 2, item)


def killed_once(folder: Path, bad: tuple[int, ...], item: int) -> Columns:
    """Kills its process the first time that it is asked for one of the bad items."""
    note(folder, item)
    if item in bad and times(folder, item) == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return two_banks(item)


def always_killed(bad: int, item: int) -> Columns:
    if item == bad:
        os.kill(os.getpid(), signal.SIGKILL)
    return two_banks(item)


def ends_as_if_well(bad: int, item: int) -> Columns:
    if item == bad:
        os._exit(0)
    return two_banks(item)


def leaves(bad: int, item: int) -> Columns:
    if item == bad:
        raise SystemExit(0)
    return two_banks(item)


class UnsendableError(Exception):
    """An error that cannot be read where it is sent to."""

    def __init__(self, one: int, other: int) -> None:
        super().__init__(f"{one} is not {other}")


def raises(folder: Path, bad: int, item: int) -> Columns:
    note(folder, item)
    if item == bad:
        raise UnsendableError(item, 0)
    return two_banks(item)


def slow(folder: Path, seconds: float, item: int) -> Columns:
    note(folder, item)
    time.sleep(seconds)
    return two_banks(item)


def threads_here(_: int) -> Columns:
    import numba

    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    told = [int(os.environ.get(name, 0)) for name in names]
    return {"threads": np.array([*told, numba.get_num_threads()])}


def killed_while_answering(megabytes: int) -> Columns:
    """Its process is killed when a part of the answer is on its way, and the rest is not."""
    size = megabytes * 131_072

    def kill() -> None:
        time.sleep(0.02)
        os.kill(os.getpid(), signal.SIGKILL)

    class Answer:
        def __reduce__(self) -> Any:
            threading.Thread(target=kill, daemon=True).start()
            return np.zeros, (1,)

    return {"value": np.zeros(size), "last": Answer()}  # type: ignore[dict-item]


def note(folder: Path, item: int) -> None:
    """Leave a mark of being asked for an item, whatever becomes of it."""
    (folder / f"{item}.{os.getpid()}.{time.monotonic_ns()}").touch()


def times(folder: Path, item: int) -> int:
    """How often an item was asked for."""
    return len(list(folder.glob(f"{item}.*")))


def processes(folder: Path) -> set[int]:
    """Which processes were asked for anything."""
    return {int(path.name.split(".")[1]) for path in folder.iterdir()}
