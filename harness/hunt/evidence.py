"""What a trace can prove: its valid samples, and the samples before which nothing counts any more.

Written from the rules, on rows, in plain Python; it shares nothing with `harness.rules`. What is
in doubt, by a clock that counts milliseconds or a threshold that is worked out, is marked as such.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, isfinite, nan

from attrs import frozen

from ctrl.settings import Settings
from harness.run import Case

# A clock that counts milliseconds, and thresholds that are worked out, are no more exact than this.
CLOCK_S = 1e-3
COMPUTED_V = 1e-6

CELL, TEMPERATURE = "cell", "temperature"
BLOCKS = "PROTECT.blocks-full"


@frozen
class Valid:
    """A valid sample.

    Attributes:
        row: of the trace.
        t: stamp, s.
        level_v: voltage at the reference temperature, V.
        i: current, A.
        beyond: the causes that are beyond their limit.
        clear: the causes that are as far inside as a release asks for.
        interval_s: since the valid sample before, s; infinity right after a loss of power.
    """

    row: int
    t: float
    level_v: float
    i: float
    beyond: frozenset[str]
    clear: frozenset[str]
    interval_s: float


@frozen
class Begin:
    """A sample from which on evidence begins anew.

    Attributes:
        k: number of the valid sample; it counts itself.
        requirement: what evidence from before it breaks.
        what: what happened, in words.
        in_bulk: whether the stage is certainly bulk there.
    """

    k: int
    requirement: str
    what: str
    in_bulk: bool = False


@frozen
class Trip:
    """A stretch over which protection certainly blocks the charge.

    Attributes:
        cause: `CELL` or `TEMPERATURE`.
        first: number of the first valid sample of it.
        clear: number of the first that is clear of the cause, or comes after a loss of power.
    """

    cause: str
    first: int
    clear: int


@frozen(eq=False)
class Evidence:
    """All of a trace.

    Attributes:
        settings: those in force.
        samples: the valid ones, in order.
        begins: where evidence begins anew, in order; the first is sample 0.
        trips: where protection certainly blocks.
        near_v: how near a computed threshold a voltage may go either way, V.
    """

    settings: Settings
    samples: list[Valid]
    begins: list[Begin]
    trips: list[Trip]
    near_v: float

    def slack_s(self, k: int) -> float:
        """By how much a timer may be off at sample `k`: the longer of the intervals around, s."""
        around = [sample.interval_s for sample in self.samples[k : k + 2]]
        fair = [each for each in around if 0.0 <= each <= self.settings.max_gap_s]
        return max(fair, default=0.0) + CLOCK_S

    def proves(self, k: int, side_v: float) -> bool:
        """Whether the condition of the full reset is true at `k` with `full_v` moved by `side_v`."""
        sample, taper_a = self.samples[k], self.settings.taper_a
        calm = taper_a is None or abs(sample.i) <= taper_a
        return calm and sample.level_v >= self.settings.full_v + side_v

    def later(self, k: int) -> int:
        """The first sample behind `k` with a later stamp; the number of samples if there is none."""
        t = self.samples[k].t + CLOCK_S
        behind = range(k + 1, len(self.samples))
        return next((n for n in behind if self.samples[n].t > t), len(self.samples))

    def doubtful(self, k: int) -> bool:
        """Whether a controller that keeps the rules may have left its stage at `k` or not."""
        interval_s = self.samples[k].interval_s
        perhaps_gap = abs(interval_s - self.settings.max_gap_s) <= CLOCK_S
        return bool(self.samples[k].beyond) or perhaps_gap or -CLOCK_S <= interval_s < 0.0


def evidence_of(case: Case) -> Evidence:
    """Everything that the trace of a case can prove."""
    s = case.settings
    (low_v, high_v), (low_i, high_i) = s.plausible_v, s.plausible_i
    samples: list[Valid] = []
    begins = [Begin(0, "ENTRY.held-long-enough", "the start", in_bulk=True)]
    shifted = False
    heard_t, shift_v, silent, powered = nan, 0.0, False, True
    cycles = set(case.power_cycles) - {0}
    for row, (t, v, i, cell_v, cold_c, hot_c) in enumerate(_readings(case)):
        if row in cycles:
            heard_t, shift_v, silent, powered = nan, 0.0, False, True
            begins.append(Begin(len(samples), "POWER.forgets", "the loss of power", in_bulk=True))
        if not isfinite(t):
            continue
        if not isfinite(heard_t):
            heard_t = t
        if not (low_v <= v <= high_v and low_i <= i <= high_i):
            silent |= t - heard_t > s.max_gap_s + CLOCK_S
            continue
        if s.compensation_v_per_c != 0.0 and isfinite(cold_c):
            shift_v = s.compensation_v_per_c * (cold_c - s.reference_c)
            shifted = True
        interval_s = inf if powered else t - samples[-1].t
        k = len(samples)
        if silent:
            begins.append(Begin(k, "PROTECT.no-reading", "the time without a reading"))
        elif not powered and interval_s > s.max_gap_s + CLOCK_S:
            begins.append(Begin(k, "TIME.gap-abandons-hold", f"the gap of {interval_s:g} s"))
        elif interval_s < -CLOCK_S:
            begins.append(Begin(k, "TIME.backward-step", f"the step of {-interval_s:g} s back"))
        beyond, clear = _protection(s, cell_v, cold_c, hot_c)
        samples.append(Valid(row, t, v - shift_v, i, beyond, clear, interval_s))
        heard_t, silent, powered = t, False, False
    trips = [trip for cause in (CELL, TEMPERATURE) for trip in _trips(s, samples, cause)]
    begins += [Begin(trip.clear, BLOCKS, f"the trip by the {trip.cause}") for trip in trips]
    begins.sort(key=lambda begin: begin.k)
    return Evidence(s, samples, begins, trips, COMPUTED_V if shifted else 0.0)


def _readings(case: Case) -> Iterator[tuple[float, ...]]:
    trace = case.trace
    missing = [nan] * len(trace)
    names = ("t", "v", "i", "cell_max_v", "temp_c", "temp_max_c")
    columns = [trace.column(n).tolist() if n in trace.columns else missing for n in names]
    return zip(*columns, strict=True)


def _protection(
    s: Settings, cell_v: float, cold_c: float, hot_c: float
) -> tuple[frozenset[str], frozenset[str]]:
    """What is beyond its limit and what is clear; a reading that is not finite is neither."""
    cell_v, cold_c = (x if isfinite(x) else nan for x in (cell_v, cold_c))
    hot_c = hot_c if isfinite(hot_c) else cold_c
    lowest_c = -inf if s.charge_min_c is None else s.charge_min_c
    highest_c = inf if s.charge_max_c is None else s.charge_max_c
    beyond = set()
    if s.cell_limit_v is not None and cell_v >= s.cell_limit_v:
        beyond.add(CELL)
    if cold_c < lowest_c or hot_c > highest_c:
        beyond.add(TEMPERATURE)
    clear = set()
    if cell_v <= s.cell_release_v:
        clear.add(CELL)
    warm = lowest_c == -inf or cold_c >= lowest_c + s.temp_band_c
    if warm and (highest_c == inf or hot_c <= highest_c - s.temp_band_c):
        clear.add(TEMPERATURE)
    return frozenset(beyond), frozenset(clear)


def _trips(s: Settings, samples: list[Valid], cause: str) -> Iterator[Trip]:
    """The certain trips by one cause: due, and still there at the next later sample."""
    since_t, due_t, first = nan, nan, -1
    for k, sample in enumerate(samples):
        if first >= 0 and (cause in sample.clear or sample.interval_s == inf):
            yield Trip(cause, first, k)
            first = -1
        joined = 0.0 <= sample.interval_s <= s.max_gap_s - CLOCK_S
        if cause not in sample.beyond:
            since_t, due_t = nan, nan
            continue
        if not (joined and isfinite(since_t)):
            since_t, due_t = sample.t, nan
        if first < 0 and isfinite(due_t) and sample.t > due_t + CLOCK_S:
            first = k
        if not isfinite(due_t) and sample.t - since_t >= s.trip_dwell_s:
            due_t = sample.t
    if first >= 0:
        yield Trip(cause, first, len(samples))
