"""The reference charger, with a place in which it is another: a mistake, or what is allowed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from attrs import evolve, frozen

from ctrl.charger import (
    ChargerOutput,
    ChargerSample,
    ChargerSettings,
    ChargerState,
    Conduct,
    Message,
    charger_step,
    start_charger,
)

LONG = 1e9
Turned = tuple[ChargerState, ChargerOutput]


class Altered:
    """The reference, with places in which a subclass does something else.

    Attributes:
        settings: those that it was given.
        state: what it remembers.
        said: what it answered last.
        notes: whatever a change keeps for itself.
    """

    def __init__(self, settings: ChargerSettings) -> None:
        """Start as the reference does."""
        self.settings = settings
        self.wake()

    def wake(self) -> None:
        """Forget everything."""
        self.notes: dict[str, Any] = {}
        self.said = ChargerOutput(self.settings.fallback_v, 0.0, Conduct.STOPPED)
        self.state = self.begin()

    def begin(self) -> ChargerState:
        """What it begins with."""
        return start_charger(self.settings)

    def set_to(self) -> ChargerSettings:
        """The settings that it works with."""
        return self.settings

    def hears(self, sample: ChargerSample) -> ChargerSample:
        """The sample as it understands it."""
        return sample

    def remembers(self, before: ChargerState, _sample: ChargerSample) -> ChargerState:
        """What it believes to remember."""
        return before

    def turns(self, before: ChargerState, sample: ChargerSample) -> Turned:
        """One step."""
        return charger_step(self.set_to(), before, sample)

    def says(
        self, _before: ChargerOutput, _sample: ChargerSample, is_: ChargerOutput
    ) -> ChargerOutput:
        """What it answers; `_before` is what it answered last, `is_` what would be right."""
        return is_

    def step(self, sample: ChargerSample) -> ChargerOutput:
        """Take one sample and say what follows from it."""
        heard = self.hears(sample)
        self.state, output = self.turns(self.remembers(self.state, heard), heard)
        self.said = self.says(self.said, heard, output)
        return self.said

    def power_cycle(self) -> None:
        """Lose power."""
        self.wake()


@frozen
class Fault:
    """One faulty charger.

    Attributes:
        name: what it is called.
        told: what is wrong, in a sentence.
        breaks: ids of the requirements that it breaks.
        made: makes one of settings.
    """

    name: str
    told: str
    breaks: tuple[str, ...]
    made: Callable[[ChargerSettings], Altered]


FAULTS: dict[str, Fault] = {}
_Place = Callable[..., Any]


def _keep(name: str, told: str, breaks: tuple[str, ...], made: type[Altered]) -> None:
    if name in FAULTS:
        raise ValueError(f"there are two faults {name}")
    FAULTS[name] = Fault(name, told, breaks, made)


def _at(place: str) -> Callable[..., Callable[[_Place], _Place]]:
    def breaking(*breaks: str) -> Callable[[_Place], _Place]:
        def keep(mistake: _Place) -> _Place:
            name = mistake.__name__.replace("_", "-")
            made = type(mistake.__name__, (Altered,), {place: mistake})
            _keep(name, str(mistake.__doc__), breaks, made)
            return mistake

        return keep

    return breaking


# Each makes a faulty charger of a function that takes the place of one method of `Altered`.
hears = _at("hears")
remembers = _at("remembers")
turns = _at("turns")
says = _at("says")
begin = _at("begin")
works_with = _at("set_to")
power_cycle = _at("power_cycle")


def set_to(name: str, told: str, *breaks: str, **changes: Any) -> None:
    """Keep a fault in which some settings are others; a function makes one of the settings."""

    def changed(me: Altered) -> ChargerSettings:
        return me.settings.changed(
            **{k: v(me.settings) if callable(v) else v for k, v in changes.items()}
        )

    _keep(name, told, breaks, type(name, (Altered,), {"set_to": changed}))


def messages(sample: ChargerSample, change: Callable[[Message], Message]) -> ChargerSample:
    """The sample with each message changed."""
    return evolve(sample, messages=tuple(map(change, sample.messages)))
