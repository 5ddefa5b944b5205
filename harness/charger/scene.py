"""Build the trace of a case sample by sample, in the words of a story."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import nan
from typing import Any

import numpy as np
from attrs import evolve, frozen

from ctrl.charger import ChargerSettings
from ctrl.vocabulary import Stage
from harness.charger.case import OWN_COLUMNS, PACK_COLUMNS, ChargerCase, ChargerTrace

# Two readings that follow each other differ by this, A: what never differs is frozen.
FLICKER_A = 0.1
# A message is this old when the charger looks at it, s.
ON_TIME_S = 0.25


@frozen
class Says:
    """What one pack says in a message: requests, readings, and how old it is at the sample, s."""

    request_v: float = 56.0
    request_a: float = 50.0
    pack_v: float = 53.2
    pack_a: float = 20.0
    age_s: float = ON_TIME_S
    stage: Stage = Stage.BULK

    def but(self, **changes: Any) -> Says:
        """The same with some numbers changed."""
        return evolve(self, **changes)


NOTHING = Says(nan, nan, nan, nan, nan)
# What the charger reads at its own terminals while its set-point is not what bounds the charge.
BELOW = (53.5, 12.0)
# Its own voltage is near every right set-point for 56 V, and its current far below the limit.
HOLDS = (56.05, 10.0)
PACK = Says()
HUT = ChargerSettings()
TWO = ChargerSettings(packs=2)


class Scene:
    """Samples, one after the other; time goes on by itself.

    Attributes:
        settings: those of the case.
        t: stamp of the last sample, s.
        cycles: samples before which the charger loses power.
    """

    def __init__(self, settings: ChargerSettings, step_s: float = 1.0) -> None:
        """Begin at t = 0; samples are `step_s` apart."""
        self.settings = settings
        self.t = -step_s
        self.cycles: list[int] = []
        self._step_s = step_s
        self._last = [NOTHING] * settings.packs
        self._own: list[tuple[float, float, float]] = []
        self._said: list[list[Says]] = []

    def __len__(self) -> int:
        return len(self._own)

    def add(
        self,
        seconds: float,
        *packs: Says | None,
        own: tuple[float, float] = BELOW,
        flicker: bool = True,
        stamped: bool = True,
    ) -> Scene:
        """Samples for so many seconds.

        Args:
            seconds: how long; one sample each step.
            packs: what each pack says each time; None for one that says nothing new.
            own: the charger's own voltage (V) and current (A).
            flicker: whether the currents that packs read differ a little each time.
            stamped: whether the samples have a stamp.
        """
        for _ in range(round(seconds / self._step_s)):
            self.sample(packs, own=own, flicker=flicker, stamped=stamped)
        return self

    def sample(
        self,
        packs: Sequence[Says | None],
        *,
        own: tuple[float, float] = BELOW,
        flicker: bool = True,
        stamped: bool = True,
        after_s: float | None = None,
    ) -> Scene:
        """One sample, `after_s` after the one before; see `add`."""
        passed_s = self._step_s if after_s is None else after_s
        if not stamped:
            passed_s = 0.0
        self.t += passed_s
        row = []
        for p, says in enumerate(packs):
            if says is None:
                says = self._last[p].but(age_s=self._last[p].age_s + max(passed_s, 0.0))
            elif flicker:
                says = says.but(pack_a=says.pack_a + FLICKER_A * (len(self) % 2))
            if stamped:
                self._last[p] = says
            row.append(says)
        self._own.append((self.t if stamped else nan, *own))
        self._said.append(row)
        return self

    def follow(self, seconds: float, *packs: Says, own: tuple[float, float] = BELOW) -> Scene:
        """Messages until the charger follows, and then for so many seconds more."""
        return self.add(self.settings.steady_s + 1.0 + seconds, *packs, own=own)

    def gap(self, seconds: float, *packs: Says | None) -> Scene:
        """One sample after a gap; negative where the stamp steps back."""
        return self.sample(packs, after_s=seconds)

    def power_cycle(self) -> Scene:
        """The charger loses power before the next sample."""
        self.cycles.append(len(self))
        return self

    def case(
        self,
        name: str,
        story: str,
        *,
        cuts: tuple[int, ...] = (),
        requirements: tuple[str, ...] = (),
    ) -> ChargerCase:
        """The case that it comes to."""
        own = np.array(self._own, dtype=np.float64)
        columns: dict[str, Any] = {name: own[:, k] for k, name in enumerate(OWN_COLUMNS)}
        for column in PACK_COLUMNS:
            values = [[getattr(says, column) for says in row] for row in self._said]
            columns[column] = np.array(values, np.int8 if column == "stage" else np.float64)
        return ChargerCase(
            name,
            self.settings,
            ChargerTrace(**columns),
            story,
            tuple(self.cycles),
            cuts,
            requirements=requirements,
        )


Story = Callable[[], Scene]
# The stories by the names of their cases, with the requirements that they are about.
STORIES: dict[str, tuple[Story, tuple[str, ...]]] = {}


def story(name: str, *requirements: str) -> Callable[[Story], Story]:
    """Keep a function as the story of a case; what it tells is its docstring."""

    def keep(told: Story) -> Story:
        STORIES[name] = told, requirements
        return told

    return keep
