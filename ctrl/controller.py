"""The reference controller: `step`, a pure function, and `Controller`, a thin object over it."""

from __future__ import annotations

from ctrl.equalisation import with_request
from ctrl.resets import VOLTAGE_AFTER_HOLD, ResetRule
from ctrl.settings import Settings
from ctrl.stages import decide
from ctrl.state import Event, Output, Sample, State, powered_up

__all__ = [
    "Controller",
    "Event",
    "Output",
    "Sample",
    "State",
    "power_cycle",
    "request_equalisation",
    "start",
    "step",
]


def start(soc: float) -> State:
    """The state of a fresh controller that starts counting at `soc`, 0..1.

    Raises:
        ValueError: `soc` is not a fraction 0..1.
    """
    return powered_up(soc)


def power_cycle(state: State) -> State:
    """The state after power was lost: everything but the count is forgotten."""
    return powered_up(state.soc)


def request_equalisation(settings: Settings, state: State) -> State:
    """The state after somebody asked for an equalisation.

    It is remembered until one is completed or power is lost. Without `equalisation_v` nothing
    changes.
    """
    return with_request(settings.limits, state)


def step(
    settings: Settings, state: State, sample: Sample, rule: ResetRule = VOLTAGE_AFTER_HOLD
) -> tuple[State, Output]:
    """One sample of the reference controller; nothing that is passed in is changed.

    Args:
        settings: the pack's settings.
        state: what the controller remembers; `start` makes the first.
        sample: the reading. Any numbers are legal, NaN and infinity among them.
        rule: what decides a full reset.

    Returns:
        The state after the sample, and what the controller says.
    """
    return decide(settings.limits, rule, state, sample)


class Controller:
    """The reference controller as an object that remembers its own state."""

    def __init__(
        self, settings: Settings, soc: float = 0.5, rule: ResetRule = VOLTAGE_AFTER_HOLD
    ) -> None:
        """Start fresh.

        Raises:
            ValueError: `soc` is not a fraction 0..1.
        """
        self.settings = settings
        self.rule = rule
        self.state = start(soc)

    def step(self, sample: Sample) -> Output:
        """Take one sample and say what follows from it."""
        self.state, output = decide(self.settings.limits, self.rule, self.state, sample)
        return output

    def request_equalisation(self) -> None:
        """Somebody asks for an equalisation; without `equalisation_v` nothing changes."""
        self.state = request_equalisation(self.settings, self.state)

    def power_cycle(self) -> None:
        """Lose power: everything but the count is forgotten."""
        self.state = power_cycle(self.state)
