"""What the reference itself says happened in a case: the line protocol has no words for it."""

from __future__ import annotations

from itertools import repeat
from math import nan

import numpy as np

from ctrl.controller import Controller, Sample
from ctrl.state import Event, events_of
from ctrl.vocabulary import Stage
from harness.attach.reference import rule_of
from harness.run import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Case, Trace

# From here on the compiled rules are faster, their import included.
LONG_TRACE_SAMPLES = 20_000


def reference_events(spec: str, case: Case) -> dict[int, tuple[Event, ...]] | None:
    """The events of the reference by sample; None for any other controller.

    Args:
        spec: how the controller is named: `ref`, `ref:RULE`, or another kind.
        case: what it is tried on.
    """
    kind, _, rule = spec.partition(":")
    if kind != "ref":
        return None
    controller = Controller(case.settings, case.soc, rule_of(rule))
    events: dict[int, tuple[Event, ...]] = {}
    for start, stop, power_was_lost in case.stretches():
        if power_was_lost:
            controller.power_cycle()
        if start in case.equalise_requests:
            controller.request_equalisation()
        part = case.trace.part(start, stop)
        tell = _replayed if len(part) > LONG_TRACE_SAMPLES else _stepped
        events.update({start + index: said for index, said in tell(controller, part).items()})
    return events


def _stepped(controller: Controller, trace: Trace) -> dict[int, tuple[Event, ...]]:
    present = trace.columns
    columns = [
        trace.column(name).tolist() if name in present else repeat(nan, len(trace))
        for name in REQUIRED_COLUMNS + OPTIONAL_COLUMNS
    ]
    outputs = (controller.step(Sample(*row)) for row in zip(*columns, strict=True))
    return {index: output.events for index, output in enumerate(outputs) if output.events}


def _replayed(controller: Controller, trace: Trace) -> dict[int, tuple[Event, ...]]:
    # numba takes a good part of a second to load: only where that pays.
    from ctrl.compiled import replay

    columns = (getattr(trace, name) for name in REQUIRED_COLUMNS + OPTIONAL_COLUMNS)
    said = replay(
        controller.settings, controller.state, *columns, rule=controller.rule, requests=False
    )
    controller.state = said.state
    return {
        int(k): events_of(int(said.news[k]), Stage(int(said.stage[k])))
        for k in np.flatnonzero(said.happened)
    }
