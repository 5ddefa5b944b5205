"""Fields of settings: what each may hold, and what is said where it holds something else."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from attrs import Attribute, field

from ctrl.errors import ContradictionError, SettingsError, nearest

# Names of settings, whether their values go together, and what they must be.
Contradiction = tuple[tuple[str, ...], Callable[..., bool], str]


def _as_float(value: Any) -> Any:
    if not isinstance(value, int) or isinstance(value, bool):
        return value
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf


def _as_range(value: Any) -> Any:
    return tuple(_as_float(part) for part in value) if isinstance(value, list | tuple) else value


def _finite(name: str, value: Any) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise SettingsError(
            f"{name} is {value!r}, of type {type(value).__name__}",
            fields=(name,),
            hint="it must be a finite number",
        )


def number_field(default: float | None, allowed: str = "", *, optional: bool = False) -> Any:
    """A finite number within what `allowed` says; None too where it is optional."""
    low, high = _BOUNDS[allowed]

    def check(_: Any, attribute: Attribute[Any], value: Any) -> None:
        if value is None and optional:
            return
        _finite(attribute.name, value)
        if not (low(value) and high(value)):
            raise SettingsError(
                f"{attribute.name} is {value!r}",
                fields=(attribute.name,),
                hint=f"it must be {allowed}",
            )

    return field(default=default, converter=_as_float, validator=check)


def _always(_: float) -> bool:
    return True


_BOUNDS: dict[str, tuple[Callable[[float], bool], Callable[[float], bool]]] = {
    "": (_always, _always),
    "greater than 0": (lambda value: value > 0, _always),
    "0 or greater": (lambda value: value >= 0, _always),
    "greater than 0 and at most 1": (lambda value: value > 0, lambda value: value <= 1),
    "0 or greater and less than 1": (lambda value: value >= 0, lambda value: value < 1),
}


def word_field(default: str, words: tuple[str, ...]) -> Any:
    """One of these words."""

    def check(_: Any, attribute: Attribute[Any], value: Any) -> None:
        if value not in words:
            raise SettingsError(
                f"{attribute.name} is {value!r}",
                fields=(attribute.name,),
                hint=f"it must be one of {', '.join(words)}",
            )

    return field(default=default, validator=check)


def range_field(default: tuple[float, float]) -> Any:
    """A low and a high bound."""

    def check(_: Any, attribute: Attribute[Any], value: Any) -> None:
        if not isinstance(value, tuple) or len(value) != 2:
            raise SettingsError(
                f"{attribute.name} is {value!r}",
                fields=(attribute.name,),
                hint="it must be two numbers, the low and the high bound",
            )
        for part in value:
            _finite(attribute.name, part)
        if not value[0] < value[1]:
            raise ContradictionError(
                f"{attribute.name} has the low bound {value[0]!r} and the high bound {value[1]!r}",
                fields=(attribute.name,),
                hint="the low bound must be less than the high bound",
            )

    return field(default=default, converter=_as_range, validator=check)


def check_cells(value: Any) -> None:
    """Refuse what is no number of cells; raises `SettingsError`."""
    whole = isinstance(value, int) and not isinstance(value, bool)
    # One that is too large for a float cannot be multiplied with a voltage either.
    if not whole or value < 1 or _as_float(value) == math.inf:
        raise SettingsError(
            f"cells is {_as_float(value) if whole and value > 1 else value!r}",
            fields=("cells",),
            hint="it must be a whole number greater than 0",
        )


def count_field(default: int) -> Any:
    """A number of cells."""

    def check(_: Any, __: Attribute[Any], value: Any) -> None:
        check_cells(value)

    return field(default=default, validator=check)


def scaled_to_cells(value: Any, cells: int) -> Any:
    """A voltage, or bounds of one, of a pack of 16 cells for so many."""
    if value is None:
        return None
    if isinstance(value, tuple):
        return tuple(scaled_to_cells(part, cells) for part in value)
    return round(value * cells / 16, 9)


def refuse_unknown(values: Mapping[str, Any], known: Iterable[str]) -> None:
    """Refuse a name that no setting has; raises `SettingsError`."""
    names = tuple(known)
    for name in values:
        if name not in names:
            raise SettingsError(
                f"there is no setting {name!r}",
                fields=(str(name),),
                hint=nearest(str(name), names),
            )


def refuse_contradictions(settings: Any, listed: Iterable[Contradiction]) -> None:
    """Refuse settings that contradict each other; one that is off contradicts none.

    Raises:
        ContradictionError: two of them do; with the names and values of both.
    """
    for names, holds, hint in listed:
        values = [getattr(settings, name) for name in names]
        if None not in values and not holds(*values):
            named = " and ".join(
                f"{name} {value!r}" for name, value in zip(names, values, strict=True)
            )
            raise ContradictionError(
                f"{named} contradict each other", fields=names, hint=f"it must be {hint}"
            )
