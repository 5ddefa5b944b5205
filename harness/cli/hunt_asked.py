"""What `hunt` was asked for, as it was written: enough to ask for it again."""

from __future__ import annotations

import shlex

from attrs import frozen

from harness.cli.judge_options import LIMIT_S
from harness.role import CONTROLLER


@frozen
class Asked:
    """The words of one command.

    Attributes:
        role: `controller` or `charger`.
        controller: how it is named.
        seed: of the sweep.
        settings: the file, the cells, the changes and the chemistry that the options name.
        tolerance_s: declared tolerance of its clock, s.
        limit_s: the longest wait for one answer, s.
    """

    role: str
    controller: str
    seed: int
    settings: tuple[str | None, int | None, tuple[str, ...], str | None]
    tolerance_s: float
    limit_s: float

    def replay(self, file: str) -> str:
        """The command that shows a saved trace again."""
        return f"fullproof replay {self._named()} {shlex.quote(file)}{self._judged()}"

    def hunt(self, number: int, before: int) -> str:
        """The command that hunts the same trace again, and those before it that it takes."""
        settings_file, cells, changes, chemistry = self.settings
        which = f"--first {number - before} --traces {before + 1}"
        if number < 0:
            # A trace of a world: it takes those before it to come by.
            which = f"--traces 1 --worlds {-number}"
        options = f" --seed {self.seed} {which}"
        if chemistry is not None:
            options += f" --chemistry {chemistry}"
        if settings_file:
            options += f" --settings {shlex.quote(settings_file)}"
        if cells is not None:
            options += f" --cells {cells}"
        options += "".join(f" --set {shlex.quote(change)}" for change in changes)
        return f"fullproof hunt {self._named()}{options}{self._judged()}"

    def _named(self) -> str:
        role = f"--role {self.role} " if self.role != CONTROLLER else ""
        return f"{role}{shlex.quote(self.controller)}"

    def _judged(self) -> str:
        options = f" --limit-s {self.limit_s:g}" if self.limit_s != LIMIT_S else ""
        return options + (f" --tolerance-s {self.tolerance_s:g}" if self.tolerance_s else "")
