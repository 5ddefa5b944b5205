"""A mutant as a program that speaks the line protocol."""

from __future__ import annotations

from typing import Any

from ctrl.settings import Settings
from harness.zoo.mutants.binding import BoundController, bound
from harness.zoo.mutants.mutant import Mutant
from harness.zoo.saboteurs import Message, Program


class MutantProgram(Program):
    """Answers every message as the protocol says, with a mutant inside."""

    def __init__(self, mutant: Mutant) -> None:
        super().__init__(f"reference with {mutant.name}")
        self._names = bound(mutant.change)
        self._mutant: BoundController | None = None

    def start(self, message: Message) -> Message:
        """Make a fresh controller, or say why not."""
        try:
            settings = Settings.from_mapping(message["settings"])
            self._mutant = BoundController(self._names, settings, message["soc"])
        except ValueError as error:
            return {"error": str(error)}
        return {"ok": True}

    def row(self, sample: Any) -> list[Any]:
        """Step one sample on."""
        assert self._mutant is not None
        output = self._mutant.step(sample)
        answers = {name: getattr(output, name) for name in self.columns}
        return [*(answers | {"stage": output.stage.word}).values()]

    def power_cycle(self, message: Message) -> Message:  # noqa: ARG002  one signature for all
        """Lose the power."""
        assert self._mutant is not None
        self._mutant.power_cycle()
        return {"ok": True}

    def equalise(self, message: Message) -> Message:  # noqa: ARG002  one signature for all
        """Take a request for an equalisation."""
        assert self._mutant is not None
        self._mutant.request_equalisation()
        return {"ok": True}
