"""The samples around a finding, kept for whoever wants to see it: few, whatever the trace was."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from attrs import evolve, field, frozen

from ctrl.settings import Settings
from harness.hunt.compare import reference_run
from harness.report.clocks import Clock, clocks
from harness.role import CONTROLLER
from harness.rules.life import lives
from harness.run import ANSWER_COLUMNS, Answers, Case, Finding, Floats, Run, Stages

if TYPE_CHECKING:
    from ctrl.charger import ChargerSettings

Positions = npt.NDArray[np.int64]

# So many samples of a trace are kept, those next to a finding and at changes of stage first.
MOST_SAMPLES = 240
NEAR = 12
# What is looked at before and behind a finding, in samples.
MOST_BEFORE, MOST_BEHIND = 3_000, 1_000
# A longer trace is not run on the reference once more.
MOST_FOR_REFERENCE = 100_000
# Micro-units: finer than any meter, and short as text. A count may be wrong by less.
DECIMALS, DECIMALS_OF_COUNT = 6, 10
NUMBERS = tuple(name for name in ANSWER_COLUMNS if name not in ("stage", "full_reset"))


@frozen(eq=False)
class Excerpt:
    """Some samples of one case, with what was answered to them and what the rules ask.

    Every array has one entry for each kept sample.

    Attributes:
        case: id of the case.
        settings: the settings of the case.
        samples: how many samples the case has.
        indices: the index in the case of each kept sample, rising.
        columns: the readings and the numbers that were answered, by name; NaN for what is
            missing; `shift_v` is the shift of the voltages with temperature, V, where there is one.
        stages: the stages that a controller reported, `Stage` as int8, or the states of a charger,
            `Conduct`; None where it did not answer.
        reference_stages: what the reference says; None where it was not asked.
        resets: indices in the case of the controller's full resets among the kept samples.
        power_cycles: indices in the case of the samples before which power was lost.
        equalise_requests: indices in the case of the samples before which an equalisation was asked
            for.
        clocks: timers and dwells on the stages that the controller reported.
        role: what was tried.
    """

    case: str
    settings: Settings | ChargerSettings
    samples: int
    indices: Positions
    columns: dict[str, Floats]
    stages: Stages | None
    reference_stages: Stages | None = None
    resets: tuple[int, ...] = ()
    power_cycles: tuple[int, ...] = ()
    clocks: tuple[Clock, ...] = field(default=())
    role: str = CONTROLLER
    equalise_requests: tuple[int, ...] = ()

    @property
    def numbers(self) -> int:
        """How many numbers there are in it, about."""
        return len(self.indices) * (1 + len(self.columns) + len(self.clocks))

    def position(self, finding: Finding) -> int:
        """Where the finding's sample stands in the arrays; -1 where it was not kept."""
        if finding.case != self.case or finding.index < 0:
            return -1
        at = int(np.searchsorted(self.indices, finding.index))
        kept = at < len(self.indices) and self.indices[at] == finding.index
        return at if kept else -1


def excerpts_of(
    case: Case, run: Run | None, findings: Iterable[Finding], *, compared: bool = True
) -> Iterator[Excerpt]:
    """What to keep of one case: as a rule one excerpt, more where its findings lie far apart.

    Args:
        case: the case.
        run: what came of it; None where the controller failed to answer.
        findings: what is wrong with it; those without a sample are left out. Each is taken only
            when the excerpt of the one before has been given.
        compared: whether the reference is asked, too.
    """
    kept: list[Excerpt] = []
    said: Answers | None = None
    compared = compared and len(case.trace) <= MOST_FOR_REFERENCE and isfinite(case.soc)
    for finding in findings:
        inside = 0 <= finding.index < len(case.trace)
        if not inside or any(each.position(finding) >= 0 for each in kept):
            continue
        if said is None and compared:
            said = reference_run(case).answers
        kept.append(_around(case, run, said, finding.index))
        yield kept[-1]


