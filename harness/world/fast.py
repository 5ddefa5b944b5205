"""The closed loop compiled, for banks whose controllers are the reference; many of them at once.

World and controllers run without the interpreter until a controller says something that the bank
policy must hear, which happens a few times a day. Everything that it calls is what the loop in
Python calls: `harness.world.turn`, `ctrl.compiled` and `ctrl.bank`; the numbers are the same.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache, lru_cache
from math import inf
from types import ModuleType
from typing import Any

import numpy as np
from numba.typed import List

from ctrl.compiled import as_tuples, step_parts
from ctrl.controller import start
from ctrl.limits import TIME_SLACK_S
from ctrl.resets import VOLTAGE_AFTER_HOLD, ResetRule
from ctrl.settings import Settings
from ctrl.state import FULL_RESET
from harness.attach.reference import ReferenceAttachment
from harness.run import Floats, Identity
from harness.world import book, meter, turn
from harness.world.bank import World
from harness.world.book import Book
from harness.world.compiling import kernel, part
from harness.world.outcome import Outcome
from harness.world.result import BankSummary, Event, Result, Stop
from harness.world.turn import Now, Rig

_PARTS = step_parts()
_decide, _sample, _state = _PARTS.decide, _PARTS.sample, _PARTS.state
_SOURCES: tuple[ModuleType | str, ...] = (*turn.SOURCES, book.__file__, __file__, *_PARTS.sources)
# Why a stretch ended: it was run to its end, the plant cannot go on, the bank must be asked.
DONE, NO_PLANT, ASK = range(3)


@kernel(*_SOURCES)
def listed(one: Any) -> Any:
    """A list of one tuple, which can be handed to a kernel."""
    things = List()
    things.append(one)
    return things


@kernel(*_SOURCES)
def append(things: Any, one: Any) -> None:
    """Add a tuple to such a list."""
    things.append(one)


@kernel(*_SOURCES)
def fresh_states(template: Any, soc: Floats) -> Any:
    """A list of states like the first of `template`, each with its own state of charge."""
    one = template[0]
    states = List()
    for p in range(len(soc)):
        states.append(_state(soc[p], one.t, one.i, one.charge, one.watch))
    return states


@part
def take_sample(
    rig: Rig,
    now: Now,
    kept: Book,
    events: Floats,
    happened: int,
    p: int,
    j: int,
    limits: Any,
    rule: Any,
    state: Any,
) -> tuple[Any, bool, bool]:
    """Let the controller of a pack decide on sample `j` of this step, and take in its answer.

    Returns:
        Its state, whether the bank must hear of it, whether an event happened.
    """
    reading = now.readings[p, j]
    cell_v = reading[meter.READ_CELL_V]
    state, output = _decide(
        limits,
        rule,
        state,
        _sample(
            reading[meter.STAMP_S],
            reading[meter.READ_V],
            reading[meter.READ_A],
            cell_v,
            reading[meter.READ_COLDEST_C],
            reading[meter.READ_HOTTEST_C],
        ),
    )
    stage, soc, asked = output.stage.value, output.soc, output.asked
    reset = 1.0 if output.news & FULL_RESET else 0.0
    book.keep_sample(kept, p, reading, stage, soc, reset, asked.voltage_v, asked.current_a)
    happens = book.keep_event(events[happened], now, p, reading, stage, soc, reset)
    changed = turn.heed(now, rig, p, stage, soc, asked.voltage_v, asked.current_a, cell_v)
    return state, changed, happens


@kernel(*_SOURCES)
def run_stretch(
    rig: Rig,
    now: Now,
    kept: Book,
    limits: Any,
    rule: Any,
    states: Any,
    events: Floats,
    first: int,
    last: int,
    wake_s: float,
) -> tuple[int, int, int, int]:
    """Run steps `first` up to, not including, `last`, or until the bank must be asked.

    Args:
        rig: what the world is.
        now: what moves; changed in place.
        kept: what is written down.
        limits: of each controller; only one where all are set alike.
        rule: reset rule of all controllers.
        states: of each controller; changed in place.
        events: room for the events of one step.
        first: first step.
        last: the one after the last.
        wake_s: time at which the bank must be asked in any case, s.

    Returns:
        Why it ended, a `Code` of the plant, steps done up to then, events.
    """
    packs, step_s = len(now.due), rig.numbers[turn.STEP_S]
    # Packs that are set alike share one tuple: to fetch it for each of them costs a tenth of a step.
    own_limits = [limits[p] for p in range(len(limits))]
    shared = len(limits) == 1
    limits_now = limits[0]
    own_states = [states[p] for p in range(packs)]
    why, code, happened, k = DONE, 0, 0, first
    while k < last:
        code = turn.turn(rig, now, k)
        if code != 0:
            why = NO_PLANT
            break
        changed = False
        for p in range(packs):
            if not shared:
                limits_now = own_limits[p]
            for j in range(now.due[p]):
                own_states[p], heard, happens = take_sample(
                    rig, now, kept, events, happened, p, j, limits_now, rule, own_states[p]
                )
                changed |= heard
                happened += 1 if happens else 0
        book.keep(kept, now, step_s, k)
        k += 1
        if changed or k * step_s >= wake_s:
            why = ASK
            break
    for p in range(packs):
        states[p] = own_states[p]
    return why, code, k, happened


@cache
def _identity(rule: ResetRule) -> Identity:
    return ReferenceAttachment("ref", rule, 1.0).hello()


@lru_cache(maxsize=64)
def _listed(settings: tuple[Settings, ...], rule: ResetRule) -> tuple[Any, Any, Any]:
    """Limits of all packs, rule, a state: once for banks alike, since numba is slow to take tuples."""
    first, chosen, state = as_tuples(settings[0], start(0.5), rule)
    limits = listed(first)
    for one in settings[1:] if len(set(settings)) > 1 else ():
        append(limits, as_tuples(one, start(0.5), rule)[0])
    return limits, chosen, listed(state)


class _Compiled:
    """One world with the reference as its controllers."""

    def __init__(self, world: World, rule: ResetRule, *, rows_wanted: bool) -> None:
        self.world = world
        identity = _identity(rule)
        self.outcome = Outcome(world, (identity,) * len(world.packs), rows_wanted=rows_wanted)
        self.limits, self.rule, template = _listed(
            tuple(branch.settings for branch in world.packs), rule
        )
        starting = np.array([branch.starting_soc for branch in world.packs], dtype=np.float64)
        self.states = fresh_states(template, starting)
        self.events = np.empty((len(world.packs) * turn.MOST_SAMPLES, book.EVENT_COLUMNS))
        self.wake_s = inf
        self.code = 0

    def run(self, progress: Callable[[float], None] | None, stretch_steps: int) -> int:
        """Run to the end, or until the plant cannot go on; returns the steps done."""
        outcome, step_s, steps = self.outcome, self.world.interval_s, self.world.steps
        k = 0
        while k < steps:
            if progress is not None:
                progress(k * step_s)
            last = min(steps, k + stretch_steps)
            while k < last:
                why, code, k, happened = run_stretch(
                    outcome.rig, outcome.now, outcome.kept, self.limits, self.rule, self.states,
                    self.events, k, last, self.wake_s,
                )  # fmt: skip
                if why == NO_PLANT:
                    self.code = code
                    return k
                outcome.add(self.events[:happened])
                if why == ASK:
                    self._ask_bank(k * step_s)
        if progress is not None:
            progress(steps * step_s)
        return k

    def _ask_bank(self, t: float) -> None:
        self.outcome.ask_bank(t)
        # The longest wait of the bank ends without a word from any controller.
        due_s = self.outcome.waiting_since_s + self.world.bank.bank_wait_s - TIME_SLACK_S
        self.wake_s = due_s if t < due_s else inf


def simulate_compiled(
    world: World,
    *,
    rule: ResetRule = VOLTAGE_AFTER_HOLD,
    progress: Callable[[float], None] | None = None,
) -> Result:
    """Run a world whose controllers are the reference.

    Args:
        world: what to run.
        rule: the reset rule of the controllers, one of `ctrl.resets.RESET_RULES`.
        progress: called now and then with the time that has been run, s.

    Returns:
        The same as `harness.world.loop.simulate` with as many references.

    Raises:
        ValueError: another rule.
    """
    compiled = _Compiled(world, rule, rows_wanted=True)
    steps = compiled.run(progress, max(1, min(world.steps // 50, 36_000)))
    if compiled.code != 0:
        return compiled.outcome.stopped_by_physics(compiled.code, steps)
    return compiled.outcome.ended(steps, None)


def simulate_many(
    worlds: Sequence[World],
    *,
    rule: ResetRule = VOLTAGE_AFTER_HOLD,
    threads: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> list[tuple[BankSummary, tuple[Event, ...], Stop | None]]:
    """Run many worlds on all cores; only sums and events are kept.

    Args:
        worlds: what to run.
        rule: the reset rule of all controllers, one of `ctrl.resets.RESET_RULES`.
        threads: None for one a core.
        progress: called with the number of each world when it is done, in any order.

    Returns:
        Sums, events, and why it ended early, of each world in their order.

    Raises:
        ValueError: another rule.
    """

    def run(number: int) -> tuple[BankSummary, tuple[Event, ...], Stop | None]:
        world = worlds[number]
        compiled = _Compiled(world, rule, rows_wanted=False)
        steps = compiled.run(None, world.steps)
        outcome = compiled.outcome
        stop = outcome.physics_stop(compiled.code, steps) if compiled.code != 0 else None
        if progress is not None:
            progress(number)
        return outcome.summary(steps), tuple(outcome.events), stop

    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        return list(pool.map(run, range(len(worlds))))
