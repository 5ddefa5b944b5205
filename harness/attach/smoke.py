"""Try the attachment, not the conformance: speak every message once and say what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import pairwise
from typing import Any

import numpy as np
from attrs import frozen

from ctrl.settings import Settings
from harness.attach.base import EQUALISATION, Attached, LinkFault, Refused
from harness.attach.program import Program
from harness.attach.registry import attach
from harness.attach.schema import answer_complaints
from harness.run import ANSWER_COLUMNS, Answers, Identity, Trace

HELLO = "hello"
START = "start with default settings"
RUN = "run with every column"
AGAIN = "a fresh start: the same samples again"


@frozen
class Step:
    """One thing that was tried on the attachment.

    Attributes:
        tried: what was tried.
        outcome: `ok`, `failed`, or `not tried`.
        wrong: what is wrong, or why it was not tried; empty where nothing is.
        right: what would be right; empty where nothing is wrong.
        detail: lines sent and received last, and standard error.
    """

    tried: str
    outcome: str
    wrong: str = ""
    right: str = ""
    detail: str = ""

    @property
    def ok(self) -> bool:
        """Whether it was tried and nothing was wrong."""
        return self.outcome == "ok"


def passed(steps: list[Step]) -> bool:
    """Whether something was tried and nothing failed; what was not tried has not passed."""
    return any(step.ok for step in steps) and all(step.outcome != "failed" for step in steps)


def smoke(spec: str, *, limit_s: float = 10.0) -> list[Step]:
    """Speak every message of the line protocol to the controller that `spec` names.

    Raises:
        AttachError: there is no such controller.
    """
    with attach(spec, limit_s=limit_s) as attachment:
        return Session(attachment).steps()


class _Untried(Exception):  # noqa: N818  no error: a step was left out
    """A step that cannot or need not be tried; the text says why."""


class Session:
    """The steps, in the order in which a session goes; what is said is that of a controller.

    Attributes:
        columns: the columns of an answer.
        equalises: whether its kind can be asked for an equalisation.
    """

    columns: Sequence[str] = ANSWER_COLUMNS
    equalises: bool = True

    def __init__(self, attachment: Any) -> None:
        """Of what is attached; nothing is said to it yet."""
        self._attachment = attachment
        self._identity: Identity | None = None
        self._settings = self._defaults()
        self._answers: Any = None

    def _defaults(self) -> Any:
        """The settings of the first start."""
        return Settings()

    def _other_settings(self) -> Any:
        """Settings that differ in many ways."""
        return Settings.for_cells(
            8,
            on_sag="pause",
            on_unconfirmed="wait",
            return_soc=None,
            empty_v=None,
            cell_limit_v=None,
            charge_min_c=None,
            charge_max_c=None,
        )

    def _start_with(self, settings: Any) -> None:
        self._attachment.start(settings, 0.5)

    def _samples(self) -> Any:
        """Samples that reach the hold: every column there, some readings missing."""
        return _charge(self._settings)

    def _nothing(self) -> Any:
        """One sample without readings."""
        nothing = np.array([np.nan])
        return Trace(np.zeros(1), nothing, nothing, nothing, nothing, nothing)

    def _joined(self, parts: list[Any]) -> Any:
        return Answers.joined(parts)

    def _cycles(self, identity: Identity) -> bool:
        """Whether it says that it can lose its power."""
        return "power_cycle" in identity.features

    def steps(self) -> list[Step]:
        """Go through them all, and tell what came of each."""
        # What a step needs to have gone well: one fault is told once, and waited for once.
        plan: list[tuple[str, Callable[[], None], tuple[str, ...]]] = [
            (HELLO, self._hello, ()),
            (START, self._start, (HELLO,)),
            (RUN, self._run, (HELLO, START)),
            ("run of one row without readings", self._run_of_nothing, (HELLO, START)),
            ("power_cycle", self._power_cycle, (HELLO, START, RUN)),
            (AGAIN, self._again, (HELLO, START, RUN)),
            ("the same samples in two runs", self._cut, (HELLO, START, RUN, AGAIN)),
            ("start with other settings, then with the first", self._other, (HELLO, START)),
            ("stop", self._stop, (HELLO,)),
        ]
        steps: list[Step] = []
        if self.equalises:
            plan.insert(5, ("equalise", self._equalise, (HELLO, START, RUN)))
        for tried, attempt, needs in plan:
            failed = [step.tried for step in steps if step.tried in needs and not step.ok]
            if failed:
                steps.append(Step(tried, "not tried", f"it needs what failed before: {failed[0]}"))
                continue
            with _recorded(self._attachment, tried, steps):
                attempt()
        return steps

    def _hello(self) -> None:
        self._identity = self._attachment.hello()
        if self._identity.fixed is not None:
            self._settings = self._identity.fixed

    def _start(self) -> None:
        self._start_with(self._settings)

    def _fresh_run(self, *cuts: int) -> Any:
        self._start()
        trace = self._samples()
        edges = (0, *cuts, len(trace))
        return self._joined([self._attachment.run(trace.part(*part)) for part in pairwise(edges)])

    def _run(self) -> None:
        self._answers = self._fresh_run()

    def _run_of_nothing(self) -> None:
        self._start()
        self._attachment.run(self._nothing())

    def _power_cycle(self) -> None:
        if self._identity and not self._cycles(self._identity):
            raise _Untried("the controller does not claim power_cycle")
        self._fresh_run()
        self._attachment.power_cycle()
        self._attachment.run(self._samples())

    def _equalise(self) -> None:
        if self._identity and EQUALISATION not in self._identity.features:
            raise _Untried("the controller does not claim equalisation")
        self._fresh_run()
        self._attachment.request_equalisation()
        self._attachment.run(self._samples())

    def _again(self) -> None:
        self._compare(
            self._fresh_run(),
            "LINK.fresh-start",
            "The second start and the same samples gave other answers than the first",
            "start always gives a fresh controller",
        )

    def _cut(self) -> None:
        self._compare(
            self._fresh_run(len(self._samples()) // 2),
            "LINK.cuts",
            "The same samples in two runs gave other answers than in one",
            "how a trace is cut into runs does not change the answers",
        )

    def _compare(self, answers: Any, requirement: str, sentence: str, expected: str) -> None:
        assert self._answers is not None
        for name in self.columns:
            first, now = getattr(self._answers, name), getattr(answers, name)
            if first is not None and not np.array_equal(first, now):
                row = int(np.flatnonzero(first != now)[0])
                raise LinkFault(
                    requirement,
                    observed=f"{name} {now[row]} in row {row}, {first[row]} before",
                    expected=expected,
                    sentence=f"{sentence}: {name} in row {row} is {now[row]}, before {first[row]}.",
                )

    def _other(self) -> None:
        if self._identity and self._identity.fixed is not None:
            raise _Untried(f"the {self._attachment.role}'s settings cannot be set")
        # Whether it may refuse them is not asked here; that it can be started afterwards is.
        with suppress(Refused):
            self._start_with(self._other_settings())
        self._start()

    def _stop(self) -> None:
        self._attachment.hello()
        self._attachment.stop()


def _charge(settings: Settings) -> Trace:
    size = 40
    v = np.linspace(settings.return_v, settings.absorption_v, size)
    v[size // 2 :] = settings.absorption_v
    cell_max_v = v / settings.cells
    cell_max_v[3] = np.nan
    temp_c = np.full(size, 20.0)
    return Trace(np.arange(float(size)), v, np.full(size, 12.5), cell_max_v, temp_c, temp_c + 1.5)


@contextmanager
def _recorded(attachment: Attached, tried: str, steps: list[Step]) -> Iterator[None]:
    """Turn what happens into a step; lines are held against the schema where there are lines."""
    complaints: list[str] = []
    if isinstance(attachment, Program):
        attachment.listener = lambda sent, received: complaints.extend(
            _complaints(sent, received, attachment.role)
        )
    try:
        yield
        step = Step(tried, "ok")
        if complaints:
            step = Step(tried, "failed", complaints[0], "an answer that fits the protocol's schema")
    except _Untried as reason:
        step = Step(tried, "not tried", str(reason))
    except LinkFault as fault:
        step = Step(tried, "failed", fault.sentence, fault.expected, fault.detail)
    steps.append(step)


def _complaints(sent: bytes, received: bytes, role: str) -> list[str]:
    try:
        return answer_complaints(received, sent, role)
    except ValueError:
        return []  # not JSON: the attachment says so better
