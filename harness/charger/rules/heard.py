"""What a charger can know at each sample, from its inputs alone: ages, requests, readings.

Nothing here depends on what the charger under test answers, and nothing is taken from the reference:
ages are summed up sample by sample, where the reference keeps stamps. Where a number may fairly go
either way, because firmware has a timer of its own that runs between samples, both are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import inf, isfinite, nan

import numpy as np
from attrs import define, field, frozen

from ctrl.charger import ChargerSettings
from harness.charger.case import ChargerTrace

TIME_SLACK_S = 1e-9


@frozen
class Message:
    """What one pack says at one sample, looked at.

    Attributes:
        request_v: voltage asked for, V.
        request_a: current asked for, A.
        pack_v: voltage read, V.
        pack_a: current read, A.
        age_s: its age, s.
    """

    request_v: float
    request_a: float
    pack_v: float
    pack_a: float
    age_s: float

    def sensible(self, settings: ChargerSettings) -> bool:
        """Whether what it asks for can be believed, and its age is one."""
        return (
            believable_v(settings, self.request_v)
            and 0.0 <= self.request_a <= settings.plausible_a
            and 0.0 <= self.age_s < inf
        )

    def good(self, settings: ChargerSettings) -> bool:
        """Whether it counts."""
        return self.sensible(settings) and self.age_s <= settings.stale_s + TIME_SLACK_S

    @property
    def silent(self) -> bool:
        """Whether it says nothing at all."""
        return not any(map(isfinite, (self.request_v, self.request_a, self.pack_v, self.age_s)))


def believable_v(settings: ChargerSettings, voltage_v: float) -> bool:
    """Whether a voltage can be believed; NaN cannot."""
    low_v, high_v = settings.plausible_v
    return low_v <= voltage_v <= high_v


def believable_a(settings: ChargerSettings, current_a: float) -> bool:
    """Whether a current that was read can be believed; NaN cannot."""
    return abs(current_a) <= settings.plausible_a


@define
class Dwell:
    """For how long something has held without interruption, by a clock that starts anew on demand."""

    since_s: float = inf

    def at(self, t: float, holds: bool, anew: bool) -> float:
        """The length at a stamp, s; -1 where it does not hold."""
        if not holds:
            self.since_s = inf
            return -1.0
        if anew or self.since_s == inf:
            self.since_s = t
        return t - self.since_s


@define
class _Pack:
    """What has been heard of one pack so far."""

    request_v: float = inf
    request_a: float = inf
    age_s: float = inf
    nonsense: bool = False
    worst_v: float = -inf
    worst_a: float = -inf
    least_v: float = inf
    least_a: float = inf
    pack_v: float = nan
    pack_a: float = nan
    unchanged_s: float = 0.0
    # Ages as a charger would have them that believes every message, or that trusts its clock.
    gullible_age_s: float = inf
    heard_by_clock_s: float = -inf

    def hear(self, settings: ChargerSettings, said: Message, t: float, passed_s: float) -> bool:
        """Take the message of one sample; says whether it is good."""
        self.age_s += passed_s
        self.gullible_age_s += passed_s
        self.unchanged_s += passed_s
        if not said.silent:
            known = isfinite(said.age_s) and said.age_s >= 0.0
            self.gullible_age_s = min(self.gullible_age_s, said.age_s if known else 0.0)
        if not said.good(settings):
            if not said.sensible(settings):
                self.nonsense = True
                # What a charger might make of it, at the most and at the least.
                self.worst_v = max(self.worst_v, _or(said.request_v, inf))
                self.worst_a = max(self.worst_a, _or(said.request_a, inf))
                self.least_v = min(self.least_v, _or(said.request_v, -inf))
                self.least_a = min(self.least_a, _or(said.request_a, -inf))
            return False
        self.nonsense = False
        self.worst_v = self.worst_a = -inf
        self.least_v = self.least_a = inf
        self.request_v, self.request_a = said.request_v, said.request_a
        self.age_s = min(self.age_s, said.age_s)
        self.heard_by_clock_s = max(self.heard_by_clock_s, t - said.age_s)
        if believable_v(settings, said.pack_v):
            current_a = said.pack_a if believable_a(settings, said.pack_a) else self.pack_a
            if said.pack_v != self.pack_v or (
                isfinite(current_a) and not current_a == self.pack_a  # noqa: SIM201  NaN differs
            ):
                self.unchanged_s = 0.0
            self.pack_v, self.pack_a = said.pack_v, current_a
        return True


def _or(value: float, instead: float) -> float:
    return value if isfinite(value) else instead


@frozen
class Known:
    """What follows from the inputs up to one valid sample.

    Attributes:
        row: the row of the life.
        t: its stamp, s.
        dt: time since the valid sample before, 0 over a break and at the first, s.
        joined: whether it is continuous with the valid sample before.
        first: whether it is the first valid sample.
        back: whether its stamp steps back.
        slack_s: how much a timer may be off here, s.
        requests: voltage and current in force of each pack; infinite before there are any.
        heard_now: for each pack whether its message is good.
        nonsense: for each pack whether something senseless has come since the last good message.
        worst: voltage and current that the worst of this nonsense asks for, at the most.
        least: the same at the least.
        oldest_s: age of the oldest request in force, s; infinite where a pack was never heard.
        newest_s: age of the newest, s.
        gullible_s: the oldest, had every message been believed, s.
        by_clock_s: the oldest, had no stamp stepped back, s.
        steady_s: for how long all have surely been fresh, s; -1 where they are not.
        perhaps_steady_s: for how long they may have been fresh, s; -1 where they cannot be.
        other_steady_s: the same by those who get one thing wrong: `gullible`, `any` (one pack is
            enough), `breaks` (a break is no interruption), `by_clock`.
        readings_v: voltages that the packs read, V; NaN where a reading is surely not good.
        sure_readings_v: the same; NaN where a reading is perhaps not good.
        frozen: whether a reading is not good because it is frozen.
    """

    row: int
    t: float
    dt: float
    joined: bool
    first: bool
    back: bool
    slack_s: float
    requests: tuple[tuple[float, float], ...]
    heard_now: tuple[bool, ...]
    nonsense: tuple[bool, ...]
    worst: tuple[float, float]
    least: tuple[float, float]
    oldest_s: float
    newest_s: float
    gullible_s: float
    by_clock_s: float
    steady_s: float
    perhaps_steady_s: float
    other_steady_s: dict[str, float]
    readings_v: tuple[float, ...]
    sure_readings_v: tuple[float, ...]
    frozen: bool
    asked_v: float = field(init=False)
    zero: bool = field(init=False)
    sum_a: float = field(init=False)

    def __attrs_post_init__(self) -> None:
        amps = [current_a for _, current_a in self.requests]
        object.__setattr__(self, "asked_v", min(voltage_v for voltage_v, _ in self.requests))
        object.__setattr__(self, "zero", 0.0 in amps)
        object.__setattr__(self, "sum_a", sum(amps))

    @property
    def asked_a(self) -> float:
        """Current that all packs together ask for, A; infinite before all have been heard."""
        return 0.0 if self.zero else self.sum_a


def known(settings: ChargerSettings, trace: ChargerTrace, tolerance_s: float) -> Iterator[Known]:
    """What is known at each valid sample of one life.

    Args:
        settings: the settings in force.
        trace: the samples, from power-up on.
        tolerance_s: declared tolerance of the charger's clock, s.
    """
    packs = [_Pack() for _ in range(settings.packs)]
    sure, perhaps = Dwell(), Dwell()
    others = {name: Dwell() for name in ("gullible", "any", "breaks", "by_clock")}
    rows = np.flatnonzero(np.isfinite(trace.t)).tolist()
    stamps = trace.t.tolist()
    slacks = _slacks([stamps[row] for row in rows], settings.max_gap_s, tolerance_s)
    said = _messages(trace)
    last_t = nan
    for row, slack_s in zip(rows, slacks, strict=True):
        t = stamps[row]
        first = not isfinite(last_t)
        passed_s = inf if first else t - last_t
        back = passed_s < -TIME_SLACK_S
        joined = not back and passed_s <= settings.max_gap_s + TIME_SLACK_S
        heard_now = tuple(
            pack.hear(settings, message, t, max(passed_s, 0.0))
            for pack, message in zip(packs, said(row), strict=True)
        )
        oldest_s = max(pack.age_s for pack in packs)
        newest_s = min(pack.age_s for pack in packs)
        gullible_s = max(pack.gullible_age_s for pack in packs)
        by_clock_s = max(t - pack.heard_by_clock_s for pack in packs)
        limit_s = settings.stale_s + slack_s
        lenient = {
            "gullible": gullible_s,
            "any": newest_s,
            "breaks": oldest_s,
            "by_clock": by_clock_s,
        }
        good = [p.pack_v if now else nan for p, now in zip(packs, heard_now, strict=True)]
        good = [
            v if believable_v(settings, message.pack_v) else nan
            for v, message in zip(good, said(row), strict=True)
        ]
        still_s = [pack.unchanged_s for pack in packs]
        frozen_s = settings.frozen_s
        readings = tuple(
            v if s < frozen_s + slack_s else nan for v, s in zip(good, still_s, strict=True)
        )
        yield Known(
            row=row,
            t=t,
            dt=max(passed_s, 0.0) if joined else 0.0,
            joined=joined,
            first=first,
            back=back,
            slack_s=slack_s,
            requests=tuple((pack.request_v, pack.request_a) for pack in packs),
            heard_now=heard_now,
            nonsense=tuple(pack.nonsense for pack in packs),
            worst=(max(p.worst_v for p in packs), sum(max(p.worst_a, 0.0) for p in packs)),
            least=(min(p.least_v for p in packs), min(p.least_a for p in packs)),
            oldest_s=oldest_s,
            newest_s=newest_s,
            gullible_s=gullible_s,
            by_clock_s=by_clock_s,
            steady_s=sure.at(t, oldest_s <= settings.stale_s - slack_s, not joined),
            perhaps_steady_s=perhaps.at(t, oldest_s <= limit_s, not joined),
            other_steady_s={
                name: dwell.at(t, lenient[name] <= limit_s, not joined and name != "breaks")
                for name, dwell in others.items()
            },
            readings_v=readings,
            sure_readings_v=tuple(
                v if s < frozen_s - slack_s else nan for v, s in zip(good, still_s, strict=True)
            ),
            frozen=all(map(isfinite, good)) and not all(map(isfinite, readings)),
        )
        last_t = t


def _messages(trace: ChargerTrace) -> Callable[[int], list[Message]]:
    names = ("request_v", "request_a", "pack_v", "pack_a", "age_s")
    tables = [getattr(trace, name).tolist() for name in names]

    def at(row: int) -> list[Message]:
        return [Message(*values) for values in zip(*(table[row] for table in tables), strict=True)]

    return at


def _slacks(stamps: list[float], max_gap_s: float, tolerance_s: float) -> list[float]:
    """One sampling interval around each stamp, with the tolerance, s."""
    if not stamps:
        return []
    interval_s = np.diff(np.array(stamps))
    fair = np.where((interval_s >= 0) & (interval_s <= max_gap_s), interval_s, 0.0)
    before, after = np.append(0.0, fair), np.append(fair, 0.0)
    slack: list[float] = (np.maximum(before, after) + tolerance_s + TIME_SLACK_S).tolist()
    return slack
