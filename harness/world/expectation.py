"""What must come of a scenario: measures of a result, and bounds for them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import isfinite, nan
from types import MappingProxyType

import numpy as np
from attrs import field, frozen

from ctrl.errors import nearest
from ctrl.vocabulary import Stage
from harness.errors import InputError
from harness.world.result import PackSummary, Result

EACH = "each"
_HOUR_S = 3600.0


@frozen(kw_only=True)
class Expectation:
    """A bound for a measure of the result.

    Attributes:
        measure: what is measured, one of `MEASURES`.
        pack: name of the pack, or `each`; left out where the bank as a whole is measured.
        exactly: the only value that is right.
        at_least: the lowest value that is right.
        at_most: the highest value that is right.
        at_charger_a: of `charger_above_pack_mv`: the current of the charger at which it is taken, A.
    """

    measure: str = field()
    pack: str | None = None
    exactly: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    at_charger_a: float | None = None

    @measure.validator
    def _known(self, _: object, value: str) -> None:
        if value not in MEASURES:
            raise InputError(
                f"there is no measure {value!r}", column="measure", hint=nearest(value, MEASURES)
            )

    def __attrs_post_init__(self) -> None:
        bounds = [b for b in (self.exactly, self.at_least, self.at_most) if b is not None]
        if not bounds or not all(map(isfinite, bounds)):
            raise InputError(
                "it bounds nothing",
                column="exactly",
                hint="a finite number in exactly, or in at_least, at_most or both of them",
            )
        needs = MEASURES[self.measure].at_current
        if needs != (self.at_charger_a is not None):
            raise InputError(
                "it is missing" if needs else f"{self.measure} has no use for it",
                column="at_charger_a",
                hint="the current of the charger at which it is taken, A" if needs else "",
            )

    @property
    def right(self) -> str:
        """What would be right, in words."""
        named = (("exactly", self.exactly), ("at least", self.at_least), ("at most", self.at_most))
        bounds = " and ".join(f"{word} {bound:g}" for word, bound in named if bound is not None)
        unit = MEASURES[self.measure].unit
        return f"{bounds} {unit}".rstrip()

    def met_by(self, value: float) -> bool:
        """Whether a value is right; one that could not be measured is not."""
        return (
            isfinite(value)
            and (self.exactly is None or value == self.exactly)
            and (self.at_least is None or value >= self.at_least)
            and (self.at_most is None or value <= self.at_most)
        )


@frozen
class Observed:
    """An expectation beside what came of it.

    Attributes:
        expectation: what was expected.
        pack: name of the pack; empty for the bank.
        value: what was measured; NaN where there was nothing to measure.
    """

    expectation: Expectation
    pack: str
    value: float

    @property
    def met(self) -> bool:
        """Whether it is right."""
        return self.expectation.met_by(self.value)

    @property
    def sentence(self) -> str:
        """What was expected and what was measured, in plain words."""
        measure = MEASURES[self.expectation.measure]
        at_a = self.expectation.at_charger_a
        where = f" at {at_a:g} A" if at_a is not None else ""
        value = f"{self.value:.4g} {measure.unit}".rstrip() if isfinite(self.value) else "nothing"
        told = f"{measure.name}{where}: {value}, expected {self.expectation.right}"
        return f"{self.pack}: {told}" if self.pack else told


# (result, index of the pack, current of the charger) -> value
_Measuring = Callable[[Result, int, float], float]


@frozen
class Measure:
    """Something that can be measured of a result.

    Attributes:
        name: in words.
        unit: its unit; empty for a number of times.
        of_pack: whether it is measured of a pack; otherwise of the bank.
        measuring: how.
        at_current: whether it is taken at a current of the charger.
    """

    name: str
    unit: str
    of_pack: bool
    measuring: _Measuring
    at_current: bool = False


def observed(result: Result, expectations: Sequence[Expectation]) -> tuple[Observed, ...]:
    """Every expectation beside what came of it, pack by pack."""
    return tuple(each for expectation in expectations for each in _observed(result, expectation))


def refuse_pointless(expectation: Expectation, packs: Sequence[str], path: str) -> None:
    """Refuse an expectation of a pack that there is not, or of no pack where one is needed.

    Raises:
        InputError: with the path of the field below `path`.
    """
    of_pack, pack = MEASURES[expectation.measure].of_pack, expectation.pack
    if of_pack and pack not in (EACH, *packs):
        found = "it is missing" if pack is None else f"there is no pack {pack!r}"
        hint = nearest(pack or "", [EACH, *packs])
        raise InputError(found, column=f"{path}.pack", hint=hint)
    if not of_pack and pack is not None:
        raise InputError(
            f"there is {pack!r}",
            column=f"{path}.pack",
            hint=f"left out: {expectation.measure} is measured of the whole bank",
        )


def _observed(result: Result, expectation: Expectation) -> Iterator[Observed]:
    measure = MEASURES[expectation.measure]
    at_a = nan if expectation.at_charger_a is None else expectation.at_charger_a
    if not measure.of_pack:
        yield Observed(expectation, "", measure.measuring(result, -1, at_a))
        return
    for p, pack in enumerate(result.packs):
        if expectation.pack in (EACH, pack.name):
            yield Observed(expectation, pack.name, measure.measuring(result, p, at_a))


def _times(result: Result, p: int, *names: str) -> list[float]:
    return [e.t for e in result.events if e.pack == p and e.name in names]


def _counted(*names: str) -> _Measuring:
    return lambda result, p, _: float(len(_times(result, p, *names)))


def _first(name: str) -> _Measuring:
    def measuring(result: Result, p: int, _: float) -> float:
        return min(_times(result, p, name), default=nan) / _HOUR_S

    return measuring


def _stage(stage: Stage) -> _Measuring:
    return lambda result, p, _: result.summary.packs[p].stage_h[stage.word]


def _summed(result: Result, p: int) -> PackSummary:
    return result.summary.packs[p]


def _percent(value: float | None) -> float:
    return nan if value is None else 100.0 * value


def _error(result: Result, p: int, _: float) -> float:
    pack = result.summary.packs[p]
    return _percent(pack.counted_soc) - _percent(pack.true_soc)


def _reset_error(result: Result, p: int, _: float) -> float:
    return max((_percent(r.error) for r in result.summary.packs[p].resets), default=nan)


def _last_reset(result: Result, p: int, _: float) -> float:
    return max((r.t for r in result.summary.packs[p].resets), default=nan) / _HOUR_S


def _short_of_entry(result: Result, p: int, _: float) -> float:
    """By how much the highest reading outside float stays under the threshold of entry."""
    samples = result.packs[p].samples
    if samples is None or not len(samples):
        return nan
    readings = samples.trace.v[samples.answers.stage != Stage.FLOAT]
    highest = np.nanmax(readings) if np.isfinite(readings).any() else nan
    return float(1000.0 * (result.world.packs[p].settings.entry_v - highest))


def _hold_below_entry(result: Result, p: int, _: float) -> float:
    samples = result.packs[p].samples
    if samples is None or len(samples) < 2:
        return nan
    low = samples.trace.v < result.world.packs[p].settings.entry_v
    held = samples.answers.stage == Stage.ABSORPTION
    return float(np.sum(np.diff(samples.true_t)[(low & held)[:-1]]) / 60.0)


def _resets_apart(result: Result, _: int, __: float) -> float:
    first = [_first("full_reset")(result, p, nan) for p in range(len(result.packs))]
    return 60.0 * (max(first) - min(first)) if all(map(isfinite, first)) else nan


def _charger_above_pack(result: Result, p: int, at_a: float) -> float:
    """Difference of terminal voltages where the current of the charger comes closest to `at_a`."""
    rows, pack = result.bank, result.packs[p]
    if not len(rows.t):
        return nan
    distance = np.abs(rows.charger_a - at_a)
    k = int(np.argmin(distance))
    if distance[k] > max(0.05 * at_a, 0.1):
        return nan
    return float(1000.0 * (rows.charger_v[k] - pack.true_v[k]))


MEASURES: Mapping[str, Measure] = MappingProxyType(
    {
        "full_resets": Measure("full resets", "", True, _counted("full_reset")),
        "first_reset_h": Measure("first full reset after", "h", True, _first("full_reset")),
        "last_reset_h": Measure("last full reset after", "h", True, _last_reset),
        "reset_error_percent": Measure(
            "count too high right after a full reset by", "%", True, _reset_error
        ),
        "denials": Measure("full resets denied", "", True, _counted("full_denied")),
        "holds": Measure("holds started", "", True, _counted("hold_started")),
        "first_hold_h": Measure("first hold started after", "h", True, _first("hold_started")),
        "holds_abandoned": Measure("holds abandoned", "", True, _counted("hold_abandoned")),
        "trips": Measure("trips of protection", "", True, _counted("inhibited")),
        "first_release_h": Measure("first release after", "h", True, _first("released")),
        "returns": Measure("returns from float", "", True, _counted("float_ended")),
        "float_h": Measure("time in float", "h", True, _stage(Stage.FLOAT)),
        "equalisations": Measure("equalisations", "", True, _counted("equalisation_ended")),
        "equalisations_abandoned": Measure(
            "equalisations abandoned", "", True, _counted("equalisation_abandoned")
        ),
        "gassed_ah": Measure(
            "charge that went into gas",
            "Ah",
            True,
            lambda result, p, _: _summed(result, p).gassed_ah,
        ),
        "inhibited_h": Measure("time inhibited", "h", True, _stage(Stage.INHIBITED)),
        "above_float_h": Measure(
            "time above its float voltage",
            "h",
            True,
            lambda result, p, _: result.summary.packs[p].above_float_h,
        ),
        "true_soc_percent": Measure(
            "true SoC at the end",
            "%",
            True,
            lambda result, p, _: _percent(result.summary.packs[p].true_soc),
        ),
        "soc_error_percent": Measure("counted less true SoC at the end", "%", True, _error),
        "highest_cell_v": Measure(
            "highest cell",
            "V",
            True,
            lambda result, p, _: result.summary.packs[p].highest_cell_v,
        ),
        "short_of_entry_mv": Measure(
            "highest reading under entry_v by", "mV", True, _short_of_entry
        ),
        "hold_below_entry_min": Measure(
            "part of the holds below entry_v", "min", True, _hold_below_entry
        ),
        "charged_ah": Measure(
            "charge taken", "Ah", True, lambda result, p, _: result.summary.packs[p].in_ah
        ),
        "charger_above_pack_mv": Measure(
            "charger above pack", "mV", True, _charger_above_pack, at_current=True
        ),
        "resets_apart_min": Measure("first full resets apart", "min", False, _resets_apart),
        "charger_kwh": Measure(
            "energy from the charger",
            "kWh",
            False,
            lambda result, _, __: result.summary.charger_wh / 1000.0,
        ),
        "load_kwh": Measure(
            "energy of the loads",
            "kWh",
            False,
            lambda result, _, __: result.summary.load_wh / 1000.0,
        ),
        "denied_kwh": Measure(
            "energy that the loads went without",
            "kWh",
            False,
            lambda result, _, __: result.summary.denied_wh / 1000.0,
        ),
    }
)
