"""What a stretch of absorption amounts to: the hold timer, when it ran out, how the stretch ended."""

from __future__ import annotations

import numpy as np
from attrs import frozen

from ctrl.vocabulary import Stage
from harness.rules.held import TIME_SLACK_S, Held
from harness.rules.life import Episode, Life
from harness.run import Flags, Floats


@frozen(eq=False)
class Hold:
    """One stretch of absorption, up to the first break in time.

    Sample numbers in it count from the sample on which absorption was entered.

    Attributes:
        episode: the stretch.
        t: stamps up to the last sample that its rules see, s.
        elapsed_s: what the hold timer must show at each of them.
        sagged: where the voltage was under `sag_v`.
        broken: sample of the whole life at which a break ended it; -1 if none did.
        may_expire: first sample at which the timer may be taken to have run out; -1 if none.
        expires: first sample at which it has run out; -1 if none.
        must_expire: first sample at which it must have been found to have run out; -1 if none.
        may_prove: where the condition of the full reset may be taken to be true.
        must_prove: where it is certainly true.
    """

    episode: Episode
    t: Floats
    elapsed_s: Floats
    sagged: Flags
    broken: int
    may_expire: int
    expires: int
    must_expire: int
    may_prove: Flags
    must_prove: Flags

    @property
    def left(self) -> int:
        """The sample on which it was left by a decision on a valid sample; -1 otherwise."""
        behind = self.episode.stop - self.episode.start
        decided = self.episode.to is not None and self.episode.left_on_valid
        return behind if decided and behind < len(self.t) and self.broken < 0 else -1

    @property
    def stays(self) -> int:
        """How many samples of it the controller reported absorption on."""
        return min(self.episode.stop - self.episode.start, len(self.t))

    def sag_before(self, k: int) -> bool:
        """Whether the voltage sagged before sample `k`."""
        return bool(self.sagged[:k].any())

    def later(self, k: int, tolerance_s: float) -> int:
        """The sample by which a decision due at sample `k` must have been taken; -1 if none."""
        return _later(self.t, k, tolerance_s)

    def proved_since(self, first: int, flags: Flags) -> Held:
        """Where the condition holds, counted from sample `first` of the confirmation."""
        later = flags.copy()
        later[:first] = False
        return Held.of(later, self.t, np.empty(0, np.intp))


def hold_clock(t: Floats, sagged: Flags, on_sag: str) -> Floats:
    """What the hold timer shows at each sample, s; `t` and `sagged` begin with the hold."""
    if on_sag == "run":
        from_start_s: Floats = t - t[0]
        return from_start_s
    if on_sag == "pause":
        counts = np.where(sagged[:-1], 0.0, np.diff(t))
        return np.concatenate(([0.0], np.cumsum(counts)))
    number = np.arange(len(t))
    latest_sag = np.maximum.accumulate(np.where(sagged, number, -1))
    begin = np.minimum(latest_sag + 1, len(t) - 1)
    elapsed_s: Floats = np.where(sagged, 0.0, t - t[begin])
    return elapsed_s


def _later(t: Floats, k: int, tolerance_s: float) -> int:
    """The first sample behind `k` with a later stamp, by more than the tolerance; -1 if none."""
    found = np.flatnonzero(t[k:] > t[k] + tolerance_s)
    return k + int(found[0]) if len(found) else -1


def _first(flags: Flags) -> int:
    found = np.flatnonzero(flags)
    return int(found[0]) if len(found) else -1


def holds_of(life: Life) -> list[Hold]:
    """Every stretch of absorption of a life."""
    s = life.settings
    result = []
    for episode in life.of_stage(Stage.ABSORPTION):
        start, last = episode.start, episode.last
        broken = life.broken_at(start + 1, last)
        if broken >= 0:
            last = broken - 1
        if last < start or episode.stop == start:
            continue
        part = slice(start, last + 1)
        t, level_v, i = life.t[part], life.level_v[part], life.i[part]
        sag_v = s.entry_v if s.sag_v is None else s.sag_v
        sagged = level_v < sag_v
        elapsed_s = hold_clock(t, sagged, s.on_sag)
        interval_s = np.diff(t, prepend=t[0])
        slack_s = np.maximum(interval_s, np.append(interval_s[1:], 0.0)) + life.tolerance_s
        expires = _first(elapsed_s >= s.hold_s - TIME_SLACK_S)
        after = _later(t, expires, life.tolerance_s) if expires >= 0 else -1
        calm = np.abs(i) <= (np.inf if s.taper_a is None else s.taper_a)
        result.append(
            Hold(
                episode=episode,
                t=t,
                elapsed_s=elapsed_s,
                sagged=sagged,
                broken=broken,
                may_expire=_first(elapsed_s >= s.hold_s - slack_s - TIME_SLACK_S),
                expires=expires,
                must_expire=after,
                may_prove=(life.most_level_v[part] >= s.full_v - life.either_way_v) & calm,
                must_prove=(life.least_level_v[part] >= s.full_v + life.either_way_v) & calm,
            )
        )
    return result
