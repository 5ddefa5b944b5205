"""Every full reset must be proved by the trace alone, whatever stages the controller says it was in.

Looking back from the sample of a reset there must be, in one stretch without a gap, a step back, a
loss of power, a trip or another reset: the entry voltage for its dwell; then the hold time, as
`on_sag` counts it; then, up to the very sample, the full voltage and the small current for as long
as the confirmation asks. A hold that certainly ended without a proof counts no more.

Each timer may be off by one sampling interval. So what is looked for is the earliest that a
controller which keeps the rules may have seen.
"""

from __future__ import annotations

from attrs import evolve, frozen

from ctrl.vocabulary import Stage
from harness.hunt.difference import stage_before
from harness.hunt.evidence import BLOCKS, Begin, Evidence, evidence_of
from harness.run import Finding, Run

ONCE = "FULL.at-hold-end"
SAGS = {"run": "HOLD.sag-runs-on", "pause": "HOLD.sag-pauses", "restart": "HOLD.sag-restarts"}


@frozen
class Short:
    """What the proof of a full reset lacks.

    Attributes:
        requirement: what is broken by that.
        expected: what must have been.
        observed: what was, in words.
        margin: by how much it is short, in `unit`.
        unit: `s`, `mV`, `A` or empty.
    """

    requirement: str
    expected: str
    observed: str
    margin: float = 0.0
    unit: str = ""


def unproved(run: Run) -> Finding | None:
    """The first full reset of a run that its trace does not prove; None where all are."""
    flags = run.answers.full_reset
    if flags is None or not flags.any():
        return None
    evidence = evidence_of(run.case)
    numbers = {sample.row: k for k, sample in enumerate(evidence.samples)}
    before: list[Begin] = []
    for row in flags.nonzero()[0].tolist():
        if row not in numbers:
            words = "its sample is one that cannot be believed"
            return _finding(run, row, Short("TIME.invalid-skipped", "no full reset", words))
        short = _lacking(evidence, run, numbers[row], before)
        if short is not None:
            return _finding(run, row, short)
        used = f"the full reset in row {row}, from the same hold"
        before = [Begin(numbers[row] + 1, ONCE, used)]
    return None


def _finding(run: Run, row: int, short: Short) -> Finding:
    t = float(run.case.trace.t[row])
    requirement = short.requirement
    # Where it happens at all weighs more than what it lacks.
    if Stage(int(run.answers.stage[row])) is Stage.INHIBITED:
        requirement = BLOCKS
    elif stage_before(run.answers, row) is not Stage.ABSORPTION:
        requirement = ONCE
    return Finding(
        requirement=requirement,
        case=run.case.id,
        t=t,
        index=row,
        observed="full reset",
        expected=short.expected,
        margin=short.margin,
        unit=short.unit,
        sentence=f"The full reset at t = {t:g} s is not proved by the trace: {short.observed}.",
    )


def _lacking(evidence: Evidence, run: Run, k: int, before: list[Begin]) -> Short | None:
    """What the full reset at sample `k` lacks; `before` is the one before it."""
    s, sample = evidence.settings, evidence.samples[k]
    trip = next((each for each in evidence.trips if each.first <= k < each.clear), None)
    if trip is not None:
        words = f"a trip by the {trip.cause} was blocking the charge"
        return Short(BLOCKS, "no full reset while inhibited", words)
    if sample.level_v < s.full_v - evidence.near_v:
        short_mv = 1000.0 * (s.full_v - sample.level_v)
        words = f"the voltage was {sample.level_v:.3f} V, under full_v ({s.full_v:g} V)"
        return Short("FULL.voltage", f"v >= full_v ({s.full_v:g} V)", words, short_mv, "mV")
    if s.taper_a is not None and abs(sample.i) > s.taper_a:
        over_a = abs(sample.i) - s.taper_a
        words = f"the current was {sample.i:g} A, beyond taper_a ({s.taper_a:g} A)"
        return Short("FULL.taper", f"current within {s.taper_a:g} A", words, over_a, "A")
    begins = [begin for begin in (*evidence.begins, *before) if begin.k <= k]
    begins.sort(key=lambda begin: begin.k)
    last = begins[-1]
    short = _short(evidence, last, k)
    if short is None or len(begins) == 1:
        return short
    # Whoever went on over what stands between, and would be right but for that, is wrong by it.
    row = evidence.samples[last.k].row
    went_on = {stage_before(run.answers, row), Stage(int(run.answers.stage[row]))}
    if last.requirement != ONCE and went_on != {Stage.ABSORPTION}:
        return short
    if _short(evidence, evolve(begins[-2], in_bulk=False), k) is None:
        words = f"what proves it lies before {last.what}"
        return Short(last.requirement, f"a hold that begins after {last.what}", words)
    return short


def _short(evidence: Evidence, begin: Begin, k: int) -> Short | None:
    """What is missing for a full reset at sample `k` if nothing from before `begin` counts."""
    s = evidence.settings
    # The hold may have begun at the first of these, and has certainly begun by the second.
    first, certain, unconfirmed = begin.k, begin.k if begin.in_bulk else None, False
    while True:
        over = _may_be_over(evidence, first, k)
        if isinstance(over, Short):
            break
        ended = None if certain is None else _ended(evidence, certain, k, over)
        if ended is None or ended[0] <= first:
            return _unconfirmed(evidence, over, k)
        # After float nobody knows when the next hold could begin.
        first, unconfirmed = ended[0], True
        certain = ended[1] if s.on_unconfirmed == "bulk" else None
    if not unconfirmed:
        return over
    requirement = "FULL.wait" if s.on_unconfirmed == "wait" else "FULL.denied"
    t = evidence.samples[first].t
    words = f"the hold before it had ended unconfirmed, at t = {t:g} s or soon after"
    return Short(requirement, "a hold of its own", words)


