"""Rows of a log as a run that can be judged."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from attrs import evolve

from ctrl.settings import Settings
from harness.logs.log import Indices, Log, PackLog
from harness.logs.parts import believable
from harness.run import FEATURES, UNTOLD, Answers, Case, Identity, Run

UNNAMED = "recorded controller"
# Of a decision that is overdue, a log that lacks samples must show this many intervals.
PROOF_INTERVALS = 5.0


def identity_of(log: Log) -> Identity:
    """Who wrote the log, and what it can be taken to claim."""
    name, version = log.controller
    claims = frozenset(FEATURES) if log.features is None else log.features
    return Identity(name or UNNAMED, version or UNTOLD, UNTOLD, claims)


def run_of(
    pack: PackLog, settings: Settings, identity: Identity, start: int, stop: int, *, powered: bool
) -> Run:
    """Rows of a log as a run.

    Args:
        pack: the log; it has stages.
        settings: what the controller ran with.
        identity: who answered.
        start: first row.
        stop: row behind the last.
        powered: whether restarts in it are losses of power before the sample of their row.
    """
    assert pack.stage is not None
    said = {
        name: None
        if getattr(pack, name) is None or name in pack.blank
        else getattr(pack, name)[start:stop]
        for name in ("soc", "voltage_request_v", "current_request_a")
    }
    absent = {name for name in ("soc", "full_reset") if getattr(pack, name) is None}
    if said["soc"] is None:
        absent.add("soc")
    if said["voltage_request_v"] is None and said["current_request_a"] is None:
        absent.add("requests")
    soc = said["soc"]
    return Run(
        Case(
            id=pack.name,
            settings=settings,
            trace=pack.trace.part(start, stop),
            soc=0.5 if soc is None else float(np.clip(soc[0], 0.0, 1.0)),
            power_cycles=tuple(k - start for k in pack.restarts if start < k < stop)
            if powered
            else (),
        ),
        evolve(identity, features=identity.features - absent),
        Answers(
            stage=pack.stage[start:stop],
            full_reset=None if pack.full_reset is None else pack.full_reset[start:stop],
            **said,
        ),
    )


def cut_out(run: Run, start: int, stop: int) -> Run:
    """Some rows of a run, as a run."""
    if start == 0 and stop == len(run.case.trace):
        return run
    said = run.answers

    def some(column: np.ndarray | None) -> np.ndarray | None:
        return None if column is None else column[start:stop]

    case = evolve(
        run.case,
        trace=run.case.trace.part(start, stop),
        soc=run.case.soc if said.soc is None else float(np.clip(said.soc[start], 0.0, 1.0)),
        power_cycles=tuple(k - start for k in run.case.power_cycles if start < k < stop),
    )
    return evolve(
        run,
        case=case,
        answers=Answers(
            stage=said.stage[start:stop],
            soc=some(said.soc),
            full_reset=some(said.full_reset),
            voltage_request_v=some(said.voltage_request_v),
            current_request_a=some(said.current_request_a),
        ),
    )


def without_gaps(settings: Settings, longest_s: float) -> Settings:
    """The same settings where no interval of a log that lacks samples is a gap."""
    return settings.changed(max_gap_s=max(settings.max_gap_s, 1.01 * longest_s))


def patient(run: Run, longest_s: float, dwells: Iterable[str]) -> Run:
    """The same run where nothing is overdue before a log that lacks samples shows it for long.

    Args:
        run: the rows.
        longest_s: the longest interval between rows, s.
        dwells: the settings that are lengthened.
    """
    s = run.case.settings
    least_s = PROOF_INTERVALS * longest_s
    settings = s.changed(**{name: max(getattr(s, name), least_s) for name in dwells})
    return evolve(run, case=evolve(run.case, settings=settings))


def only_believable(pack: PackLog, settings: Settings) -> tuple[PackLog, Indices | None]:
    """The log without rows that cannot be believed: where samples are missing they say nothing.

    Returns:
        The log, and the rows of it that are left; None where all are.
    """
    whole = believable(pack.trace, settings)
    if whole.all():
        return pack, None
    rows = np.flatnonzero(whole)
    return pack.taken(rows), rows


def with_temperature(run: Run, pack: PackLog, start: int) -> Run:
    """The last temperature before row `start`, at the first row of the run: it is in force there."""
    trace, all_c = run.case.trace, pack.trace.temp_c
    if run.case.settings.compensation_v_per_c == 0.0 or trace.temp_c is None or all_c is None:
        return run
    if np.isfinite(trace.temp_c[0]):
        return run
    # A loss of power forgets it.
    begin = max((k for k in pack.restarts if k <= start), default=0)
    known = np.isfinite(all_c[begin:start]) & believable(
        pack.trace.part(begin, start), run.case.settings
    )
    before = np.flatnonzero(known)
    if not len(before):
        return run
    temp_c = trace.temp_c.copy()
    temp_c[0] = all_c[begin + before[-1]]
    return evolve(run, case=evolve(run.case, trace=evolve(trace, temp_c=temp_c)))
