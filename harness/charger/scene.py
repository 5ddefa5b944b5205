"""Build the trace of a case sample by sample, in the words of a story."""

from __future__ import annotations

from collections.abc import Sequence
from math import nan
from typing import Any

import numpy as np
from attrs import evolve, frozen

from ctrl.charger import ChargerSettings
from ctrl.vocabulary import Stage
from harness.cases.builder import MOST_SAMPLES, NotApplicableError
from harness.charger.case import OWN_COLUMNS, PACK_COLUMNS, ChargerTrace
from harness.charger.fit import Fit

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
BELOW = (53.35, 12.0)
# Its own voltage is near every right set-point for 56 V, and its current far below the limit.
HOLDS = (56.05, 10.0)
PACK = Says()
HUT = ChargerSettings()
TWO = ChargerSettings(packs=2)
# With steep slopes every right charger is where it is asked to be after half a minute.
QUICK = ChargerSettings(raise_v_per_s=1.0, raise_a_per_s=20.0)


class Scene:
    """Samples, one after the other; time goes on by itself.

    Stories are written in the numbers of the settings for which they are shipped. For other settings
    each number is moved to where it means the same.

    Attributes:
        settings: those for which the story is written.
        fit: moves its numbers to the settings of the case.
        t: stamp of the last sample, s.
        cycles: samples before which the charger loses power.
    """

    def __init__(
        self, settings: ChargerSettings, step_s: float = 1.0, fitted: ChargerSettings | None = None
    ) -> None:
        """Begin at t = 0.

        Args:
            settings: those for which the story is written.
            step_s: how far samples are apart, s.
            fitted: the settings of the case, where they are others.

        Raises:
            NotApplicableError: the story cannot be told for these.
        """
        self.settings = settings
        self.fit = Fit(settings, settings if fitted is None else fitted)
        self._step_s = self.fit.step_s(step_s)
        self.t = -self._step_s
        self.cycles: list[int] = []
        self._last = [self.fit.says(NOTHING)] * settings.packs
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

        Raises:
            NotApplicableError: there would be more samples than anybody reads.
        """
        count = round(self.fit.seconds(seconds) / self._step_s)
        if len(self) + count > MOST_SAMPLES:
            raise NotApplicableError(
                f"with these settings it would have more than {MOST_SAMPLES} samples"
            )
        for _ in range(count):
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
        passed_s = self._step_s if after_s is None else self.fit.gap_s(after_s)
        if not stamped:
            passed_s = 0.0
        self.t += passed_s
        row = []
        asked_v = nan
        for p, told in enumerate(packs):
            if told is None:
                says = self._last[p].but(age_s=self._last[p].age_s + max(passed_s, 0.0))
            else:
                asked_v = told.request_v
                says = self.fit.says(told)
                if flicker:
                    says = says.but(pack_a=says.pack_a + FLICKER_A * (len(self) % 2))
            if stamped:
                self._last[p] = says
            row.append(says)
        own_v, own_a = self.fit.read_v(own[0], asked_v), self.fit.current_a(own[1])
        self._own.append((self.t if stamped else nan, own_v, own_a))
        self._said.append(self.fit.shared(row))
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

    def trace(self) -> ChargerTrace:
        """The samples so far."""
        own = np.array(self._own, dtype=np.float64)
        columns: dict[str, Any] = {name: own[:, k] for k, name in enumerate(OWN_COLUMNS)}
        for column in PACK_COLUMNS:
            values = [[getattr(says, column) for says in row] for row in self._said]
            columns[column] = np.array(values, np.int8 if column == "stage" else np.float64)
        return ChargerTrace(**columns)