def _may_be_over(evidence: Evidence, begin: int, k: int) -> int | Short:
    """The earliest sample at which a hold may have run out; or why there is none."""
    s = evidence.settings
    entry = _entry(evidence, begin, k)
    if entry is None:
        words = f"the voltage had not been at or above entry_v ({s.entry_v:g} V) for long enough"
        return Short("ENTRY.held-long-enough", f"entry_v held for {s.entry_dwell_s:g} s", words)
    clock_s = _clock(evidence, entry, k, -evidence.near_v)
    for n, shown_s in enumerate(clock_s, entry):
        if shown_s >= s.hold_s - evidence.slack_s(n):
            return n
    most_s = max(clock_s)
    sagged = any(sample.level_v < _sag_v(evidence) for sample in evidence.samples[entry:k])
    words = f"the hold timer (on_sag {s.on_sag}) shows {most_s:g} s at most, of {s.hold_s:g} s"
    requirement = SAGS[s.on_sag] if sagged else "HOLD.full-length"
    return Short(requirement, f"a hold of {s.hold_s:g} s", words, s.hold_s - most_s, "s")


def _unconfirmed(evidence: Evidence, over: int, k: int) -> Short | None:
    """What is missing of a confirmation that counts from sample `over` on."""
    s, first = evidence.settings, k
    while first > over and evidence.proves(first - 1, -evidence.near_v):
        first -= 1
    confirmed_s = evidence.samples[k].t - evidence.samples[first].t
    if confirmed_s >= s.confirm_s - evidence.slack_s(k):
        return None
    words = f"after the hold it was confirmed for {confirmed_s:g} s of {s.confirm_s:g} s"
    short_s = s.confirm_s - confirmed_s
    return Short("FULL.confirmed", f"full_v held for {s.confirm_s:g} s", words, short_s, "s")


def _entry(evidence: Evidence, begin: int, k: int) -> int | None:
    """The earliest sample on which the hold may have begun."""
    s, since_t = evidence.settings, None
    for n in range(begin, k + 1):
        sample = evidence.samples[n]
        if sample.level_v < s.entry_v - evidence.near_v:
            since_t = None
            continue
        since_t = sample.t if since_t is None else since_t
        if sample.t - since_t >= s.entry_dwell_s - evidence.slack_s(n):
            return n
    return None


def _sag_v(evidence: Evidence) -> float:
    s = evidence.settings
    return s.entry_v if s.sag_v is None else s.sag_v


def _clock(evidence: Evidence, entry: int, k: int, side_v: float) -> list[float]:
    """What a hold timer shows at the samples from `entry` to `k`, s; `sag_v` is moved by `side_v`."""
    on_sag, sag_v = evidence.settings.on_sag, _sag_v(evidence) + side_v
    shown_s = [0.0]
    for n in range(entry + 1, k + 1):
        sample, before = evidence.samples[n], evidence.samples[n - 1]
        stopped = on_sag != "run" and before.level_v < sag_v
        elapsed_s = shown_s[-1] + (0.0 if stopped else sample.t - before.t)
        shown_s.append(0.0 if on_sag == "restart" and sample.level_v < sag_v else elapsed_s)
    return shown_s


def _certainly_over(evidence: Evidence, begin: int, k: int) -> int | None:
    """The sample by which the first hold from `begin` on has certainly run out; None if not by `k`."""
    s, since_t, entered = evidence.settings, None, None
    for n in range(begin, k):
        sample = evidence.samples[n]
        if sample.level_v < s.entry_v + evidence.near_v:
            since_t = None
            continue
        since_t = sample.t if since_t is None else since_t
        if sample.t - since_t >= s.entry_dwell_s:
            entered = evidence.later(n)
            if entered < k and _stands(evidence, n, entered):
                break
            entered = None
    if entered is None:
        return None
    clock_s = _clock(evidence, entered, k, evidence.near_v)
    over = next((n for n, shown_s in enumerate(clock_s, entered) if shown_s >= s.hold_s), None)
    return None if over is None else evidence.later(over)


def _stands(evidence: Evidence, first: int, last: int) -> bool:
    level_v = evidence.settings.entry_v + evidence.near_v
    return all(sample.level_v >= level_v for sample in evidence.samples[first : last + 1])


def _ended(evidence: Evidence, begin: int, k: int, over: int) -> tuple[int, int] | None:
    """Between which samples a hold from bulk at `begin` certainly ended unconfirmed, before `k`.

    Args:
        evidence: of the trace.
        begin: a sample at which the stage is certainly bulk.
        k: the sample of the full reset.
        over: the earliest sample at which the hold may have run out.
    """
    s = evidence.settings
    certain = _certainly_over(evidence, begin, k)
    if certain is None or certain >= k:
        return None
    if s.on_unconfirmed == "wait":
        from_t, over_t = evidence.samples[certain].t, evidence.samples[over].t
        waited = (n for n in range(certain, k) if _waited(evidence, n, from_t))
        last = next((evidence.later(n) for n in waited), k)
        perhaps = (n for n in range(over, k) if _waited(evidence, n, over_t - evidence.slack_s(n)))
    else:
        last = next((n for n in range(certain, k) if not evidence.proves(n, -evidence.near_v)), k)
        perhaps = (n for n in range(over, k) if not evidence.proves(n, evidence.near_v))
    first = next(perhaps, k)
    doubtful = any(evidence.doubtful(n) for n in range(begin, min(last, k) + 1))
    return None if doubtful or last >= k else (first, last)


def _waited(evidence: Evidence, n: int, from_t: float) -> bool:
    return evidence.samples[n].t - from_t >= evidence.settings.wait_limit_s
