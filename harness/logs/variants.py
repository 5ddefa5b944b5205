"""What else the controller may have seen, where a log is rounded or lacks samples.

A finding counts only if it is there whichever of these was true. Rounding keeps the order of
numbers, so a condition that holds on readings shifted to one side holds on the true ones, and one
that fails on readings shifted to the other side fails on them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from attrs import evolve

from harness.logs.log import Indices
from harness.logs.parts import believable
from harness.rules.request import REQUEST_SLACK
from harness.run import Floats, Run, Trace

# Nine digits, as a log may be written with.
LEAST_SHARE = 2e-9
# What rises when protection is nearer to tripping; the coldest sensor falls.
_UP = ("v", "cell_max_v", "temp_max_c")


def variants(run: Run, *, complete: bool, steps: Mapping[str, float]) -> Iterator[Run]:
    """The same run with other readings that the log allows.

    Args:
        run: rows as they were logged.
        complete: whether every sample is a row; otherwise readings between rows are taken to vary
            as those of neighbouring rows do.
        steps: the step in which each column is written; empty for numbers that are exact.
    """
    trace, settings = run.case.trace, run.case.settings
    slack = {
        name: _slack(trace.column(name), steps.get(name, 0.0))
        for name in trace.columns
        if name != "t"
    }
    if trace.temp_c is not None:
        # A temperature that is rounded moves the thresholds that voltages are compared with.
        slack["v"] += abs(settings.compensation_v_per_c) * slack["temp_c"]
    for up in (True, False):
        for current_up in (True, False) if settings.taper_a is not None else (up,):
            columns = {"t": trace.t}
            for name in slack:
                high = current_up if name == "i" else up == (name in _UP)
                columns[name] = _moved(
                    trace.column(name), slack[name], high=high, wide=not complete
                )
            soc = run.answers.soc
            if soc is not None:
                half = 0.5 * steps.get("soc", 0.0)
                soc = _moved(soc, half + 1e-12, high=up, wide=not complete)
            yield evolve(
                run,
                case=evolve(run.case, trace=Trace(**columns)),
                answers=evolve(run.answers, soc=soc),
            )
    if not complete and settings.on_sag != "run":
        runs_on = settings.changed(on_sag="run")
        yield evolve(run, case=evolve(run.case, settings=runs_on))


def near_belief(run: Run, steps: Mapping[str, float]) -> Indices:
    """The rows of which rounding leaves it open whether they could be believed."""
    trace, s = run.case.trace, run.case.settings
    near = np.zeros(len(trace), np.bool_)
    for name, bounds in (("v", s.plausible_v), ("i", s.plausible_i)):
        values, half = trace.column(name), 0.5 * steps.get(name, 0.0) + 1e-9
        least, most = np.fmin.reduce(values), np.fmax.reduce(values)
        if bounds[0] + half < least and most < bounds[1] - half:
            continue
        for bound in bounds:
            near |= np.abs(values - bound) <= half
    return np.flatnonzero(near)


def _slack(values: Floats, step: float) -> float:
    most = np.fmax.reduce(np.abs(values), initial=1.0)
    least = LEAST_SHARE * float(most if np.isfinite(most) else 1.0)
    # A hair more than half a step: half of it is not exact in binary.
    return least + 0.5 * step


def _moved(values: Floats, by: float, *, high: bool, wide: bool) -> Floats:
    if not wide:
        return values + by if high else values - by
    most, least = values.copy(), values.copy()
    for one, other in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
        np.fmax(most[one], values[other], out=most[one])
        np.fmin(least[one], values[other], out=least[one])
    spread = most - least
    moved = most + spread + by if high else least - spread - by
    return np.where(np.isnan(values), values, moved)


def snapped(run: Run, steps: Mapping[str, float]) -> Run:
    """The same run where a request that is right but for rounding is the right one to the last digit."""
    s, said, temp_c = run.case.settings, run.answers, run.case.trace.temp_c
    shift_v: Floats | float = 0.0
    half_v = 0.5 * steps.get("voltage_request_v", 0.0)
    if s.compensation_v_per_c != 0.0 and temp_c is not None:
        known = np.isfinite(temp_c) & believable(run.case.trace, s)
        latest = np.maximum.accumulate(np.where(known, np.arange(len(temp_c)), -1))
        shift_v = np.where(
            latest >= 0, s.compensation_v_per_c * (temp_c[latest] - s.reference_c), 0.0
        )
        half_v += abs(s.compensation_v_per_c) * 0.5 * steps.get("temp_c", 0.0)
    right_v = np.array([s.absorption_v, s.absorption_v, s.float_v, s.float_v])[said.stage] + shift_v
    right_a = np.array([s.charge_current_a] * 3 + [0.0])[said.stage]
    return evolve(
        run,
        answers=evolve(
            said,
            voltage_request_v=_snapped(said.voltage_request_v, right_v, half_v),
            current_request_a=_snapped(
                said.current_request_a, right_a, 0.5 * steps.get("current_request_a", 0.0)
            ),
        ),
    )


def _snapped(asked: Floats | None, right: Floats, half: float) -> Floats | None:
    if asked is None:
        return None
    return np.where(np.abs(asked - right) <= half + REQUEST_SLACK, right, asked)
