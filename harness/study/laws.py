"""By which law a part of a bank differs from bank to bank, or from pack to pack.

Every law has ends, so that whatever it can draw can be tried before the first bank runs.
"""

from __future__ import annotations

from math import exp, log
from typing import Any, Protocol

import numpy as np
from attrs import field, fields, frozen

from harness.errors import InputError
from harness.world.checks import number_within, positive, whole_within

# A part farther off than this would have been sorted out, as among the cells of a pack.
FARTHEST_DEVIATIONS = 3.0
_NUMBER = number_within(-1e12, 1e12, "")


class Law(Protocol):
    """A law of chance."""

    def draw(self, generator: np.random.Generator) -> Any:
        """One value."""

    def ends(self) -> tuple[Any, ...]:
        """The values that lie farthest out; for words, all of them."""


def _refuse_disorder(low: float, high: float) -> None:
    if not low < high:
        raise InputError(
            f"low is {low:g} and high is {high:g}", column="high", hint="more than low"
        )


def _maybe_number(law: Any, attribute: Any, value: Any) -> None:
    if value is not None:
        _NUMBER(law, attribute, value)


@frozen(kw_only=True)
class Normal:
    """The normal law, cut at both ends: what lies beyond is drawn again.

    Attributes:
        mean: of the law before it is cut.
        deviation: standard deviation before it is cut.
        low: lowest value; left out: three deviations below the mean.
        high: highest value; left out: three deviations above.

    Raises:
        InputError: parameters that no such law has.
    """

    mean: float = field(default=0.0, validator=_NUMBER)
    deviation: float = field(validator=positive(""))
    low: float | None = field(default=None, validator=_maybe_number)
    high: float | None = field(default=None, validator=_maybe_number)

    def __attrs_post_init__(self) -> None:
        low, high = self.ends()
        _refuse_disorder(low, high)
        # Beyond that so little of the law is left that drawing again would not end.
        farthest = 4.0 * self.deviation
        if low > self.mean + farthest or high < self.mean - farthest:
            raise InputError(
                f"from {low:g} to {high:g} nothing is left of a normal law around {self.mean:g} "
                f"with deviation {self.deviation:g}",
                column="low" if low > self.mean else "high",
                hint="the ends within four deviations of the mean",
            )

    def draw(self, generator: np.random.Generator) -> float:
        """One value."""
        low, high = self.ends()
        while True:
            value = self.mean + self.deviation * float(generator.standard_normal())
            if low <= value <= high:
                return value

    def ends(self) -> tuple[float, float]:
        """Lowest and highest value."""
        reach = FARTHEST_DEVIATIONS * self.deviation
        return (
            self.mean - reach if self.low is None else self.low,
            self.mean + reach if self.high is None else self.high,
        )


@frozen(kw_only=True)
class Uniform:
    """Every value between two is as likely.

    Attributes:
        low: lowest value.
        high: highest value.

    Raises:
        InputError: the ends are not in order.
    """

    low: float = field(validator=_NUMBER)
    high: float = field(validator=_NUMBER)

    def __attrs_post_init__(self) -> None:
        _refuse_disorder(self.low, self.high)

    def draw(self, generator: np.random.Generator) -> float:
        """One value."""
        return float(generator.uniform(self.low, self.high))

    def ends(self) -> tuple[float, float]:
        """Lowest and highest value."""
        return self.low, self.high


@frozen(kw_only=True)
class LogNormal:
    """The logarithm follows the normal law, cut at three deviations: for factors and resistances.

    Attributes:
        median: half of the values lie below.
        factor: one standard deviation up multiplies by this, one down divides.

    Raises:
        InputError: parameters that no such law has.
    """

    median: float = field(validator=positive(""))
    factor: float = field(validator=number_within(1.0, 100.0, "", above_low=True))

    def draw(self, generator: np.random.Generator) -> float:
        """One value."""
        return self.median * exp(Normal(deviation=log(self.factor)).draw(generator))

    def ends(self) -> tuple[float, float]:
        """Lowest and highest value."""
        reach = self.factor**FARTHEST_DEVIATIONS
        return self.median / reach, self.median * reach


@frozen(kw_only=True)
class Whole:
    """Every whole number between two, both included, is as likely.

    Attributes:
        low: lowest.
        high: highest.

    Raises:
        InputError: the ends are not in order.
    """

    low: int = field(validator=whole_within(-(2**53), 2**53))
    high: int = field(validator=whole_within(-(2**53), 2**53))

    def __attrs_post_init__(self) -> None:
        _refuse_disorder(self.low, self.high)

    def draw(self, generator: np.random.Generator) -> int:
        """One value."""
        return int(generator.integers(self.low, self.high, endpoint=True))

    def ends(self) -> tuple[int, int]:
        """Lowest and highest value."""
        return self.low, self.high


@frozen(kw_only=True)
class Choice:
    """One of these values, numbers or words.

    Attributes:
        values: what there is to choose from.
        weights: how often each comes, in relation to the others; left out: alike.

    Raises:
        InputError: nothing to choose from, or weights that are none.
    """

    values: tuple[Any, ...]
    weights: tuple[float, ...] = ()

    def __attrs_post_init__(self) -> None:
        if not self.values:
            raise InputError("there is nothing to choose from", column="values", hint="one or more")
        if self.weights and len(self.weights) != len(self.values):
            raise InputError(
                f"{len(self.weights)} weights for {len(self.values)} values",
                column="weights",
                hint="one each",
            )
        for weight in self.weights:
            number_within(0.0, 1e12, "")(self, fields(Choice).weights, weight)
        if self.weights and not sum(self.weights) > 0.0:
            raise InputError("all weights are 0", column="weights", hint="one above 0 at least")

    def draw(self, generator: np.random.Generator) -> Any:
        """One value."""
        shares = np.array(self.weights or (1.0,) * len(self.values))
        edges = np.cumsum(shares / shares.sum())
        number = int(np.searchsorted(edges, generator.uniform(), side="right"))
        return self.values[min(number, len(self.values) - 1)]

    def ends(self) -> tuple[Any, ...]:
        """All of them."""
        return self.values


LAWS: dict[str, type[Any]] = {
    "normal": Normal,
    "uniform": Uniform,
    "lognormal": LogNormal,
    "whole": Whole,
    "choice": Choice,
}
