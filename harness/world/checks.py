"""Validators of the parts of a bank: each names the field, what was found, and what would be right."""

from __future__ import annotations

from collections.abc import Callable
from math import inf, isfinite
from typing import Any

from attrs import Attribute

from harness.errors import InputError

Validator = Callable[[Any, "Attribute[Any]", Any], None]


def number_within(
    low: float, high: float, unit: str, *, above_low: bool = False, infinite: bool = False
) -> Validator:
    """A validator for a number.

    Args:
        low: lowest value allowed.
        high: highest value allowed.
        unit: its unit, for the hint.
        above_low: whether `low` itself is refused.
        infinite: whether infinity is allowed.
    """
    bound = f"above {low:g}" if above_low else f"from {low:g}"
    right = f"a number {bound}{'' if high == inf else f' up to {high:g}'}{unit and ' ' + unit}"

    def check(_: Any, attribute: Attribute[Any], value: Any) -> None:
        fits = isinstance(value, int | float) and not isinstance(value, bool)
        fits = fits and (isfinite(value) or (infinite and value == inf))
        if not fits or not (low < value if above_low else low <= value) or value > high:
            raise InputError(f"{attribute.name} is {value!r}", column=attribute.name, hint=right)

    return check


def positive(unit: str, *, infinite: bool = False) -> Validator:
    """A number above zero."""
    return number_within(0.0, inf, unit, above_low=True, infinite=infinite)


def not_negative(unit: str, *, infinite: bool = False) -> Validator:
    """Zero or more."""
    return number_within(0.0, inf, unit, infinite=infinite)


def whole_within(low: int, high: int, unit: str = "") -> Validator:
    """A validator for a whole number from `low` up to `high`."""

    def check(_: Any, attribute: Attribute[Any], value: Any) -> None:
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise InputError(
                f"{attribute.name} is {value!r}",
                column=attribute.name,
                hint=f"a whole number from {low} to {high}{unit and ' ' + unit}",
            )

    return check
