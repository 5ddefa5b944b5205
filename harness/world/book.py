"""What is written down of a run while it runs, compiled: rows, samples and events."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from harness.world import charger, meter, network, rows, turn
from harness.world.bank import World
from harness.world.compiling import part
from harness.world.meter import READING_COLUMNS
from harness.world.rows import Flags, Floats
from harness.world.turn import Now, true_soc

# Rows of `Book.bank`: end of the step, bus, charger, its set-point, loads, sun, what bounds it.
T, BUS_V, CHARGER_V, CHARGER_A, SET_V, LOAD_A, SUN_W, BOUND = range(8)
BANK_ROWS = 8
# Rows of `Book.packs`.
TRUE_V, TRUE_A, CELL_MAX_V, TRUE_SOC, COUNTED_SOC, STAGE = range(6)
PACK_ROWS = 6
# Columns of a sample: those of a reading, and then what the controller answered.
ANSWER_STAGE, ANSWER_SOC, ANSWER_RESET, ANSWER_V, ANSWER_A = range(
    READING_COLUMNS, READING_COLUMNS + 5
)
SAMPLE_COLUMNS = READING_COLUMNS + 5
# Columns of an event. `BEFORE_SOC` is what was counted before the sample, `NEWS` that of the
# reference, -1 where the controller gives none; a full reset is 1, 0, or -1 where it is not told.
(
    EVENT_T, EVENT_PACK, FROM_STAGE, TO_STAGE, RESET,
    EVENT_TRUE_SOC, BEFORE_SOC, AFTER_SOC, EVENT_V,
) = range(9)  # fmt: skip
EVENT_COLUMNS = 9


class Book(NamedTuple):
    """What is written down.

    Attributes:
        bank: shape (BANK_ROWS, kept).
        packs: shape (PACK_ROWS, packs, kept).
        samples: shape (packs, kept samples, SAMPLE_COLUMNS); no samples where none are wanted.
        taken: how many samples each controller took.
        every: steps between two kept rows, and how many rows are kept.
    """

    bank: Floats
    packs: Floats
    samples: Floats
    taken: Flags
    every: Flags


def opened(world: World, *, rows_wanted: bool = True) -> Book:
    """An empty book with room for a whole run."""
    recording, count = world.recording, len(world.packs)
    every = 1
    if recording.interval_s is not None:
        every = round(recording.interval_s / world.interval_s)
    kept = world.steps // every if rows_wanted else 0
    room = 0
    if rows_wanted and recording.samples:
        room = 2 + max(int(world.duration_s / branch.meter.interval_s) for branch in world.packs)
    return Book(
        np.empty((BANK_ROWS, kept)),
        np.empty((PACK_ROWS, count, kept)),
        np.empty((count, room, SAMPLE_COLUMNS)),
        np.zeros(count, np.int64),
        np.array((every, 0), np.int64),
    )


@part
def keep(book: Book, now: Now, step_s: float, k: int) -> None:
    """Write down the end of step `k`, if it is one that is kept."""
    if book.every[1] >= book.bank.shape[1] or (k + 1) % book.every[0] != 0:
        return
    row, bank = book.every[1], now.plant.bank
    book.every[1] += 1
    book.bank[T, row] = (k + 1) * step_s
    book.bank[BUS_V, row] = bank[rows.BUS_V]
    book.bank[CHARGER_V, row] = bank[rows.CHARGER_V]
    book.bank[CHARGER_A, row] = bank[rows.CHARGER_A]
    book.bank[SET_V, row] = now.charger.entries[charger.SET_V]
    book.bank[LOAD_A, row] = now.whole[turn.LOAD_A]
    book.bank[SUN_W, row] = now.whole[turn.SUN_W]
    book.bank[BOUND, row] = int(bank[rows.NETWORK]) & network.BOUND_BITS
    for p in range(book.packs.shape[1]):
        book.packs[TRUE_V, p, row] = now.plant.packs[p, rows.TERMINAL_V]
        book.packs[TRUE_A, p, row] = now.plant.packs[p, rows.PACK_A]
        book.packs[CELL_MAX_V, p, row] = now.plant.packs[p, rows.CELL_MAX_V]
        book.packs[TRUE_SOC, p, row] = true_soc(now.plant, p)
        book.packs[COUNTED_SOC, p, row] = now.said[p, turn.SAID_SOC]
        book.packs[STAGE, p, row] = now.stages[p]


@part
def keep_sample(
    book: Book,
    p: int,
    reading: Floats,
    stage: int,
    soc: float,
    reset: float,
    voltage_v: float,
    current_a: float,
) -> None:
    """Write down a sample and the answer to it, if samples are kept."""
    row = book.taken[p]
    book.taken[p] += 1
    if row >= book.samples.shape[1]:
        return
    sample = book.samples[p, row]
    for column in range(READING_COLUMNS):
        sample[column] = reading[column]
    sample[ANSWER_STAGE], sample[ANSWER_SOC], sample[ANSWER_RESET] = stage, soc, reset
    sample[ANSWER_V], sample[ANSWER_A] = voltage_v, current_a


@part
def keep_event(
    event: Floats,
    now: Now,
    p: int,
    reading: Floats,
    stage: int,
    soc: float,
    reset: float,
) -> bool:
    """Write down that a stage changes or a full reset happens; to be called before `heed`.

    Returns:
        Whether it does; `event` then holds it, of shape (EVENT_COLUMNS,).
    """
    if stage == now.stages[p] and reset <= 0.0:
        return False
    event[EVENT_T], event[EVENT_PACK] = reading[meter.TRUE_S], p
    event[FROM_STAGE], event[TO_STAGE], event[RESET] = now.stages[p], stage, reset
    event[EVENT_TRUE_SOC] = true_soc(now.plant, p)
    event[BEFORE_SOC], event[AFTER_SOC] = now.said[p, turn.SAID_SOC], soc
    event[EVENT_V] = reading[meter.READ_V]
    return True
