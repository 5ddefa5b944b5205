"""A charger under test in a world: its code decides, the charger of the world carries it out.

The charger of the world is the hardware: what it can give, its own meter, how often it acts and how
the packs reach it. In a run without a charger under test `harness.world.charger.correct` decides
what it gives. Here that never gets its turn, and set-point and limit are written where it would have
written them; the rest of the world does not notice.

A charger's meter is one meter: what it shows of the terminals and what it regulates by have the same
offset, gain and drift, and the same noise until it acts again.
"""

from __future__ import annotations

from math import inf, isfinite

import numpy as np

from ctrl.charger import ChargerSettings, Conduct
from ctrl.limits import TIME_SLACK_S
from harness.attach.base import LinkFault
from harness.charger.attach import ChargerAttachment
from harness.charger.case import (
    OWN_COLUMNS,
    PACK_COLUMNS,
    ChargerAnswers,
    ChargerCase,
    ChargerRun,
    ChargerTrace,
)
from harness.errors import InputError
from harness.world import charger as entry
from harness.world import meter, pack_messages, rows, turn
from harness.world.bank import World
from harness.world.chance import stream_key
from harness.world.fitting_charger import fitting_charger
from harness.world.meter import quantised
from harness.world.outcome import Outcome
from harness.world.pack_messages import PackMessages, exchanges, normals
from harness.world.result import OF_CHARGER, Stop

STOPPED = int(Conduct.STOPPED)


