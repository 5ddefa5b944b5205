"""Stretches of time, such as outages of a meter or of a message link."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import Attribute

from harness.errors import InputError
from harness.world.compiling import part

Floats = npt.NDArray[np.float64]
Windows = tuple[tuple[float, float], ...]


def checked_windows(_: Any, attribute: Attribute[Any], value: Any) -> None:
    """A validator: pairs of numbers, each from an earlier to a later time."""
    for k, window in enumerate(value):
        numbers = isinstance(window, tuple | list) and len(window) == 2
        if not numbers or not all(
            isinstance(x, int | float) and not isinstance(x, bool) and isfinite(x) for x in window
        ):
            fits = False
        else:
            fits = 0.0 <= window[0] < window[1]
        if not fits:
            raise InputError(
                f"{attribute.name}[{k}] is {window!r}",
                column=attribute.name,
                hint="two times in s, the earlier first, neither below 0",
            )


def windows_array(windows: Sequence[Windows]) -> Floats:
    """The windows of several owners as rows of owner, start and end."""
    rows = [(float(owner), *window) for owner, own in enumerate(windows) for window in own]
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


@part
def within(windows: Floats, owner: int, t: float) -> bool:
    """Whether a time lies in a window of this owner, its start included; compiled."""
    for k in range(windows.shape[0]):  # noqa: SIM110  numba knows no generators
        if windows[k, 0] == owner and windows[k, 1] <= t < windows[k, 2]:
            return True
    return False
