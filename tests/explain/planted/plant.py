"""What a planted cause is, and what came of it in the simulated bank."""

from __future__ import annotations

import numpy as np
from attrs import evolve, field, frozen

from ctrl.compiled import replay
from ctrl.controller import start
from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.run import Answers, Floats
from harness.world.bank import World
from harness.world.fast import simulate_compiled, simulate_many
from harness.world.result import Result, Samples

CAUSES = (
    "wiring",
    "meter_offset",
    "dwell_flicker",
    "load_at_recheck",
    "cloud",
    "lead_pack_early",
    "gap",
    "drifted_counter",
    "protection",
    "wrong_settings",
    "clock_jump",
    "healthy",
)
# A hold that never ends, for a pack whose clock keeps every hold from ending.
ENDLESS_S = 1e7


@frozen
class ClockSteps:
    """The clock of one controller is set back again and again.

    Attributes:
        pack: index of the pack.
        first_s: when for the first time, s since the start.
        every_s: and then every so often, s.
        back_s: by how much, s.
    """

    pack: int
    first_s: float
    every_s: float
    back_s: float

    def stamps(self, t: Floats) -> Floats:
        """What the clock shows at true times, s."""
        steps = np.floor((t - self.first_s) / self.every_s) + 1.0
        return t - self.back_s * np.maximum(steps, 0.0)


@frozen(eq=False)
class Planted:
    """A bank with one planted cause.

    Attributes:
        name: what it is called: a slug.
        cause: one of `CAUSES`.
        pack: index of the pack in which it is planted; None where it is the whole bank, or nowhere.
        affected: packs that have no full reset because of it, or whose count is wrong.
        story: what was planted, with its strength.
        world: the bank with the cause.
        without: the same bank without it.
        clock: clock steps, which a world does not know; None for none.
        told: settings of each pack as a person would hand them in.
    """

    name: str
    cause: str
    pack: int | None
    affected: tuple[int, ...]
    story: str
    world: World
    without: World
    clock: ClockSteps | None = None
    told: tuple[Settings, ...] = field()

    @told.default
    def _as_they_are(self) -> tuple[Settings, ...]:
        return tuple(branch.settings for branch in self.world.packs)


@frozen(eq=False)
class Recorded:
    """What came of a planted cause.

    Attributes:
        result: the run; the answers of a pack with clock steps are those to its true stamps.
        samples: what each controller saw, by its own clock, and what it said.
        resets: full resets of each pack.
    """

    result: Result
    samples: tuple[Samples, ...]
    resets: tuple[int, ...]


def record(planted: Planted, world: World | None = None) -> Recorded:
    """Run a planted bank, or another world with the same clock steps.

    Clock steps are no part of a world. Bulk and absorption ask the charger for the same, so a pack
    that never leaves them does to the bank what a pack in an endless hold does. So the pack is run
    in an endless hold, then its clock is set back and the reference, with the settings that it has,
    is asked once more. This is exact up to its first full reset; what comes later is not.
    """
    world = planted.world if world is None else world
    clock = planted.clock
    result = simulate_compiled(world if clock is None else _endless(world, clock.pack))
    if result.stop is not None:
        raise RuntimeError(f"{planted.name}: the physics stopped: {result.stop.reason}")
    samples = []
    for p, pack in enumerate(result.packs):
        assert pack.samples is not None
        own = pack.samples
        if clock is not None and p == clock.pack:
            own = _by_clock(own, clock, world, p)
        samples.append(own)
    return Recorded(result, tuple(samples), tuple(map(_resets, samples)))


def resets_of(planted: Planted, world: World | None = None) -> tuple[int, ...]:
    """How many full resets each pack has, as `record` counts them, without keeping any rows."""
    world = planted.world if world is None else world
    if planted.clock is not None:
        return record(planted, world).resets
    return _resets_in(world)


def resets_without(planted: Planted) -> tuple[int, ...]:
    """How many full resets each pack has without the cause."""
    return _resets_in(planted.without)


def _resets_in(world: World) -> tuple[int, ...]:
    ((summary, _, stop),) = simulate_many([world])
    if stop is not None:
        raise RuntimeError(f"{world.name}: the physics stopped: {stop.reason}")
    return tuple(len(pack.resets) for pack in summary.packs)


def stays_in_charge(samples: Samples) -> bool:
    """Whether a controller was never anywhere but in bulk and absorption."""
    stage = samples.answers.stage
    return bool(np.all((stage == Stage.BULK) | (stage == Stage.ABSORPTION)))


def _endless(world: World, pack: int) -> World:
    packs = list(world.packs)
    endless = packs[pack].settings.changed(hold_s=ENDLESS_S)
    packs[pack] = evolve(packs[pack], settings=endless)
    return evolve(world, packs=tuple(packs))


def _by_clock(samples: Samples, clock: ClockSteps, world: World, pack: int) -> Samples:
    branch, seen = world.packs[pack], samples.trace
    trace = evolve(seen, t=clock.stamps(samples.true_t))
    said = replay(
        branch.settings,
        start(branch.starting_soc),
        *(trace.t, trace.v, trace.i, trace.cell_max_v, trace.temp_c, trace.temp_max_c),
    )
    answers = Answers(
        stage=said.stage,
        soc=said.soc,
        full_reset=said.full_reset,
        voltage_request_v=said.voltage_request_v,
        current_request_a=said.current_request_a,
    )
    return Samples(samples.true_t, trace, answers)


def _resets(samples: Samples) -> int:
    assert samples.answers.full_reset is not None
    return int(np.count_nonzero(samples.answers.full_reset))
