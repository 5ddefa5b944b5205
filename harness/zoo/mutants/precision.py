"""Mutants of precision: numbers that are read, kept or said with too few digits."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from math import floor, isfinite
from types import SimpleNamespace
from typing import Any

from attrs import evolve

from ctrl.limits import Limits
from ctrl.state import Output, Request, Sample, State
from harness.zoo.mutants.breaks import OF_FUNCTION, OF_NAME, OF_SETTING
from harness.zoo.mutants.mutant import Change, Mutant, Names
from harness.zoo.mutants.numbers import edited
from harness.zoo.mutants.operators import PRECISION

Round = Callable[[float], float]

_VOLTAGE = (
    OF_SETTING["entry_v"]
    | OF_SETTING["full_v"]
    | OF_SETTING["return_v"]
    | OF_SETTING["empty_v"]
    | OF_SETTING["plausible_v"]
)
_CURRENT = (
    OF_FUNCTION["counted"]
    | OF_SETTING["taper_a"]
    | OF_SETTING["plausible_i"]
    | OF_FUNCTION["without_current_since"]
    | {"EQUALISE.current", "EQUALISE.starts"}
)
_CELL = OF_SETTING["cell_limit_v"] | OF_SETTING["cell_release_v"]
_TEMPERATURE = OF_SETTING["charge_min_c"] | OF_SETTING["reference_c"] | OF_FUNCTION["cool"]
_TIME = (
    OF_NAME["joined"]
    | OF_FUNCTION["counted"]
    | OF_FUNCTION["since"]
    | {"HOLD", "FULL", "FLOAT", "TIME", "EQUALISE"}
)


def nearest(step: float) -> Round:
    """To the nearest whole number of steps; what is not finite stays so."""
    return lambda value: round(value / step) * step if isfinite(value) else value


def down(step: float) -> Round:
    """To the whole number of steps at or below."""
    return lambda value: floor(value / step) * step if isfinite(value) else value


def single(value: float) -> float:
    """To single precision."""
    try:
        return float(struct.unpack("f", struct.pack("f", value))[0])
    except OverflowError:
        return value


def _read(reading: str, to: Round) -> Change:
    def change(names: Names) -> None:
        right = names["decide"]

        def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
            other = evolve(sample, **{reading: to(getattr(sample, reading))})
            return right(limits, rule, state, other)  # type: ignore[no-any-return]

        names["decide"] = decide

    return change


def _count_kept(to: Round) -> Change:
    def change(names: Names) -> None:
        right = names["decide"]

        def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
            after, output = right(limits, rule, state, sample)
            soc = to(after.soc)
            return evolve(after, soc=soc), evolve(output, soc=soc)

        names["decide"] = decide

    return change


def _count_said(to: Round) -> Change:
    def change(names: Names) -> None:
        right = names["decide"]

        def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
            after, output = right(limits, rule, state, sample)
            return after, evolve(output, soc=to(output.soc))

        names["decide"] = decide

    return change


def _count_stored(to: Round) -> Change:
    def change(names: Names) -> None:
        right = names["power_cycle"]
        names["power_cycle"] = lambda state: right(evolve(state, soc=to(state.soc)))

    return change


def _count_started(to: Round) -> Change:
    def change(names: Names) -> None:
        right = names["powered_up"]
        names["powered_up"] = lambda soc: right(to(soc))

    return change


def _asked(voltage: Round, current: Round) -> Change:
    def change(names: Names) -> None:
        right = names["decide"]

        def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
            after, output = right(limits, rule, state, sample)
            asked = Request(voltage(output.asked.voltage_v), current(output.asked.current_a))
            return after, evolve(output, asked=asked)

        names["decide"] = decide

    return change


def _set(ending: str, to: Round) -> Change:
    def edit(settings: SimpleNamespace) -> None:
        for name, value in vars(settings).items():
            if name.endswith(ending) and isinstance(value, float):
                setattr(settings, name, to(value))

    return edited(edit)


def _exactly(value: float) -> float:
    return value


# Slug, what it does, what it is about, what it may break, and the change.
_ROWS: tuple[tuple[str, str, str, frozenset[str], Change], ...] = (
    (
        "time-whole-seconds",
        "reads time stamps in whole seconds, the rest cut off",
        "t",
        _TIME,
        _read("t", down(1.0)),
    ),
    (
        "time-ten-seconds",
        "reads time stamps in steps of ten seconds",
        "t",
        _TIME,
        _read("t", down(10.0)),
    ),
    ("time-single", "reads time stamps in single precision", "t", _TIME, _read("t", single)),
    (
        "voltage-1mv",
        "reads the voltage to the millivolt",
        "v",
        _VOLTAGE,
        _read("v", nearest(0.001)),
    ),
    (
        "voltage-10mv",
        "reads the voltage to the nearest 10 mV",
        "v",
        _VOLTAGE,
        _read("v", nearest(0.01)),
    ),
    (
        "voltage-10mv-down",
        "reads the voltage in steps of 10 mV, the rest cut off",
        "v",
        _VOLTAGE,
        _read("v", down(0.01)),
    ),
    (
        "voltage-100mv",
        "reads the voltage to the nearest 0.1 V",
        "v",
        _VOLTAGE,
        _read("v", nearest(0.1)),
    ),
    ("voltage-single", "reads the voltage in single precision", "v", _VOLTAGE, _read("v", single)),
    (
        "current-100ma",
        "reads the current to the nearest 0.1 A",
        "i",
        _CURRENT,
        _read("i", nearest(0.1)),
    ),
    (
        "current-1a",
        "reads the current to the nearest ampere",
        "i",
        _CURRENT,
        _read("i", nearest(1.0)),
    ),
    (
        "current-1a-down",
        "reads the current in whole amperes, rounded down",
        "i",
        _CURRENT,
        _read("i", down(1.0)),
    ),
    (
        "cell-10mv",
        "reads the highest cell to the nearest 10 mV",
        "cell_max_v",
        _CELL,
        _read("cell_max_v", nearest(0.01)),
    ),
    (
        "cell-10mv-down",
        "reads the highest cell in steps of 10 mV, the rest cut off",
        "cell_max_v",
        _CELL,
        _read("cell_max_v", down(0.01)),
    ),
    (
        "temperature-whole",
        "reads the coldest sensor to the nearest degree",
        "temp_c",
        _TEMPERATURE,
        _read("temp_c", nearest(1.0)),
    ),
    (
        "temperature-whole-down",
        "reads the coldest sensor in whole degrees, rounded down",
        "temp_c",
        _TEMPERATURE,
        _read("temp_c", down(1.0)),
    ),
    (
        "hottest-whole-down",
        "reads the hottest sensor in whole degrees, rounded down",
        "temp_max_c",
        OF_SETTING["charge_max_c"] | OF_FUNCTION["cool"],
        _read("temp_max_c", down(1.0)),
    ),
    (
        "count-kept-4-digits",
        "keeps the count to four digits",
        "soc",
        OF_FUNCTION["counted"] | OF_SETTING["return_soc"],
        _count_kept(nearest(1e-4)),
    ),
    (
        "count-kept-percent-down",
        "keeps the count in whole percents, the rest cut off",
        "soc",
        OF_FUNCTION["counted"] | OF_SETTING["return_soc"],
        _count_kept(down(0.01)),
    ),
    (
        "count-said-percent",
        "says the count to the nearest percent",
        "soc",
        frozenset({"SOC", "RETURN.low-soc", "POWER.keeps-soc"}),
        _count_said(nearest(0.01)),
    ),
    (
        "count-said-per-mille",
        "says the count to the nearest tenth of a percent",
        "soc",
        frozenset({"SOC", "RETURN.low-soc", "POWER.keeps-soc"}),
        _count_said(nearest(0.001)),
    ),
    (
        "count-stored-percent",
        "stores the count over a loss of power to the nearest percent",
        "soc",
        frozenset({"POWER.keeps-soc"}),
        _count_stored(nearest(0.01)),
    ),
    (
        "count-stored-4-digits",
        "stores the count over a loss of power to four digits",
        "soc",
        frozenset({"POWER.keeps-soc"}),
        _count_stored(nearest(1e-4)),
    ),
    (
        "count-started-percent",
        "starts from the count rounded to the nearest percent",
        "soc",
        frozenset({"SOC.starts", "POWER.keeps-soc"}),
        _count_started(nearest(0.01)),
    ),
    (
        "request-100mv",
        "asks for voltages to the nearest 0.1 V",
        "absorption_v",
        frozenset({"REQUEST"}),
        _asked(nearest(0.1), _exactly),
    ),
    (
        "request-10mv-down",
        "asks for voltages in steps of 10 mV, the rest cut off",
        "absorption_v",
        frozenset({"REQUEST"}),
        _asked(down(0.01), _exactly),
    ),
    (
        "request-ten-amperes",
        "asks for currents in steps of ten amperes, the rest cut off",
        "charge_current_a",
        frozenset({"REQUEST.current"}),
        _asked(_exactly, down(10.0)),
    ),
    (
        "settings-seconds-whole",
        "keeps settings of time in whole seconds, the rest cut off",
        "entry_dwell_s",
        _TIME,
        _set("_s", down(1.0)),
    ),
    (
        "settings-volts-100mv",
        "keeps settings of voltage to the nearest 0.1 V",
        "entry_v",
        _VOLTAGE | OF_SETTING["absorption_v"] | _CELL,
        _set("_v", nearest(0.1)),
    ),
    (
        "settings-volts-single",
        "keeps settings of voltage in single precision, and compares in double",
        "entry_v",
        _VOLTAGE | OF_SETTING["absorption_v"] | _CELL,
        _set("_v", single),
    ),
)


def mutants() -> Iterator[Mutant]:
    """Readings, the count, requests and settings, each with too few digits."""
    for name, title, subject, breaks, change in _ROWS:
        yield Mutant(
            name=f"precision-{name}",
            operator=PRECISION,
            title=title,
            subject=subject,
            breaks=breaks,
            change=change,
        )
