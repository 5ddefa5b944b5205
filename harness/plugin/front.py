"""What a session of pytest shares: the controller, the vectors, the known failures."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from harness.attach import Attachment, LinkFault, attach
from harness.cases import rendered_for, shipped
from harness.cli.selection import selection
from harness.errors import InputError
from harness.plugin.items import Farewell, Hunt, Vectors, VectorTest
from harness.report.known import Entry, read_known
from harness.rules import GROUPS, REQUIREMENTS
from harness.run import Case, Finding, Identity


class Front:
    """The controller of a session and what is tried on it.

    Attributes:
        controller: how the controller is attached.
        attachment: the controller itself.
        identity: who it says it is; None where it did not say.
        judged: ids of the requirements that are judged.
        limit_s: the longest wait for one answer, s.
        tolerance_s: declared tolerance of its clock, s.
        hunt: how many traces the hunt draws.
        seed: which ones.
        save: where the hunt writes what it finds; None for nowhere.
    """

    def __init__(
        self,
        config: pytest.Config,
        *,
        controller: str,
        select: tuple[str, ...],
        known: str,
        hunt: int,
        seed: int,
        save: str,
        limit_s: float,
        tolerance_s: float,
    ) -> None:
        """Attach the controller and ask who it is.

        Raises:
            InputError: an option that cannot be used, or a controller that cannot be attached.
        """
        for name, number in (("hunt", hunt), ("seed", seed), ("tolerance_s", tolerance_s)):
            if not (math.isfinite(number) and number >= 0):
                raise InputError(f"{name} is {number}", hint="it must be 0 or more")
        self.controller = controller
        self.hunt, self.seed = hunt, seed
        self.save = config.invocation_params.dir / save if save else None
        self.limit_s, self.tolerance_s = limit_s, tolerance_s
        vectors = {vector.id: vector.case for vector in shipped()}
        self.selection = selection(select, list(vectors))
        self.judged = self.selection.judged
        self._known_file = Path(config.invocation_params.dir, known) if known else None
        self.known: tuple[Entry, ...] = ()
        if self._known_file is not None:
            self.known = read_known(self._known_file, [r.id for r in REQUIREMENTS], vectors)
        self.attachment: Attachment = attach(controller, limit_s=limit_s)
        self.identity: Identity | None = None
        try:
            self.identity = self.attachment.hello()
        except LinkFault:
            # The first test meets it again, and fails.
            self.attachment.restart()
        self._cases, self._reasons = self._chosen(vectors)
        for group, about in GROUPS.items():
            config.addinivalue_line("markers", f"{group}: {about}")
        for requirement in REQUIREMENTS:
            config.addinivalue_line("markers", f"{requirement.id}: {requirement.title}")

    def _chosen(self, vectors: dict[str, Case]) -> tuple[dict[str, Case], dict[str, str]]:
        """What to try, and why each of the others cannot be."""
        cases = vectors
        reasons: dict[str, str] = {}
        if self.identity is not None and self.identity.fixed is not None:
            rendered, reasons = rendered_for(self.identity.fixed)
            cases = {each.id: each.case for each in rendered}
        return {name: case for name, case in cases.items() if name in self.selection.vectors}, {
            name: reason for name, reason in reasons.items() if name in self.selection.vectors
        }

    def excuse(self, finding: Finding) -> str:
        """Why a finding is known; empty where it is not."""
        return next((entry.reason for entry in self.known if entry.names(finding)), "")

    def stale(self, case: str, findings: tuple[Finding, ...]) -> list[Entry]:
        """The entries that name a vector in which what they excuse did not happen."""
        return [
            entry
            for entry in self.known
            if entry.vector == case and not any(map(entry.names, findings))
        ]

    @property
    def known_file(self) -> str:
        """The file with the known failures, for a message."""
        return str(self._known_file)

    def pytest_report_header(self) -> str:
        """Which controller is judged."""
        who = self.identity
        told = f" ({who.name} {who.version}, {who.language})" if who else ""
        return f"fullproof: {self.controller}{told}"

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection_modifyitems(
        self, session: pytest.Session, items: list[pytest.Item]
    ) -> None:
        """Add a test a vector, one for the farewell, and the hunt."""
        parent = Vectors.from_parent(session, name="fullproof", nodeid="fullproof")
        own: list[pytest.Item] = [
            VectorTest.from_parent(parent, name=name, front=self, case=case, lacking="")
            for name, case in self._cases.items()
        ]
        own += [
            VectorTest.from_parent(parent, name=name, front=self, case=None, lacking=reason)
            for name, reason in self._reasons.items()
        ]
        if self.hunt:
            own.append(Hunt.from_parent(parent, name="hunt", front=self))
        own.append(Farewell.from_parent(parent, name="stops-when-told", front=self))
        items += own

    def pytest_unconfigure(self) -> None:
        """End the controller."""
        self.attachment.restart()