def _around(case: Case, run: Run | None, said: Answers | None, index: int) -> Excerpt:
    stage = run.answers.stage if run else None
    first, behind = window(stage, index, len(case.trace))
    part = case.trace.part(first, behind)
    cut = evolve(
        case,
        trace=part,
        power_cycles=tuple(k - first for k in case.power_cycles if first <= k < behind),
        equalise_requests=tuple(k - first for k in case.equalise_requests if first <= k < behind),
        cuts=(),
        expected=None,
    )
    stages = None if stage is None else stage[first:behind]
    reference = None if said is None else said.stage[first:behind]
    at = kept_of(part.v, [each for each in (stages, reference) if each is not None], index - first)
    columns = {name: part.column(name)[at] for name in part.columns}
    running: tuple[Clock, ...] = ()
    resets: tuple[int, ...] = ()
    if run is not None:
        answers = _part(run.answers, first, behind)
        columns |= {
            name: values[at] for name in NUMBERS if (values := getattr(answers, name)) is not None
        }
        shown = Run(cut, run.identity, answers)
        shift_v = _shift_v(shown)
        if shift_v is not None:
            columns["shift_v"] = shift_v[at]
        running = tuple(
            evolve(clock, shows_s=np.round(clock.shows_s[at], DECIMALS))
            for clock in clocks(shown)
            if np.isfinite(clock.shows_s[at]).any()
        )
        if answers.full_reset is not None:
            resets = tuple((first + at[answers.full_reset[at]]).tolist())
    return Excerpt(
        case=case.id,
        settings=case.settings,
        samples=len(case.trace),
        indices=first + at,
        columns={
            name: np.round(values, DECIMALS_OF_COUNT if name == "soc" else DECIMALS)
            for name, values in columns.items()
        },
        stages=None if stages is None else stages[at],
        reference_stages=None if reference is None else reference[at],
        resets=resets,
        power_cycles=tuple(k for k in case.power_cycles if first <= k < behind),
        equalise_requests=tuple(k for k in case.equalise_requests if first <= k < behind),
        clocks=running,
    )


def _part(answers: Answers, first: int, behind: int) -> Answers:
    def one(name: str) -> Any:
        values = getattr(answers, name)
        return None if values is None else values[first:behind]

    return Answers(**{name: one(name) for name in ANSWER_COLUMNS})


def window(stage: Stages | None, index: int, samples: int) -> tuple[int, int]:
    """First sample and the one behind the last of what is looked at."""
    first = max(0, index - MOST_BEFORE)
    behind = min(samples, index + MOST_BEHIND)
    if first > 0 and stage is not None:
        # A clock that began out of sight would show too little: begin where a stage begins.
        changes = np.flatnonzero(stage[first + 1 : index] != stage[first : index - 1])
        if len(changes):
            first += int(changes[0]) + 1
    return first, behind


def kept_of(v: Floats, stages: Sequence[Stages], at: int) -> Positions:
    """The samples that are kept of a window; `at` is that of the finding."""
    if len(v) <= MOST_SAMPLES:
        return np.arange(len(v))
    near = np.arange(max(0, at - NEAR), min(len(v), at + NEAR + 1))
    changes = np.unique(
        np.concatenate([np.flatnonzero(each[1:] != each[:-1]) + 1 for each in stages] or [near])
    )
    nearest = changes[np.argsort(np.abs(changes - at), kind="stable")][: MOST_SAMPLES // 6]
    must = np.unique(np.concatenate([[0, len(v) - 1], near, nearest - 1, nearest]))
    must = must[must >= 0]
    # Lowest and highest of each of many short stretches: dips and peaks stay.
    edges = np.linspace(0, len(v), (MOST_SAMPLES - len(must)) // 2 + 1).astype(int)
    low = np.where(np.isfinite(v), v, np.inf)
    high = np.where(np.isfinite(v), v, -np.inf)
    ends = [
        first + int(pick(values[first:behind]))
        for first, behind in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
        for pick, values in ((np.argmin, low), (np.argmax, high))
    ]
    return np.unique(np.concatenate([must, ends])).astype(np.int64)


def _shift_v(run: Run) -> Floats | None:
    """The shift of the voltages with temperature at each sample, V; None where it is always 0."""
    if run.case.settings.compensation_v_per_c == 0.0:
        return None
    shift_v = np.full(len(run.case.trace), np.nan)
    for life in lives(run):
        numbers = np.arange(len(life.t)) if life.valid_rows is None else life.valid_rows
        shift_v[life.first_row + numbers] = 0.0 if life.shift_v is None else life.shift_v
    return shift_v
