"""The closed loop: controllers decide, the bank asks, the charger obeys, the packs answer.

`simulate` takes any attached controllers, one a pack, and hands them one sample at a time. With
the reference alone it runs the same loop compiled (`harness.world.fast`), which gives the same
numbers many times faster. Beside them the code of a charger may be under test: then it decides what
the charger of the world does, sample by sample too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isfinite, nan
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve

from ctrl.resets import VOLTAGE_AFTER_HOLD
from ctrl.settings import Settings
from ctrl.state import Request
from ctrl.vocabulary import Stage
from harness.attach.base import Attachment, LinkFault
from harness.attach.reference import ReferenceAttachment
from harness.errors import InputError
from harness.run import Floats, Identity, Trace
from harness.world import book, meter, turn
from harness.world.bank import World
from harness.world.book import Book
from harness.world.compiling import kernel
from harness.world.outcome import Outcome
from harness.world.result import Result, Stop
from harness.world.turn import Now, Rig

if TYPE_CHECKING:
    from ctrl.charger import ChargerSettings
    from harness.charger.attach import ChargerAttachment
    from harness.world.tested_charger import TestedCharger

# Called with the time that has been run, s.
Progress = Callable[[float], None]
PROGRESS_S = 600.0
# Entries of an answer: what was said, NaN where nothing was, and what holds in its place.
STAGE, SOC, RESET, TOLD_V, TOLD_A, HELD_V, HELD_A = range(7)
ANSWER_ENTRIES = 7


@kernel(*turn.SOURCES, __file__)
def turn_once(rig: Rig, now: Now, k: int) -> int:
    """`harness.world.turn.turn` for a caller that is not compiled."""
    return turn.turn(rig, now, k)


@kernel(*turn.SOURCES, book.__file__, __file__)
def take_answers(rig: Rig, now: Now, kept: Book, events: Floats, answers: Floats, k: int) -> int:
    """Write down and heed the answers to the samples of step `k`; returns how many events."""
    happened = 0
    for p in range(len(now.due)):
        for j in range(now.due[p]):
            reading, said = now.readings[p, j], answers[p, j]
            stage, soc, reset = int(said[STAGE]), said[SOC], said[RESET]
            book.keep_sample(kept, p, reading, stage, soc, reset, said[TOLD_V], said[TOLD_A])
            if book.keep_event(events[happened], now, p, reading, stage, soc, reset):
                happened += 1
            cell_v = reading[meter.READ_CELL_V]
            turn.heed(now, rig, p, stage, soc, said[HELD_V], said[HELD_A], cell_v)
    book.keep(kept, now, rig.numbers[turn.STEP_S], k)
    return happened


class Controllers:
    """The controllers of a bank, each handed one sample at a time."""

    def __init__(self, world: World, attachments: Sequence[Attachment]) -> None:
        """Start them; raises `LinkFault` and `Refused` as they do, and `InputError`."""
        if len(attachments) != len(world.packs):
            raise InputError(
                f"{len(attachments)} controllers for {len(world.packs)} packs",
                column="controllers",
                hint="one for each pack",
            )
        if len({id(one) for one in attachments}) < len(attachments):
            raise InputError(
                "one controller for several packs", column="controllers", hint="one for each"
            )
        self.attachments = attachments
        self.identities = tuple(attachment.hello() for attachment in attachments)
        self.settings = tuple(
            _settings_in_force(branch.settings, identity)
            for branch, identity in zip(world.packs, self.identities, strict=True)
        )
        for attachment, settings, branch in zip(
            attachments, self.settings, world.packs, strict=True
        ):
            attachment.start(settings, branch.starting_soc)
        self.readings = [
            (branch.meter.reads_cells, branch.meter.reads_temperature) for branch in world.packs
        ]

    def answer(self, p: int, reading: Floats, into: Floats) -> None:
        """Hand a sample to the controller of a pack; raises `LinkFault`."""
        cells, temperatures = self.readings[p]
        columns = [reading[k : k + 1].copy() for k in range(meter.TRUE_S)]
        t, v, i, cell_v, coldest_c, hottest_c = columns
        said = self.attachments[p].run(
            Trace(
                t,
                v,
                i,
                cell_max_v=cell_v if cells else None,
                temp_c=coldest_c if temperatures else None,
                temp_max_c=hottest_c if temperatures else None,
            )
        )
        stage = Stage(int(said.stage[0]))
        into[STAGE], into[SOC] = stage, _first(said.soc)
        into[RESET] = -1.0 if said.full_reset is None else float(said.full_reset[0])
        into[TOLD_V], into[TOLD_A] = _first(said.voltage_request_v), _first(said.current_request_a)
        rules = _asked_by_rules(self.settings[p], stage)
        into[HELD_V] = into[TOLD_V] if isfinite(into[TOLD_V]) else rules.voltage_v
        into[HELD_A] = into[TOLD_A] if isfinite(into[TOLD_A]) else rules.current_a


def _settings_in_force(wanted: Settings, identity: Identity) -> Settings:
    return wanted if identity.fixed is None else identity.fixed


def _first(column: Floats | None) -> float:
    return nan if column is None else float(column[0])


def _asked_by_rules(settings: Settings, stage: Stage) -> Request:
    limits = settings.limits
    if stage is Stage.FLOAT:
        return limits.asked_in_float
    if stage is Stage.EQUALISATION:
        return limits.asked_in_equalisation
    return limits.asked_while_inhibited if stage is Stage.INHIBITED else limits.asked_in_charge


def simulate(
    world: World,
    attachments: Sequence[Attachment] | None = None,
    *,
    charger: ChargerAttachment | None = None,
    charger_settings: ChargerSettings | None = None,
    progress: Progress | None = None,
) -> Result:
    """Run a world in closed loop.

    Args:
        world: what to run.
        attachments: one controller a pack; None for the reference, compiled where it can be.
        charger: whose decisions the charger of the world carries out; None for its own.
        charger_settings: of that one; None for those that fit the world.
        progress: called every ten minutes of the world with the time that has been run, s.

    Returns:
        What came of it; where a controller, the charger under test or the physics failed, `stop`
        says why, and what ran until then is kept.

    Raises:
        LinkFault: a controller or the charger under test would not start.
        InputError: not one controller for each pack, or settings for another number of packs.
    """
    if attachments is None and charger is None:
        # Loading what is compiled of the controllers takes its time.
        from harness.world.fast import simulate_compiled

        return simulate_compiled(world, progress=progress)
    if attachments is None:
        attachments = [ReferenceAttachment("ref", VOLTAGE_AFTER_HOLD, 1.0) for _ in world.packs]
    controllers = Controllers(world, attachments)
    outcome = Outcome(world, controllers.identities)
    if charger is None:
        return _looped(world, controllers, outcome, None, progress)
    from harness.world.tested_charger import TestedCharger

    tested = TestedCharger(world, outcome, charger, charger_settings)
    result = _looped(world, controllers, outcome, tested, progress)
    return evolve(result, charger=tested.run())


def _looped(
    world: World,
    controllers: Controllers,
    outcome: Outcome,
    tested: TestedCharger | None,
    progress: Progress | None,
) -> Result:
    rig, now, kept = outcome.rig, outcome.now, outcome.kept
    packs = len(world.packs)
    answers = np.full((packs, turn.MOST_SAMPLES, ANSWER_ENTRIES), nan)
    events = np.empty((packs * turn.MOST_SAMPLES, book.EVENT_COLUMNS))
    next_progress_s = 0.0
    for k in range(world.steps):
        if progress is not None and k * world.interval_s >= next_progress_s:
            progress(k * world.interval_s)
            next_progress_s += PROGRESS_S
        stop = None if tested is None else tested.decide(k)
        if stop is not None:
            return outcome.ended(k, stop)
        code = turn_once(rig, now, k)
        if code != 0:
            return outcome.stopped_by_physics(code, k)
        stop = _ask(controllers, now, answers, k, world.interval_s)
        happened = take_answers(rig, now, kept, events, answers, k)
        outcome.add(events[:happened])
        if stop is not None:
            return outcome.ended(k + 1, stop)
        outcome.ask_bank((k + 1) * world.interval_s)
    if progress is not None:
        progress(world.steps * world.interval_s)
    return outcome.ended(world.steps, None)


def _ask(controllers: Controllers, now: Now, answers: Floats, k: int, step_s: float) -> Stop | None:
    """Hand every sample that is due to its controller; where one fails, the rest is left out."""
    due = now.due
    for p in range(len(due)):
        for j in range(due[p]):
            try:
                controllers.answer(p, now.readings[p, j], answers[p, j])
            except LinkFault as fault:
                due[p], due[p + 1 :] = j, 0
                reading = now.readings[p, j].tolist()
                names = ("t", "v", "i", "cell_max_v", "temp_c", "temp_max_c")
                return Stop(
                    step=k,
                    t=k * step_s,
                    reason=str(fault),
                    inputs=dict(zip(names, reading, strict=False)),
                    pack=p,
                    fault=fault,
                )
    return None
