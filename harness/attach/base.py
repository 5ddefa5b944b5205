"""What every attached controller offers, and what can go wrong between it and the harness."""

from __future__ import annotations

from abc import ABC, abstractmethod
from math import isfinite, nan
from types import TracebackType
from typing import Self

from ctrl.settings import Settings
from harness.errors import InputError
from harness.run import Answers, Case, Finding, Identity, Trace

LINK_REQUIREMENTS = (
    "LINK.greets",
    "LINK.starts",
    "LINK.answers",
    "LINK.sequence",
    "LINK.rows",
    "LINK.stays-alive",
    "LINK.stops",
    "LINK.cuts",
    "LINK.fresh-start",
)


# The feature without which nobody may be asked for one.
EQUALISATION = "equalisation"


class AttachError(InputError):
    """A controller cannot be attached as it was named: the mistake is the caller's."""


def refuse_limit(limit_s: float) -> None:
    """Refuse what is no limit for an answer, s; raises `AttachError`."""
    if not (isfinite(limit_s) and limit_s > 0):
        raise AttachError(
            f"the limit for one answer is {limit_s!r} s", hint="it must be greater than 0"
        )


class LinkFault(Exception):  # noqa: N818  the controller's fault, no error of ours
    """A controller broke a requirement of the group LINK; the rest of the case is not judged.

    Attributes:
        requirement: id of the requirement, one of `LINK_REQUIREMENTS`.
        observed: what the controller did.
        expected: what the requirement asks for.
        sentence: the same in plain words.
        sent: the last line sent, shortened; empty where nothing was.
        received: the last line received, shortened; empty where nothing was.
        stderr: what the controller printed on standard error, the middle left out when it is long.
        index: index of the first sample of the trace that was not answered as it should; -1 where
            no sample was asked about.
    """

    def __init__(
        self,
        requirement: str,
        *,
        observed: str,
        expected: str,
        sentence: str,
        sent: str = "",
        received: str = "",
        stderr: str = "",
        index: int = -1,
    ) -> None:
        super().__init__(sentence)
        self.requirement = requirement
        self.observed = observed
        self.expected = expected
        self.sentence = sentence
        self.sent = sent
        self.received = received
        self.stderr = stderr
        self.index = index

    @property
    def detail(self) -> str:
        """What was sent, received and printed last, one part a line."""
        parts = (
            ("last line sent", self.sent),
            ("last line received", self.received),
            ("standard error", self.stderr),
        )
        return "\n".join(f"{name}: {text}" for name, text in parts if text)

    def finding(self, case: str, *, t: float = nan) -> Finding:
        """The fault as a finding about the case of this id; `t` is the sample's stamp, s."""
        return Finding(
            requirement=self.requirement,
            case=case,
            t=t,
            index=self.index,
            observed=self.observed,
            expected=self.expected,
            margin=0.0,
            unit="",
            sentence=self.sentence,
            detail=self.detail,
        )


class Refused(LinkFault):
    """A controller will not start with settings that the rules allow; it lives on.

    Attributes:
        reason: the controller's own words.
    """

    def __init__(
        self,
        reason: str,
        *,
        sent: str = "",
        received: str = "",
        stderr: str = "",
        role: str = "controller",
    ) -> None:
        super().__init__(
            "LINK.starts",
            observed=f"refused: {reason}",
            expected="ok to all settings that the rules allow, or fixed settings in hello",
            sentence=f"The {role} refused settings that the rules allow: {reason}",
            sent=sent,
            received=received,
            stderr=stderr,
        )
        self.reason = reason


class Attached(ABC):
    """Something under test, whatever it is written in and however it is reached.

    Use it as a context manager. After a `LinkFault` the controller is gone, and the next call
    starts it anew; what was asked of it before is lost.

    Attributes:
        role: what is under test: a `controller` or a `charger`.
        spec: how it was named.
        limit_s: the longest wait for one answer, s of the wall clock.
    """

    role = "controller"

    def __init__(self, spec: str, limit_s: float) -> None:
        self.spec = spec
        self.limit_s = limit_s

    @abstractmethod
    def hello(self) -> Identity:
        """Who the controller says it is; asked once. Raises `LinkFault`."""

    @abstractmethod
    def power_cycle(self) -> None:
        """Let the controller lose its power. Raises `LinkFault`, `RuntimeError` as `run`."""

    @abstractmethod
    def restart(self) -> None:
        """Throw the controller away without a word; the next call starts it anew."""

    def stop(self) -> None:
        """Ask the controller to end, where there is anything to end; the next call starts it anew.

        Raises:
            LinkFault: it did not end as it should (`LINK.stops`).
        """
        self.restart()

    def close(self) -> None:
        """End the controller one way or the other; never raises what the controller did wrong."""
        try:
            self.stop()
        except LinkFault:
            self.restart()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        # Whoever interrupts a run does not want to wait for a farewell.
        if kind is None:
            self.close()
        else:
            self.restart()


class Attachment(Attached):
    """One controller under test; see the base class."""

    @abstractmethod
    def start(self, settings: Settings, soc: float) -> None:
        """A fresh controller with these settings and this starting count, 0..1.

        Raises:
            Refused: it will not start with these settings.
            LinkFault: it did not answer as it should.
        """

    @abstractmethod
    def run(self, trace: Trace) -> Answers:
        """Send samples that continue from the ones before.

        Returns:
            One answer for each sample.

        Raises:
            LinkFault: it did not answer as it should.
            RuntimeError: there was no accepted `start` before.
        """

    def request_equalisation(self) -> None:
        """Ask the controller for an equalisation, as somebody at its keys would.

        Raises:
            LinkFault: it did not answer as it should.
            RuntimeError: there was no accepted `start` before, or this kind of attachment has no
                way to ask: see `cannot_be_told`.
        """
        raise RuntimeError(f"there is no way to ask {self.spec} for an equalisation")

    def as_given(self, case: Case) -> Case:
        """The case as it reaches the controller, where its interface cannot say all of it.

        A stamp in whole milliseconds, or a reading in single precision, is not quite the one of
        the case; a controller is judged by what it was given. Raises `LinkFault` as `hello`.
        """
        return case

    def cannot_be_told(self, case: Case) -> str:
        """Why a case cannot be told to the controller at all; empty where it can.

        Raises:
            LinkFault: it did not say who it is.
        """
        if case.equalise_requests and EQUALISATION not in self.hello().features:
            return f"it asks for an {EQUALISATION}, which the {self.role} does not claim"
        return ""
