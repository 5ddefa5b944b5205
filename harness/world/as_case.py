"""A pack's part in a closed-loop run as a case: judged like a vector, and saved as one.

What a controller decided has changed what it saw, so two controllers see different traces. But each
trace, once it is there, is a case like any other: settings, a starting count and samples. What the
reference says to it is what a vector expects.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from ctrl.compiled import replay
from ctrl.controller import start
from ctrl.resets import VOLTAGE_AFTER_HOLD
from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.attach.drive import drive
from harness.attach.reference import ReferenceAttachment
from harness.cases.vector import FORMAT, Vector
from harness.errors import InputError
from harness.judge import judge
from harness.run import Case, Expected, Run, needed_features
from harness.verdict import CaseVerdict
from harness.world.result import Result, Samples

# The count is checked at this many times over the run, to this tolerance.
COUNTS_CHECKED = 5
COUNT_TOLERANCE = 0.005


def as_case(result: Result, pack: int, *, expected: bool = False) -> Case:
    """What a pack's controller saw, as a case.

    Args:
        result: what came of a run.
        pack: index of the pack.
        expected: whether the case says what the reference answers to it.

    Raises:
        InputError: there is no such pack, its samples were not kept, or it saw none.
    """
    samples, settings = _samples(result, pack), _settings(result, pack)
    soc = result.world.packs[pack].starting_soc
    said = _expected(settings, soc, samples) if expected else None
    return Case(
        id=_id(result, pack),
        settings=settings,
        trace=samples.trace,
        soc=soc,
        expected=said,
        features=frozenset(needed_features(settings)),
    )


def as_run(result: Result, pack: int) -> Run:
    """What a pack's controller saw and said; raises as `as_case`."""
    case = as_case(result, pack)
    return Run(case, result.packs[pack].identity, _samples(result, pack).answers)


def judge_pack(
    result: Result, pack: int, selected: Iterable[str] | None = None, *, tolerance_s: float = 0.0
) -> CaseVerdict:
    """Judge a pack's controller by what it did in the run.

    Args:
        result: what came of a run.
        pack: index of the pack.
        selected: ids of the requirements to judge; None for all.
        tolerance_s: declared tolerance of the controller's clock, s.

    Raises:
        InputError: as `as_case`.
    """
    return judge(as_run(result, pack), selected, tolerance_s=tolerance_s)


def as_vector(
    result: Result,
    pack: int,
    *,
    vector_id: str,
    title: str,
    description: str,
    why: str,
    catches: tuple[str, ...],
) -> Vector:
    """The measured trace of a pack as a vector that any controller can be tried on.

    Args:
        result: what came of a run.
        pack: index of the pack.
        vector_id: its id, `group/name`.
        title: what happens, in a few words.
        description: what the trace does and what must follow.
        why: why anybody should care.
        catches: the faults that it is meant to catch, in words; one at least.

    Raises:
        InputError: as `as_case`, or the id is none, or it catches nothing.
    """
    if not re.fullmatch(r"[a-z][a-z0-9-]*/[a-z0-9][a-z0-9-]*", vector_id):
        raise InputError(
            f"{vector_id!r} is no id of a vector", hint="group/name, in small letters, digits and -"
        )
    if not catches:
        raise InputError(
            "a vector that is not said to catch anything",
            column="catches",
            hint="one fault or more",
        )
    case = as_case(result, pack, expected=True)
    assert case.expected is not None
    # What the reference puts to the test on this trace, any controller does.
    by_reference = judge(_reference_run(case))
    return Vector(
        format=FORMAT,
        id=vector_id,
        title=title,
        description=description,
        why=why,
        requirements=tuple(sorted(by_reference.exercised)),
        negative=(),
        features=tuple(sorted(case.features)),
        tags=("boundary", *(("backward",) if bool(np.any(np.diff(case.trace.t) < 0)) else ())),
        source="reference",
        catches=catches,
        settings=case.settings,
        soc=case.soc,
        power_cycles=(),
        equalise_requests=(),
        cuts=(),
        expected=case.expected,
        trace=case.trace,
    )


def _reference_run(case: Case) -> Run:
    return drive(ReferenceAttachment("ref", VOLTAGE_AFTER_HOLD, 10.0), case)


def _samples(result: Result, pack: int) -> Samples:
    if not 0 <= pack < len(result.packs):
        raise InputError(
            f"there is no pack {pack}", column="pack", hint=f"0 to {len(result.packs) - 1}"
        )
    samples = result.packs[pack].samples
    if samples is None:
        raise InputError(
            f"the samples of {result.packs[pack].name} were not kept",
            column="recording.samples",
            hint="true",
        )
    if not len(samples):
        raise InputError(f"the controller of {result.packs[pack].name} never saw a sample")
    return samples


def _settings(result: Result, pack: int) -> Settings:
    fixed = result.packs[pack].identity.fixed
    return result.world.packs[pack].settings if fixed is None else fixed


def _id(result: Result, pack: int) -> str:
    return f"{_slug(result.world.name)}/{_slug(result.packs[pack].name)}"


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "unnamed"


def _expected(settings: Settings, soc: float, samples: Samples) -> Expected:
    trace = samples.trace
    said = replay(
        settings,
        start(soc),
        trace.t,
        trace.v,
        trace.i,
        trace.cell_max_v,
        trace.temp_c,
        trace.temp_max_c,
    )
    changes = np.concatenate([[0], np.flatnonzero(np.diff(said.stage)) + 1])
    counted = np.unique(np.linspace(0, len(trace) - 1, COUNTS_CHECKED + 1).astype(int)[1:])
    return Expected(
        stages=tuple((float(trace.t[k]), Stage(said.stage[k]).word) for k in changes),
        resets=tuple(float(t) for t in trace.t[said.full_reset]),
        soc=tuple((float(trace.t[k]), float(said.soc[k]), COUNT_TOLERANCE) for k in counted),
    )
