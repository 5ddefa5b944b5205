"""What the timers and dwells of the rules show at each sample, on the stages that were reported.

They are those by which the requirements judge: each counts from the controller's own last change of
stage, whatever the reference would have done.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.rules.held import Held
from harness.rules.holds import holds_of
from harness.rules.life import Episode, Life, lives
from harness.rules.trips import causes_of
from harness.run import Floats, Run


@frozen(eq=False)
class Clock:
    """One timer or dwell.

    Attributes:
        name: what it is called for people.
        setting: the setting that says how long it has to run.
        asked_s: that setting, s.
        shows_s: what it shows at each sample, s; NaN where it does not run.
    """

    name: str
    setting: str
    asked_s: float
    shows_s: Floats

    @property
    def share(self) -> Floats:
        """What it shows as a part of what is asked; 1 where nothing is asked and it runs."""
        if self.asked_s > 0:
            parts: Floats = self.shows_s / self.asked_s
            return parts
        return np.where(np.isfinite(self.shows_s), 1.0, np.nan)


# Name and setting of every clock, in the order in which they are shown.
CLOCKS = (
    ("hold timer", "hold_s"),
    ("confirmation", "confirm_s"),
    ("wait for confirmation", "wait_limit_s"),
    ("entry dwell", "entry_dwell_s"),
    ("float timer", "float_s"),
    ("return dwell", "return_dwell_s"),
    ("trip dwell", "trip_dwell_s"),
    ("release dwell", "release_dwell_s"),
    ("empty dwell", "empty_dwell_s"),
)


def clocks(run: Run) -> tuple[Clock, ...]:
    """Every clock that runs at some sample of a run, with one value for each of its samples."""
    rows = len(run.case.trace)
    shown: dict[str, Floats] = {}
    for life in lives(run):
        for setting, first, values in _of_life(life):
            column = shown.setdefault(setting, np.full(rows, np.nan))
            numbers = first + np.arange(len(values))
            at = numbers if life.valid_rows is None else life.valid_rows[numbers]
            # Where two conditions of one clock run at once, the one that ends first is shown.
            column[life.first_row + at] = np.fmax(column[life.first_row + at], values)
    asked = {setting: getattr(run.case.settings, setting) for _, setting in CLOCKS}
    return tuple(
        Clock(name, setting, float(asked[setting]), shown[setting])
        for name, setting in CLOCKS
        if setting in shown and np.isfinite(shown[setting]).any()
    )


_Values = Iterator[tuple[str, int, Floats]]


def _of_life(life: Life) -> _Values:
    """The clocks of one life: a setting, the first sample, and what it shows from there on, s."""
    s = life.settings
    yield from _hold(life)
    entered = life.held(life.level_v >= s.entry_v, Stage.BULK)
    yield from _dwell("entry_dwell_s", entered, life.of_stage(Stage.BULK))
    low = life.held(life.level_v < s.return_v, Stage.FLOAT)
    yield from _dwell("return_dwell_s", low, life.of_stage(Stage.FLOAT))
    if s.float_s is not None:
        for episode in life.of_stage(Stage.FLOAT):
            if episode.start <= episode.last:
                t = life.t[episode.start : episode.last + 1]
                yield "float_s", episode.start, t - t[0]
    yield from _protection(life)
    if s.empty_v is not None:
        yield from _whole("empty_dwell_s", life.held(life.v <= s.empty_v))


def _hold(life: Life) -> _Values:
    s = life.settings
    for hold in holds_of(life):
        start, expires = hold.episode.start, hold.expires
        yield "hold_s", start, hold.elapsed_s
        if expires < 0:
            continue
        if s.confirm_s > 0:
            proved = hold.proved_since(expires, hold.must_prove)
            yield "confirm_s", start, _held_s(proved)
        if s.on_unconfirmed == "wait":
            yield "wait_limit_s", start + expires, hold.t[expires:] - hold.t[expires]


def _protection(life: Life) -> _Values:
    causes = causes_of(life)
    if not causes:
        return
    for cause in causes:
        yield from _whole("trip_dwell_s", cause.stretches)
    clear = np.logical_and.reduce([cause.clear for cause in causes])
    yield from _dwell(
        "release_dwell_s", life.held(clear, Stage.INHIBITED), life.of_stage(Stage.INHIBITED)
    )


def _whole(setting: str, held: Held) -> _Values:
    yield setting, 0, _held_s(held)


def _dwell(setting: str, held: Held, episodes: Iterable[Episode]) -> _Values:
    """A dwell that counts within these stretches alone, the sample included that ends each."""
    shows_s = _held_s(held)
    for episode in episodes:
        yield setting, episode.start, shows_s[episode.start : episode.last + 1]


def _held_s(held: Held) -> Floats:
    """How long the condition has held at each sample, s; NaN where it is false."""
    shows_s = np.full(len(held.t), np.nan)
    for start, stop in zip(held.start.tolist(), held.stop.tolist(), strict=True):
        shows_s[start:stop] = held.t[start:stop] - held.t[start]
    return shows_s
