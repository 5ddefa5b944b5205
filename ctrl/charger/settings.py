"""The settings of a charger that listens: names, units, defaults, and what contradicts what."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs
from attrs import Attribute, field, frozen

from ctrl.errors import SettingsError
from ctrl.fields import (
    Contradiction,
    check_cells,
    number_field,
    range_field,
    refuse_contradictions,
    refuse_unknown,
    scaled_to_cells,
)


def _packs(_: Any, attribute: Attribute[int], value: Any) -> None:
    if not isinstance(value, int) or isinstance(value, bool) or value < 1:
        raise SettingsError(
            f"{attribute.name} is {value!r}",
            fields=(attribute.name,),
            hint="it must be a whole number greater than 0",
        )


@frozen(kw_only=True)
class ChargerSettings:
    """Everything that can be set on a charger. Defaults are for packs of 16 LFP cells.

    The defaults are common practice, no source. The limits in the data sheets of cells, charger
    and cables, local codes and licensed practice come before anything that is set here.

    Attributes:
        packs: packs that must be heard.
        highest_v: the set-point never exceeds this, whatever is asked, V.
        highest_a: the limit never exceeds this, whatever is asked, A.
        stale_s: a message older than this is old, s.
        silent_s: a pack whose last good message is older than this is silent: the charger stops, s.
        steady_s: how long every message must have been fresh before the charger follows, s.
        fallback_v: most that the set-point is in fallback, V.
        fallback_a: most that the limit is in fallback, A.
        compensation_v: bound of the compensation, upward and downward, V.
        compensation_v_per_s: bound of the rate of the compensation, V per second.
        sense_time_s: time constant of the integral that moves the compensation, s.
        sense_error_v: with the charger holding its voltage, the highest pack voltage ends within
            this of the request, V; a tolerance for checks, which moves nothing.
        regulation_v: with its own voltage this near to the set-point the charger holds it, V.
        raise_v_per_s: slope of a set-point that rises, without compensation, V per second.
        raise_a_per_s: slope of a limit that rises, A per second.
        zero_s: a request of 0 A is obeyed within this, s; a tolerance for checks, the reference
            obeys at once.
        frozen_s: a pack's voltage and current that have not changed for this long are frozen, s.
        max_gap_s: longest interval between samples that still counts as continuous, s.
        plausible_v: low and high bound of a believable voltage, asked or read, V.
        plausible_a: highest believable current, asked or, in either direction, read, A.
    """

    packs: int = field(default=1, validator=_packs)
    highest_v: float = number_field(58.0)
    highest_a: float = number_field(100.0, "0 or greater")
    stale_s: float = number_field(5.0, "greater than 0")
    silent_s: float = number_field(60.0, "greater than 0")
    steady_s: float = number_field(10.0, "0 or greater")
    fallback_v: float = number_field(54.0)
    fallback_a: float = number_field(20.0, "0 or greater")
    compensation_v: float = number_field(0.5, "0 or greater")
    compensation_v_per_s: float = number_field(0.01, "0 or greater")
    sense_time_s: float = number_field(60.0, "greater than 0")
    sense_error_v: float = number_field(0.02, "0 or greater")
    regulation_v: float = number_field(0.1, "greater than 0")
    raise_v_per_s: float = number_field(0.1, "greater than 0")
    raise_a_per_s: float = number_field(5.0, "greater than 0")
    zero_s: float = number_field(1.0, "0 or greater")
    frozen_s: float = number_field(60.0, "greater than 0")
    max_gap_s: float = number_field(10.0, "greater than 0")
    plausible_v: tuple[float, float] = range_field((30.0, 70.0))
    plausible_a: float = number_field(1000.0, "greater than 0")

    def __attrs_post_init__(self) -> None:
        refuse_contradictions(self, _CONTRADICTIONS)

    @classmethod
    def for_cells(cls, /, cells: int, **changes: Any) -> ChargerSettings:
        """The defaults with the pack voltages scaled to `cells` in series, then `changes`.

        The bound of the compensation is not scaled: what a line loses depends on the current.

        Raises:
            SettingsError: an unknown name, or a value that a setting cannot have.
        """
        refuse_unknown(changes, CHARGER_SETTING_NAMES)
        check_cells(cells)
        scaled = {
            name: scaled_to_cells(getattr(cls(), name), cells) for name in CHARGER_PACK_VOLTAGES
        }
        return cls(**{**scaled, **changes})

    def changed(self, /, **changes: Any) -> ChargerSettings:
        """These settings with some of them changed, checked again; raises `SettingsError`."""
        refuse_unknown(changes, CHARGER_SETTING_NAMES)
        return ChargerSettings(**{**self.to_mapping(), **changes})

    def to_mapping(self) -> dict[str, Any]:
        """Every setting by name, in the order of the settings table; ranges are tuples."""
        return {name: getattr(self, name) for name in CHARGER_SETTING_NAMES}

    @classmethod
    def from_mapping(cls, values: Mapping[str, Any]) -> ChargerSettings:
        """Settings from names and values; what is not named has its default.

        Raises:
            SettingsError: an unknown name, or a value that a setting cannot have.
        """
        refuse_unknown(values, CHARGER_SETTING_NAMES)
        return cls(**values)


CHARGER_PACK_VOLTAGES = ("highest_v", "fallback_v", "plausible_v")
CHARGER_SETTING_NAMES = tuple(a.name for a in attrs.fields(ChargerSettings))

# The complete list: what is not here is legal, if perhaps unwise.
_CONTRADICTIONS: tuple[Contradiction, ...] = (
    (("stale_s", "silent_s"), lambda stale, silent: stale < silent, "stale_s < silent_s"),
    (("fallback_v", "highest_v"), lambda low, top: low <= top, "fallback_v <= highest_v"),
    (("fallback_a", "highest_a"), lambda low, top: low <= top, "fallback_a <= highest_a"),
    (("highest_a", "plausible_a"), lambda top, most: top <= most, "highest_a <= plausible_a"),
    (("max_gap_s", "sense_time_s"), lambda gap, time: gap <= time, "max_gap_s <= sense_time_s"),
    (
        ("highest_v", "plausible_v"),
        lambda top, plausible: plausible[0] <= top <= plausible[1],
        "highest_v inside plausible_v",
    ),
    (
        ("fallback_v", "plausible_v"),
        lambda low, plausible: plausible[0] <= low <= plausible[1],
        "fallback_v inside plausible_v",
    ),
)
