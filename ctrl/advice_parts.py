"""What advice about settings is made of, and what the settings meet in the field."""

from __future__ import annotations

from math import isfinite
from typing import Any

from attrs import Attribute, field, frozen

from ctrl.chemistry import Profile, presumed
from ctrl.settings import Settings

CAUTION = (
    "The limits in the cell maker's data sheet, local codes and licensed practice come before any "
    "number that is said here."
)

# A voltage that is advised to three decimals must not fall short by its last bit.
SLACK_V = 1e-9


@frozen
class Advice:
    """One thing about the settings that somebody will regret.

    Attributes:
        fields: the settings it is about.
        sentence: what will happen.
        hint: what would be better, in numbers.
        wanted: what should be true in its place, where no margin says that; else empty.
    """

    fields: tuple[str, ...]
    sentence: str
    hint: str
    wanted: str = ""


def _not_negative(_: Any, attribute: Attribute[float], value: float) -> None:
    if not (isfinite(value) and value >= 0.0):
        raise ValueError(f"{attribute.name} is {value!r}; it must be a number, 0 or greater")


@frozen(kw_only=True)
class Found:
    """What the settings meet in the field; see the arguments of `ctrl.advice.warnings`."""

    meter_error_v: float = field(validator=_not_negative)
    meter_noise_v: float = field(validator=_not_negative)
    wiring_ohm: float = field(validator=_not_negative)
    interval_s: float = field(validator=_not_negative)
    rest_cell_v: float = field(validator=_not_negative)
    taper_a: float = field(validator=_not_negative)


def likely(settings: Settings) -> Profile:
    """The chemistry that the settings look like: by the voltage of absorption of one cell."""
    return presumed(settings.absorption_v / settings.cells, settings.equalisation_v is not None)
