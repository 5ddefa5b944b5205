"""The runs of the simulated bank behind docs/explanation/theory.md, and the numbers that it tells.

Each takes about a second once the simulated bank is compiled.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from ctrl.resets import RESET_RULES
from harness.world.fast import simulate_compiled
from harness.world.result import Event, Result
from harness.world.scenario import shipped
from harness.world.scenario_file import read
from tests.docs.theory.chart import Floats

FOLDER = Path(__file__).resolve().parent
HOUR_S = 3600.0


@cache
def never_starts() -> Result:
    """The hut through a day on which the hold never starts."""
    return simulate_compiled(read(FOLDER / "never-starts.toml").world)


@cache
def recheck(rule: str) -> Result:
    """The hut through a morning with a load in the hold, by a rule of `ctrl.resets.RESET_RULES`."""
    return simulate_compiled(read(FOLDER / "recheck.toml").world, rule=RESET_RULES[rule])


@cache
def shipped_run(name: str) -> Result:
    """A shipped scenario with the reference as every controller."""
    return simulate_compiled(shipped(name).world)


def clock_h(result: Result) -> Floats:
    """Time of day of the kept rows, h; past 24 on later days."""
    hours: Floats = (result.bank.t + result.world.start_s) / HOUR_S
    return hours


def read_v(result: Result, p: int) -> tuple[Floats, Floats]:
    """Times of day, h, and what the controller of a pack read then, V."""
    samples = result.packs[p].samples
    assert samples is not None
    return (samples.true_t + result.world.start_s) / HOUR_S, samples.trace.v


def highest_read_v(result: Result, p: int) -> float:
    """The highest voltage that the controller of a pack read, V."""
    return float(read_v(result, p)[1].max())


def events(result: Result, name: str, p: int) -> list[Event]:
    """What happened of one kind to a pack."""
    return [event for event in result.events if event.pack == p and event.name == name]


def event_h(result: Result, event: Event) -> float:
    """Time of day of an event, h."""
    return (event.t + result.world.start_s) / HOUR_S


def at(result: Result, hour: float, values: Floats) -> float:
    """The value of a row at a time of day, h."""
    return float(values[int(np.searchsorted(clock_h(result), hour))])
