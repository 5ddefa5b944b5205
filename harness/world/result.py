"""What came of a run: what was true, what was seen, what happened, and the sums of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from ctrl.vocabulary import Stage
from harness.attach.base import LinkFault
from harness.charger.case import ChargerRun
from harness.run import Answers, Identity, Trace
from harness.world.bank import World
from harness.world.network import Bound

Floats = npt.NDArray[np.float64]
# Who failed, in place of the index of a pack.
OF_PHYSICS, OF_CHARGER = -1, -2


@frozen
class Event:
    """Something that happened.

    Attributes:
        t: when, s since the start.
        name: `hold_started`, `full_reset`, `full_denied`, `hold_abandoned`, `float_ended`,
            `inhibited`, `released`, `equalisation_started`, `equalisation_ended`,
            `equalisation_abandoned`, `stage_changed` of a pack; `bank_asks` of the bank.
        pack: index of the pack; -1 for the bank.
        from_stage: stage of its controller before; None for the bank.
        to_stage: and after.
        true_soc: true SoC of the pack at that moment; None for the bank.
        counted_before: what its controller counted before it; None where it does not say.
        counted_after: and after it.
        voltage_v: what its controller read, or what the bank asks for, V.
        current_a: what the bank asks for, A; None for a pack.
    """

    t: float
    name: str
    pack: int
    from_stage: Stage | None = None
    to_stage: Stage | None = None
    true_soc: float | None = None
    counted_before: float | None = None
    counted_after: float | None = None
    voltage_v: float | None = None
    current_a: float | None = None


@frozen
class Reset:
    """A full reset.

    Attributes:
        t: when, s since the start.
        true_soc: true SoC of the pack at that moment.
        counted_before: what its controller counted before it; None where it does not say.
    """

    t: float
    true_soc: float
    counted_before: float | None

    @property
    def error(self) -> float:
        """By how much the count is too high right after it, a fraction."""
        return 1.0 - self.true_soc


@frozen
class Stop:
    """Why a run ended early; everything before that moment is kept.

    Attributes:
        step: number of the step, from 0.
        t: when the step began, s since the start.
        reason: in plain words.
        inputs: what the step was given, by name.
        pack: index of the pack whose controller failed; `OF_PHYSICS`, or `OF_CHARGER` for the
            charger under test.
        fault: what controller or charger did wrong; None for the physics.
    """

    step: int
    t: float
    reason: str
    inputs: Mapping[str, Any] = field(factory=dict)
    pack: int = OF_PHYSICS
    fault: LinkFault | None = None


@frozen
class PackSummary:
    """The sums of one pack.

    Attributes:
        name: of the pack.
        resets: its full resets.
        denials: holds that ended in float without one.
        true_soc: at the end, the mean of its cells.
        counted_soc: what its controller counts at the end; None where it does not say.
        above_float_h: time at which the pack stood above its float voltage, h.
        in_wh: energy that went in at its terminals, Wh.
        out_wh: energy that came out, Wh.
        stored_wh: by how much the energy of its cells at rest has grown, Wh.
        in_ah: charge that went in, Ah.
        out_ah: charge that came out, Ah.
        stage_h: time in each stage, h, by its word.
        highest_v: highest voltage at its terminals, V.
        lowest_v: lowest, V.
        highest_cell_v: highest voltage of a cell, V.
        gassed_ah: charge that went into gas in each of its cells, on average, Ah.
    """

    name: str
    resets: tuple[Reset, ...]
    denials: int
    true_soc: float
    counted_soc: float | None
    above_float_h: float
    in_wh: float
    out_wh: float
    stored_wh: float
    in_ah: float
    out_ah: float
    stage_h: Mapping[str, float]
    highest_v: float
    lowest_v: float
    highest_cell_v: float
    gassed_ah: float

    @property
    def error(self) -> float | None:
        """Counted less true SoC at the end, a fraction; None where nothing is counted."""
        return None if self.counted_soc is None else self.counted_soc - self.true_soc

    @property
    def lost_wh(self) -> float:
        """Energy that became heat, or was drawn by the pack itself, Wh."""
        return self.in_wh - self.out_wh - self.stored_wh


@frozen
class BankSummary:
    """The sums of a whole run.

    Attributes:
        packs: of each pack.
        ran_s: how long it ran, s.
        charger_wh: what the charger gave at its terminals, Wh.
        load_wh: what the loads took at the bus, Wh.
        denied_wh: what the loads wanted while the inverter had given up, Wh.
        sun_wh: what the sun would have given, Wh; None where there is none.
    """

    packs: tuple[PackSummary, ...]
    ran_s: float
    charger_wh: float
    load_wh: float
    denied_wh: float
    sun_wh: float | None

    @property
    def all_reset(self) -> bool:
        """Whether every pack has had a full reset."""
        return all(pack.resets for pack in self.packs)


@frozen(eq=False)
class BankRows:
    """The bus and the charger at the end of each kept step; each of shape (kept,).

    Attributes:
        t: s since the start.
        bus_v: voltage of the bus, V.
        charger_v: at the charger's terminals, V.
        charger_a: its current, A.
        set_v: its set-point, V, as its own meter shows it.
        load_a: current of the loads, A.
        sun_w: power of the sun, W; infinity where it never runs dry.
        bound: `Bound` that holds the charger's current.
    """

    t: Floats
    bus_v: Floats
    charger_v: Floats
    charger_a: Floats
    set_v: Floats
    load_a: Floats
    sun_w: Floats
    bound: npt.NDArray[np.int8]

    @property
    def power_w(self) -> Floats:
        """What the charger gives at its terminals, W."""
        return self.charger_v * self.charger_a

    def bounded_by(self, bound: Bound) -> npt.NDArray[np.bool_]:
        """Where this is what holds the charger's current."""
        held: npt.NDArray[np.bool_] = self.bound == int(bound)
        return held


@frozen(eq=False)
class Samples:
    """What one controller saw and said, in the order in which it took the samples.

    Attributes:
        true_t: when the samples were taken, s since the start.
        trace: what it saw, stamped by its own clock.
        answers: what it said.
    """

    true_t: Floats
    trace: Trace
    answers: Answers

    def __len__(self) -> int:
        return len(self.true_t)


@frozen(eq=False)
class PackRows:
    """A pack at the end of each kept step; each of shape (kept,), at the times of the bank's rows.

    Attributes:
        name: of the pack.
        identity: who its controller says it is.
        true_v: at its terminals, V.
        true_a: its current, A.
        cell_max_v: highest cell, V.
        true_soc: mean of its cells.
        counted_soc: what its controller counts.
        stage: of its controller, `Stage` as int8.
        samples: every sample; None where they are not kept.
    """

    name: str
    identity: Identity
    true_v: Floats
    true_a: Floats
    cell_max_v: Floats
    true_soc: Floats
    counted_soc: Floats
    stage: npt.NDArray[np.int8]
    samples: Samples | None


@frozen(eq=False)
class Result:
    """What came of a run.

    Attributes:
        world: what was run.
        bank: bus and charger.
        packs: the packs.
        events: what happened, by time.
        summary: the sums.
        stop: why it ended early; None where it did not.
        charger: every sample that the charger under test took, and what it answered; None where
            there is none.
    """

    world: World
    bank: BankRows
    packs: tuple[PackRows, ...]
    events: tuple[Event, ...]
    summary: BankSummary
    stop: Stop | None = None
    charger: ChargerRun | None = None
