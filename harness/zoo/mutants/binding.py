"""The reference bound again: its own functions, in names of their own that a mutant may change.

The code of the functions is that of `ctrl` as it stands. Only the names that they look up are other
ones, so that one function, one number or one row of the table can be replaced for one controller
and for no other.
"""

from __future__ import annotations

from collections.abc import Callable
from types import FunctionType, ModuleType, SimpleNamespace
from typing import Any

from attrs import evolve

from ctrl import (
    controller,
    counting,
    equalisation,
    limits,
    protection,
    resets,
    stages,
    state,
    temperature,
    transitions,
    vocabulary,
)
from ctrl.settings import Settings
from ctrl.state import Output, Sample, State
from harness.zoo.mutants.mutant import Change, Names

MODULES: tuple[ModuleType, ...] = (
    vocabulary,
    state,
    limits,
    counting,
    protection,
    resets,
    transitions,
    temperature,
    equalisation,
    stages,
    controller,
)


def own_functions() -> dict[str, FunctionType]:
    """Every function of the rules by name."""
    return {
        name: what
        for module in MODULES
        for name, what in vars(module).items()
        if isinstance(what, FunctionType) and what.__module__ == module.__name__
    }


FUNCTIONS = own_functions()


def bound(change: Change | None = None) -> Names:
    """Every name of the rules, bound anew; a change is made before anything is called."""
    names: Names = {}
    for module in MODULES:
        names.update({k: v for k, v in vars(module).items() if not k.startswith("__")})
    for name, function in FUNCTIONS.items():
        names[name] = FunctionType(function.__code__, names, name, function.__defaults__)
    names["rule"] = resets.VOLTAGE_AFTER_HOLD
    if change is not None:
        change(names)
    return names


def as_read(settings: Settings) -> Any:
    """Settings as `limits_of` reads them, with nothing that checks a change."""
    return SimpleNamespace(**settings.to_mapping())


class BoundController:
    """A controller of bound functions: the reference, or a mutant of it."""

    def __init__(self, names: Names, settings: Settings, soc: float) -> None:
        """Start fresh; `names` are those of `bound`.

        Raises:
            ValueError: `soc` is not a fraction 0..1.
        """
        self._decide: Callable[..., tuple[State, Output]] = names["decide"]
        self._power_cycle: Callable[[State], State] = names["power_cycle"]
        self._with_request: Callable[..., State] = names["with_request"]
        self.limits = names["limits_of"](as_read(settings))
        # The condition is looked up in the names, like all else.
        self.rule = evolve(names["rule"], condition=names[names["rule"].condition.__name__])
        self.state: State = names["powered_up"](soc)

    def step(self, sample: Sample) -> Output:
        """Take one sample and say what follows from it."""
        self.state, output = self._decide(self.limits, self.rule, self.state, sample)
        return output

    def request_equalisation(self) -> None:
        """Somebody asks for an equalisation."""
        self.state = self._with_request(self.limits, self.state)

    def power_cycle(self) -> None:
        """Lose power."""
        self.state = self._power_cycle(self.state)