class TestedCharger:
    """The charger under test in one run."""

    # Nothing that a test runner should collect.
    __test__ = False

    def __init__(
        self,
        world: World,
        outcome: Outcome,
        attachment: ChargerAttachment,
        settings: ChargerSettings | None,
    ) -> None:
        """Start it.

        Args:
            world: the world.
            outcome: the run that begins.
            attachment: the charger under test.
            settings: its settings; None for those that fit the world.

        Raises:
            LinkFault: it would not start.
            InputError: it hears another number of packs, or cannot be told of so many.
        """
        self._world, self._attachment = world, attachment
        self._identity = attachment.hello()
        wanted = fitting_charger(world) if settings is None else settings
        self.settings = in_force(wanted, self._identity.fixed)
        if self.settings.packs != len(world.packs):
            raise InputError(
                f"a charger that hears {_packs(self.settings.packs)} in a bank of {len(world.packs)}",
                column="charger",
                hint=f"packs = {len(world.packs)}",
            )
        self._now, self._numbers = outcome.now, outcome.rig.charger.entries
        self._packs = len(world.packs)
        self._messages = PackMessages(world)
        room = exchanges(world)
        self._noise = None
        if self._numbers[entry.NOISE_V] > 0.0:
            self._noise = normals(stream_key(world.seed, entry.CHARGER_STREAM, 1), room + 1)
        self._own = {name: np.full(room, np.nan) for name in OWN_COLUMNS}
        self._of_pack = {
            name: np.full((room, self._packs), np.nan) for name in PACK_COLUMNS if name != "stage"
        }
        self._stage = np.full((room, self._packs), -1, np.int8)
        self._answers: list[ChargerAnswers] = []
        if why := attachment.cannot_be_told(self._case(0)):
            raise InputError(f"the scenario {why}", column="charger")
        attachment.start(self.settings)
        self._shown_a = np.full(self._packs, np.nan)
        self._next_s = 0.0
        self._off_v = self._off_at(0.0, 0)
        # Then the charger of the world never corrects itself.
        self._now.charger.entries[entry.NEXT_S] = inf

    def decide(self, k: int) -> Stop | None:
        """Let it decide what is given from step `k` on, where it is due; a fault ends the run."""
        self._look_at_currents()
        step_s = self._world.interval_s
        t = k * step_s
        if t < self._next_s - TIME_SLACK_S:
            return None
        while self._next_s <= t + TIME_SLACK_S:
            self._next_s += self._world.charger.interval_s
        number = len(self._answers)
        self._read_own(number, t)
        self._read_messages(number, t)
        try:
            answer = self._attachment.run(self._trace(number, number + 1))
        except LinkFault as fault:
            fault.index = number if fault.index >= 0 else fault.index
            return Stop(
                step=k,
                t=t,
                reason=str(fault),
                inputs={name: float(self._own[name][number]) for name in OWN_COLUMNS},
                pack=OF_CHARGER,
                fault=fault,
            )
        self._answers.append(answer)
        set_point_v, limit_a = float(answer.set_point_v[0]), float(answer.limit_a[0])
        self._obey(t, set_point_v, 0.0 if answer.state[0] == STOPPED else limit_a)
        return None

    def run(self) -> ChargerRun:
        """What it was told and what it answered, as a run that can be judged."""
        count = len(self._answers)
        empty = ChargerAnswers(np.empty(0), np.empty(0), np.empty(0, np.int8))
        answers = ChargerAnswers.joined(self._answers) if count else empty
        case = self._attachment.as_given(self._case(count))
        return ChargerRun(case, self._identity, answers)

    def _case(self, count: int) -> ChargerCase:
        return ChargerCase(
            id=f"{self._world.name}/charger",
            settings=self.settings,
            trace=self._trace(0, count),
            story="what the charger saw in closed loop",
        )

    def _look_at_currents(self) -> None:
        """Keep the current that each pack's meter showed last."""
        now = self._now
        for p in range(self._packs):
            for j in range(now.due[p]):
                shown_a = now.readings[p, j, meter.READ_A]
                if isfinite(shown_a):
                    self._shown_a[p] = shown_a

    def _read_own(self, number: int, t: float) -> None:
        bank = self._now.plant.bank
        # Before the first step the network has not been solved, and no current flows.
        true_v = bank[rows.CHARGER_V] if t > 0.0 else bank[rows.BUS_V]
        own = self._own
        own["t"][number] = t
        own["own_v"][number] = true_v * self._numbers[entry.GAIN] + self._off_v
        own["own_a"][number] = bank[rows.CHARGER_A] if t > 0.0 else 0.0

    def _read_messages(self, number: int, t: float) -> None:
        now = self._now
        said = np.empty((self._packs, pack_messages.MESSAGE_COLUMNS))
        said[:, pack_messages.REQUEST_V] = now.asked[0]
        said[:, pack_messages.REQUEST_A] = now.said[:, turn.SAID_A]
        said[:, pack_messages.PACK_V] = now.shown_v
        said[:, pack_messages.PACK_A] = self._shown_a
        said[:, pack_messages.STAGE] = now.stages
        lying, age_s = self._messages.exchange(number, t, said)
        of_pack = self._of_pack
        of_pack["request_v"][number] = lying[:, pack_messages.REQUEST_V]
        of_pack["request_a"][number] = lying[:, pack_messages.REQUEST_A]
        of_pack["pack_v"][number] = lying[:, pack_messages.PACK_V]
        of_pack["pack_a"][number] = lying[:, pack_messages.PACK_A]
        of_pack["age_s"][number] = age_s
        told = np.isfinite(age_s)
        self._stage[number, told] = lying[told, pack_messages.STAGE]

    def _trace(self, start: int, stop: int) -> ChargerTrace:
        own = {name: column[start:stop] for name, column in self._own.items()}
        of_pack = {name: table[start:stop] for name, table in self._of_pack.items()}
        return ChargerTrace(**own, **of_pack, stage=self._stage[start:stop])

    def _obey(self, t: float, set_point_v: float, limit_a: float) -> None:
        """What `harness.world.charger.correct` does with the set-point that it has found."""
        numbers, now = self._numbers, self._now.charger.entries
        snapped_v = quantised.py_func(set_point_v, numbers[entry.SET_PER_UNIT])  # type: ignore[attr-defined]
        now[entry.SET_V] = min(snapped_v, numbers[entry.HIGHEST_V])
        self._off_v = self._off_at(t, len(self._answers))
        now[entry.REGULATED_V] = max((now[entry.SET_V] - self._off_v) / numbers[entry.GAIN], 0.0)
        now[entry.LIMIT_A] = min(max(limit_a, 0.0), numbers[entry.CURRENT_A])

    def _off_at(self, t: float, number: int) -> float:
        """What the meter shows too much, its gain apart, V."""
        off_v = self._numbers[entry.OFFSET_V] + self._numbers[entry.DRIFT_V_PER_S] * t
        return float(
            off_v
            if self._noise is None
            else off_v + self._numbers[entry.NOISE_V] * self._noise[number]
        )


def _packs(count: int) -> str:
    return "1 pack" if count == 1 else f"{count} packs"


def in_force(wanted: ChargerSettings, fixed: object) -> ChargerSettings:
    """The settings that the charger runs with: its own where it was built with some."""
    return fixed if isinstance(fixed, ChargerSettings) else wanted
