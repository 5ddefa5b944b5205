"""The hunt: traces without end on one controller, and every way in which it breaks a requirement."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from typing import Any

from attrs import evolve

from harness.attach.base import Attached, LinkFault
from harness.hunt.doubt import examined
from harness.hunt.exercised import Exercised
from harness.hunt.failure import NO_RUN, Failure, Hunted, Key
from harness.hunt.role import role_of
from harness.hunt.trial import Trial, judged, tried
from harness.rules.link import FRESH
from harness.rules.requirement import Requirement
from harness.run import Finding, Identity
from harness.verify import SILENT_CASES

# Of so many traces one is cut into short messages.
CUT_ONE_IN = 4
LONGEST_CUT = 7
SILENT = f"{SILENT_CASES} traces in a row had no proper answer"
NOBODY = "the {} never said who it is"

Progress = Callable[[int, int], None]


def hunt(
    attachment: Attached,
    *,
    seed: int,
    traces: int | None = None,
    seconds: float | None = None,
    worlds: int = 0,
    first: int = 0,
    settings: Any = None,
    selected: Collection[str] | None = None,
    tolerance_s: float = 0.0,
    progress: Progress | None = None,
    interrupted: Callable[[], bool] = lambda: False,
    enough: Callable[[tuple[Failure, ...]], bool] = lambda _: False,
) -> Hunted:
    """Run the traces of a sweep until a budget is spent, and keep what is wrong with the answers.

    A failure that is known already is counted, and the hunt goes on for others. The same traces
    give the same finds.

    Args:
        attachment: the controller, or the charger; one with fixed settings is hunted with these.
        seed: of the sweep, 0 or more.
        traces: the most traces to run; None for no limit.
        seconds: after so many s of the wall clock no trace begins; None for no limit.
        worlds: how many banks in closed loop follow the sweep; none with given or fixed settings.
        first: number of the first trace in the sweep.
        settings: those of every trace, of the role of the attachment; None draws them.
        selected: ids of the requirements that are asked for; None for all.
        tolerance_s: declared tolerance of the controller's clock, s.
        progress: called before each trace with how many ran and how many failures are known.
        interrupted: asked before each trace; the hunt ends when it says so, as it does on
            `KeyboardInterrupt`.
        enough: asked before each trace with the failures that are known; the hunt ends when it says
            so.

    Raises:
        ValueError: an unknown requirement, a negative number, or settings for a controller whose
            settings are fixed.
    """
    role = role_of(attachment)
    _refuse_unknown(selected, role.catalogue)
    began_s = time.monotonic()
    going = _Hunt(attachment, selected, tolerance_s)
    if going.greeted():
        assert going.identity is not None
        fixed = going.identity.fixed
        if fixed is not None and settings is not None:
            raise ValueError(f"the settings of {going.identity.name} are fixed")
        source = role.sweep(seed, fixed or settings, going.identity.features, first)
        try:
            while not going.stopped and (traces is None or going.done < traces):
                if seconds is not None and time.monotonic() - began_s >= seconds:
                    break
                if interrupted():
                    going.interrupted = True
                    break
                if enough(tuple(going.failures.values())):
                    break
                if progress is not None:
                    progress(going.done, len(going.failures))
                going.try_(next(source))
            if worlds and not (fixed or settings):
                _in_worlds(going, seed, worlds, interrupted)
        except KeyboardInterrupt:
            going.interrupted = True
        if going.done and not going.interrupted:
            going.farewell()
    return Hunted(
        spec=attachment.spec,
        role=role.name,
        identity=going.identity,
        seed=seed,
        first=first,
        traces=going.done,
        failures=tuple(going.failures.values()),
        exercised=dict(going.exercised.times),
        cases=dict(going.exercised.cases),
        judged=going.judged,
        differing=going.differing,
        errors=going.errors,
        stopped=going.stopped,
        interrupted=going.interrupted,
        elapsed_s=time.monotonic() - began_s,
    )


def _in_worlds(going: _Hunt, seed: int, count: int, interrupted: Callable[[], bool]) -> None:
    assert going.identity is not None
    features = going.identity.features
    for swept in going.role.worlds(going.attachment, seed, count, features):
        if going.stopped or interrupted():
            going.interrupted = going.interrupted or interrupted()
            return
        going.try_(swept)


def as_tried(swept: Any) -> Any:
    """The case of a sweep as the hunt tries it: some are cut into messages of a few samples."""
    if swept.number % CUT_ONE_IN != CUT_ONE_IN - 1:
        return swept.case
    length = 1 + swept.number // CUT_ONE_IN % LONGEST_CUT
    return evolve(swept.case, cuts=tuple(range(length, len(swept.case.trace), length)))


class _Hunt:
    """One hunt as it goes."""

    def __init__(
        self, attachment: Attached, selected: Collection[str] | None, tolerance_s: float
    ) -> None:
        self.attachment = attachment
        self.role = role_of(attachment)
        self.selected = None if selected is None else frozenset(selected)
        self.tolerance_s = tolerance_s
        self.identity: Identity | None = None
        self.exercised = Exercised((), self.selected, self.role.catalogue)
        self.always = self.role.is_reference(attachment)
        self.failures: dict[Key, Failure] = {}
        self.errors: dict[str, str] = {}
        self.done = self.judged = self.differing = 0
        self.silent_in_a_row = 0
        self.stopped = ""
        self.interrupted = False
        self.afresh = False
        self.latest: Any = None

    def greeted(self) -> bool:
        """Whether the controller says who it is; what it does instead is a failure."""
        try:
            self.identity = self.attachment.hello()
        except LinkFault as fault:
            self.attachment.restart()
            self._add(Failure(Key(fault.requirement, NO_RUN), fault.finding(""), 0, None))
            self.stopped = NOBODY.format(self.role.name)
            return False
        self.exercised = Exercised(self.identity.features, self.selected, self.role.catalogue)
        return True

    def try_(self, swept: Any) -> None:
        """Run one trace, and look at what came of it."""
        case = as_tried(swept)
        if self.role.cannot_be_told(self.attachment, case):
            self.done += 1
            return
        try:
            self._look(swept, tried(self.attachment, case, afresh=self.afresh))
        except Exception as error:  # one trace that cannot be judged must not end the hunt
            self.errors[case.id] = f"could not be judged: {type(error).__name__}: {error}"
        self.done += 1
        self.latest = swept

    def farewell(self) -> None:
        """The end of the program, after the last trace."""
        try:
            self.attachment.hello()
            self.attachment.stop()
        except LinkFault as fault:
            self.attachment.restart()
            self._add(Failure(Key(fault.requirement, NO_RUN), fault.finding(""), 0, None))
        else:
            self.exercised.add({"LINK.stops": 1})

    def _look(self, swept: Any, trial: Trial) -> None:
        assert self.identity is not None
        same = trial.answers is not None and self.role.agrees(
            trial.answers, swept.said, self.identity.features
        )
        if trial.run is not None:
            self.silent_in_a_row = 0
            self.exercised.answered(cut=bool(trial.case.cuts), after_another=self.done > 0)
        else:
            assert trial.fault is not None
            self._count_silence(trial.fault)
        if same and not self.always and not self.exercised.due(self.done):
            return
        verdict = judged(trial, self.tolerance_s)
        self.judged += 1
        self.exercised.add(verdict.exercised)
        found = {k: f for k, f in verdict.found.items() if self._asked(k)}
        self.differing += not same and not verdict.found
        new = {key: finding for key, finding in found.items() if key not in self.failures}
        for key in found.keys() - new.keys():
            self._count(key)
        if new:
            for failure in examined(
                self.attachment, trial, swept.number, new, self.latest, self.tolerance_s
            ):
                self._add(failure)

    def _add(self, failure: Failure) -> None:
        """A failure that may be a known one after all, and then is counted."""
        if failure.key in self.failures:
            self._count(failure.key)
        elif self._asked(failure.key):
            self.failures[failure.key] = failure
        # From now on each trace is run by itself, so that others can still be told apart.
        self.afresh |= failure.key.requirement == FRESH

    def _count(self, key: Key) -> None:
        known = self.failures[key]
        self.failures[key] = evolve(known, traces=known.traces + 1)

    def _asked(self, key: Key) -> bool:
        return self.selected is None or key.requirement in self.selected

    def _count_silence(self, fault: Finding) -> None:
        # Each silence costs the whole limit of an answer; any other fault costs next to nothing.
        silent = fault.requirement == "LINK.answers"
        self.silent_in_a_row = self.silent_in_a_row + 1 if silent else 0
        if self.silent_in_a_row == SILENT_CASES:
            self.stopped = SILENT


def _refuse_unknown(selected: Collection[str] | None, catalogue: Collection[Requirement]) -> None:
    if selected is None:
        return
    unknown = set(selected) - {r.id for r in catalogue}
    if unknown or not selected:
        raise ValueError(f"no such requirement: {', '.join(sorted(unknown)) or 'none was named'}")
