"""A trace that grows sample by sample, with a charger that goes along.

What the charger reads at its own terminals, and what packs read behind the line, follows from what it
answered. Whoever goes along makes the difference: with the reference the trace is the same for every
charger under test, and its answers come for free; with the charger under test it is a closed loop.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import nan
from typing import Any

import numpy as np
from attrs import evolve

from ctrl.charger import ChargerOutput, ChargerSample, ChargerSettings, Conduct, Message
from ctrl.vocabulary import Stage
from harness.charger.attach import Stepper
from harness.charger.case import (
    NO_STAGE,
    OWN_COLUMNS,
    PACK_NUMBERS,
    ChargerAnswers,
    ChargerCase,
    ChargerTrace,
)
from harness.charger.hunting.line import Branch, terminals
from harness.charger.hunting.picks import Picks

MOST_SAMPLES = 240
USUAL_CELLS = 16
# What the highest set-point is by default for each cell, V.
HIGHEST_CELL_V = 3.625
# Stamps are kept to this many digits, below what any rule can tell.
STAMP_DIGITS = 9
FLICKER_A = 0.125
NOTHING = Message()


def cells_of(settings: ChargerSettings) -> int:
    """For how many cells in series settings are, as far as their highest voltage tells."""
    return max(round(settings.highest_v / HIGHEST_CELL_V), 1)


class Full(Exception):  # noqa: N818  no error: the trace is long enough
    """The trace has as many samples as it may have."""


class Growing:
    """The trace so far, and what its packs and its line do at the next sample.

    Attributes:
        settings: those of the case.
        picks: where choices come from.
        share: cells in series, as a share of 16.
        usual_v: what packs ask for where nothing happens, V.
        dt: sampling interval, s.
        asks: what each pack asks for and reads, with the age of its messages.
        branches: line and packs; None where readings are written down beforehand.
        holds: how far the charger's own voltage is from its set-point (V), and the share of the limit
            that it gives; where there are no branches.
        own: what its own meter reads instead, V and A; None for what is there, each.
        most_a: what can be given, whatever the limit, A: a small sun.
        every: so many samples from one message to the next.
        flickers: whether the currents that packs read differ a little from sample to sample.
        said: what was answered last.
    """

    def __init__(self, settings: ChargerSettings, charger: Stepper, picks: Picks) -> None:
        """Begin with packs that say nothing."""
        self.settings = settings
        self.picks = picks
        self.share = cells_of(settings) / USUAL_CELLS
        self.usual_v = 56.0 * self.share
        self.dt = 1.0
        self.t = 0.0
        usual = Message(self.usual_v, 50.0, self.usual_v - 2.75 * self.share, 20.0, 0.25)
        self.asks = [usual] * settings.packs
        self.branches: tuple[Branch, ...] | None = None
        self.holds = (-2.0, 0.25)
        self.own: tuple[float | None, float | None] = (None, None)
        self.most_a = 1e9
        self.every = 1
        self.flickers = True
        self.said = ChargerOutput(settings.fallback_v, 0.0, Conduct.STOPPED)
        self._charger = charger
        self._shown = [NOTHING] * settings.packs
        self._own: list[tuple[float, float, float]] = []
        self._messages: list[list[Message]] = []
        self._answers: list[ChargerOutput] = []
        self._cycles: list[int] = []

    def __len__(self) -> int:
        return len(self._own)

    def samples(self, seconds: float) -> int:
        """How many samples so many seconds are, one at least."""
        return max(round(seconds / self.dt), 1)

    def go(
        self,
        count: int,
        *,
        packs: Sequence[Message | None] | None = None,
        first_after_s: float | None = None,
        stamped: bool = True,
    ) -> None:
        """So many samples more.

        Args:
            count: how many.
            packs: what each pack says at each of them, None for one that says nothing new; left out
                for what they ask.
            first_after_s: the distance of the first one from the one before, s; negative where the
                stamp steps back.
            stamped: whether they have a stamp.

        Raises:
            Full: the trace is long enough.
        """
        for k in range(count):
            after_s = first_after_s if k == 0 and first_after_s is not None else self.dt
            self._sample(packs, after_s if stamped else 0.0, stamped)

    def power_cycle(self) -> None:
        """The charger loses power before the next sample."""
        if len(self) and len(self) not in self._cycles:
            self._cycles.append(len(self))
            self._charger.power_cycle()
            self.said = ChargerOutput(self.settings.fallback_v, 0.0, Conduct.STOPPED)

    def _sample(
        self, packs: Sequence[Message | None] | None, after_s: float, stamped: bool
    ) -> None:
        if len(self) >= MOST_SAMPLES:
            raise Full
        if len(self):
            self.t = round(self.t + after_s, STAMP_DIGITS)
        own_v, own_a, reads = self._readings()
        says: list[Message | None] = list(self.asks) if packs is None else list(packs)
        if packs is None and self.every > 1 and len(self) % self.every:
            says = [None] * len(says)
        row = []
        for p, message in enumerate(says):
            if message is None:
                shown = self._shown[p]
                told = evolve(shown, age_s=shown.age_s + max(after_s, 0.0))
            else:
                told = message
                if reads is not None and message is self.asks[p]:
                    told = evolve(told, pack_v=reads[p][0], pack_a=reads[p][1])
                if self.flickers:
                    told = evolve(told, pack_a=told.pack_a + FLICKER_A * (len(self) % 2))
            if stamped:
                self._shown[p] = told
            row.append(told)
        stamp = self.t if stamped else nan
        self.said = self._charger.step(ChargerSample(stamp, own_v, own_a, tuple(row)))
        self._own.append((stamp, own_v, own_a))
        self._messages.append(row)
        self._answers.append(self.said)

    def _readings(self) -> tuple[float, float, list[tuple[float, float]] | None]:
        """The charger's own voltage and current, and those of each pack where there is a line."""
        limit_a = min(self.said.limit_a, self.most_a)
        reads = None
        if self.branches is None:
            above_v, share = self.holds
            own_v, own_a = self.said.set_point_v + above_v, share * self.said.limit_a
        else:
            own_v, own_a = terminals(self.branches, self.said.set_point_v, limit_a)
            currents = [branch.current_a(own_v) for branch in self.branches]
            pairs = zip(self.branches, currents, strict=True)
            reads = [(round(b.reads_v(a), 4), round(a, 3)) for b, a in pairs]
        own_v = round(own_v, 4) if self.own[0] is None else self.own[0]
        own_a = round(own_a, 3) if self.own[1] is None else self.own[1]
        return own_v, own_a, reads

    def case(self, name: str) -> tuple[ChargerCase, ChargerAnswers]:
        """The case that it has come to, and what was answered on the way."""
        own = np.array(self._own, dtype=np.float64)
        columns: dict[str, Any] = {n: own[:, k] for k, n in enumerate(OWN_COLUMNS)}
        for column in PACK_NUMBERS:
            rows = [[getattr(message, column) for message in row] for row in self._messages]
            columns[column] = np.array(rows, dtype=np.float64)
        columns["stage"] = np.where(np.isfinite(columns["age_s"]), int(Stage.BULK), NO_STAGE)
        columns["stage"] = columns["stage"].astype(np.int8)
        case = ChargerCase(
            name,
            self.settings,
            ChargerTrace(**columns),
            power_cycles=tuple(k for k in self._cycles if k < len(self)),
        )
        answers = ChargerAnswers(
            np.array([said.set_point_v for said in self._answers]),
            np.array([said.limit_a for said in self._answers]),
            np.array([int(said.state) for said in self._answers], dtype=np.int8),
        )
        return case, answers
