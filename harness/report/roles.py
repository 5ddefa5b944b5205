"""What is told of a role: the words of what is answered, its settings, and the columns to show."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from attrs import frozen

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.role import CHARGER, CONTROLLER


@frozen
class Told:
    """How one role is told of.

    Attributes:
        role: its name.
        state: what the discrete answer is called: `stage` or `state`.
        words: the word of each of its codes.
        follows: what the checks go by, in a sentence.
        settings: makes settings of a mapping; raises `SettingsError`.
        usual: the defaults that settings, as a mapping, are compared with.
    """

    role: str
    state: str
    words: tuple[str, ...]
    follows: str
    settings: Callable[[Mapping[str, Any]], Any]
    usual: Callable[[Mapping[str, Any]], dict[str, Any]]

    def code(self, word: str) -> int:
        """The code of a word; raises `ValueError` for any other word."""
        return self.words.index(word)


@cache
def told_of(role: str) -> Told:
    """How a role is told of; what only a charger needs is loaded only for one."""
    if role != CHARGER:
        return Told(
            role=CONTROLLER,
            state="stage",
            words=tuple(stage.word for stage in Stage),
            follows=(
                "The check follows the stages that the controller itself reports; "
                "timers and dwells are drawn on those."
            ),
            settings=Settings.from_mapping,
            usual=lambda used: Settings.for_cells(used["cells"]).to_mapping(),
        )
    from ctrl.charger import ChargerSettings, Conduct

    return Told(
        role=CHARGER,
        state="state",
        words=tuple(conduct.word for conduct in Conduct),
        follows=(
            "The check follows the state, set-point and limit that the charger itself reports, "
            "and asks whether what it has heard justifies them."
        ),
        settings=ChargerSettings.from_mapping,
        usual=lambda used: ChargerSettings(packs=used["packs"]).to_mapping(),
    )
