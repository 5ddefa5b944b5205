"""The same rules over whole arrays, compiled: no second source, the same functions bound again.

`decide` and all that it calls are taken as they stand; their names are bound to named tuples instead
of attrs classes, and numba compiles the result. Equality with the reference, bit for bit, is tested
sample by sample.
"""

from __future__ import annotations

import os
import sys
from collections import namedtuple
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from math import inf, isfinite, nan
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any, NamedTuple

import attrs
import numba
import numpy as np
import numpy.typing as npt
from attrs import frozen

from ctrl import (
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
from ctrl.kept_code import keeping, kept_in
from ctrl.resets import RESET_RULES, VOLTAGE_AFTER_HOLD, ResetRule
from ctrl.settings import Settings
from ctrl.vocabulary import Phase, Stage

Floats = npt.NDArray[np.float64]
Answers = tuple[npt.NDArray[np.int8], Floats, npt.NDArray[np.int32]]


def _tuple_of(cls: type) -> Any:
    return namedtuple(cls.__name__, [attribute.name for attribute in attrs.fields(cls)])


# Named as the classes they stand for: a kept kernel finds them again by these names.
Limits = _tuple_of(limits.Limits)
Sample = _tuple_of(state.Sample)
Charge = _tuple_of(state.Charge)
Sensor = _tuple_of(state.Sensor)
Upkeep = _tuple_of(state.Upkeep)
Watch = _tuple_of(state.Watch)
Request = _tuple_of(state.Request)
State = _tuple_of(state.State)
Output = _tuple_of(state.Output)
Rule = namedtuple("Rule", ["code", "during_hold", "sustained"])

_BOUND = {
    cls.__name__: cls for cls in (Sample, Charge, Sensor, Upkeep, Watch, Request, State, Output)
}
_RULE_CODES = {name: code for code, name in enumerate(RESET_RULES)}
FIRST_OWN_CODE = len(RESET_RULES)
Condition = Callable[..., Any]
_FUNCTIONS: tuple[Callable[..., Any], ...] = (
    counting.counted,
    state.numbered,
    protection.present,
    protection.hottest_c,
    protection.since,
    protection.watched,
    protection.all_clear,
    protection.let_go,
    temperature.sensed,
    temperature.shifted,
    equalisation.cool,
    equalisation.may_start,
    equalisation.warm_since,
    equalisation.without_current_since,
    equalisation.counting,
    equalisation.put_off,
    equalisation.kept_up,
    resets.high_and_calm,
    resets.high,
    resets.at_once,
    resets.tapered,
    resets.high_and_tapered,
    resets.not_ever,
    stages.entered,
    stages.dwelling,
    stages.bulk,
    stages.hold_timer,
    stages.absorption,
    stages.floating,
    stages.due,
    stages.equalising,
    stages.unreadable,
    stages.request,
    stages.decide,
)


# The names in the bodies of the next four are bound by `_bind`; they are never called as they stand.
# ruff: noqa: F821
# mypy: disable-error-code="name-defined,no-untyped-def,untyped-decorator"


def proves(rule, limits, level_v, i):
    """`ctrl.resets.proves` where a rule is a number; the order is that of `RESET_RULES`."""
    if rule.code == 0:
        return high_and_calm(limits, level_v, i)
    if rule.code == 1:
        return high(limits, level_v, i)
    if rule.code == 2:
        return at_once(limits, level_v, i)
    if rule.code == 3:
        return tapered(limits, level_v, i)
    if rule.code == 4:
        return high_and_tapered(limits, level_v, i)
    return not_ever(limits, level_v, i)


def proves_by_condition(rule, limits, level_v, i):
    """`ctrl.resets.proves` for a rule that is not one of `RESET_RULES`, and for all those before it."""
    if rule.code == own_code:
        return condition(limits, level_v, i)
    return otherwise(rule, limits, level_v, i)


def replay_one(limits, rule, state, t, v, i, cell, temp, hot, stage, soc, news, volts, amps):
    """Take every sample; a column that the trace lacks is empty.

    Where it lacks all three they are None, and the code for them is left out.
    """
    for k in range(len(t)):
        if cell is None:
            cell_v, temp_c, hot_c = nan, nan, nan
        else:
            cell_v = cell[k] if k < len(cell) else nan
            temp_c = temp[k] if k < len(temp) else nan
            hot_c = hot[k] if k < len(hot) else nan
        state, output = decide(limits, rule, state, Sample(t[k], v[k], i[k], cell_v, temp_c, hot_c))
        stage[k] = output.stage
        soc[k] = output.soc
        news[k] = output.news
        if volts is not None:
            volts[k] = output.asked.voltage_v
            amps[k] = output.asked.current_a
    return state


def replay_rows(limits, rule, state, t, v, i, stage, soc, news):
    """Take the traces of the rows of two-dimensional arrays, one after the other."""
    for row in range(t.shape[0]):
        one(
            limits, rule, state, t[row], v[row], i[row], None, None, None,
            stage[row], soc[row], news[row], None, None,
        )  # fmt: skip


_HERE = sys.modules[__name__]
SOURCES = (
    counting, equalisation, limits, protection, resets, stages, state, temperature, transitions,
    vocabulary, _HERE,
)  # fmt: skip


def namespace(conditions: tuple[Condition, ...] = ()) -> dict[str, Any]:
    """Every rule function compiled with its names bound to the tuples, by name.

    Args:
        conditions: of the reset rules beside `RESET_RULES`; the codes of these rules go on from
            `FIRST_OWN_CODE`.
    """
    names: dict[str, Any] = {"inf": inf, "nan": nan, "isfinite": isfinite}
    for module in (limits, protection, state, transitions, stages):
        names.update({name: what for name, what in vars(module).items() if name.isupper()})
    names.update(_BOUND, Limits=Limits)
    for function in _FUNCTIONS:
        names[function.__name__] = bound(function, names, forceinline=True)
    names["proves"] = bound(proves, names, forceinline=True)
    for code, condition in enumerate(conditions, FIRST_OWN_CODE):
        own = {
            "own_code": code,
            # Not bound again: the names in it are those of the module that it comes from.
            "condition": numba.njit(error_model="numpy", forceinline=True)(condition),
            "otherwise": names["proves"],
        }
        names["proves"] = bound(proves_by_condition, own, forceinline=True)
    return names


def bound(function: Callable[..., Any], names: dict[str, Any], **options: Any) -> Any:
    """A function compiled with other names than those of its module."""
    copy = FunctionType(function.__code__, names, function.__name__)
    copy.__module__, copy.__qualname__ = __name__, function.__qualname__
    return numba.njit(error_model="numpy", **options)(copy)


def _bind(condition: Callable[..., Any] | None) -> tuple[Any, Any]:
    """The two kernels."""
    names = namespace(() if condition is None else (condition,))
    # numba does not see which condition is called: only the built-in rules may be kept.
    folder = None if condition else kept_in(Path(str(source.__file__)) for source in SOURCES)
    with keeping(folder):
        one = bound(replay_one, names, cache=folder is not None, nogil=True)
        names["one"] = one
        rows = bound(replay_rows, names, cache=folder is not None, nogil=True)
    return one, rows


class StepParts(NamedTuple):
    """One step of the reference for another compiled loop to call.

    Attributes:
        decide: `ctrl.stages.decide` compiled, to be woven into its caller.
        sample: makes the tuple that it takes; arguments as of `ctrl.state.Sample`.
        state: makes a tuple of its state; arguments as of `ctrl.state.State`.
        sources: every module that goes into the machine code.
    """

    decide: Any
    sample: Any
    state: Any
    sources: tuple[ModuleType, ...]


@cache
def step_parts() -> StepParts:
    """The step of the reference with any of the built-in reset rules."""
    return StepParts(namespace()["decide"], Sample, State, SOURCES)


def as_tuples(settings: Settings, before: state.State, rule: ResetRule) -> tuple[Any, Any, Any]:
    """Limits, rule and state as `StepParts.decide` takes them.

    Raises:
        ValueError: the rule is not one of `RESET_RULES`.
    """
    if RESET_RULES.get(rule.name) != rule:
        raise ValueError(f"{rule.name} is not one of the built-in reset rules")
    chosen = Rule(_RULE_CODES[rule.name], rule.during_hold, rule.sustained)
    return _limits(settings.limits), chosen, _tuples(before)


@cache
def _kernels(rule: ResetRule | None) -> tuple[Any, Any]:
    return _bind(None if rule is None else rule.condition)


def _chosen(rule: ResetRule) -> tuple[tuple[Any, Any], Any]:
    built_in = RESET_RULES.get(rule.name) == rule
    code = _RULE_CODES[rule.name] if built_in else FIRST_OWN_CODE
    return _kernels(None if built_in else rule), Rule(code, rule.during_hold, rule.sustained)


def _flat(cls: Any, value: Any) -> Any:
    return cls(*(getattr(value, name) for name in cls._fields))


def _limits(of: limits.Limits) -> Any:
    requests = {name: _flat(Request, getattr(of, name)) for name in Limits._fields[-4:]}
    return _flat(Limits, of)._replace(**requests)


def _tuples(of: state.State) -> Any:
    watch = _flat(Watch, of.watch)._replace(
        sensor=_flat(Sensor, of.watch.sensor), upkeep=_flat(Upkeep, of.watch.upkeep)
    )
    return State(of.soc, of.t, of.i, _flat(Charge, of.charge), watch)


def _classes(of: Any) -> state.State:
    charge = state.Charge(Stage(of.charge.stage), Phase(of.charge.phase), *of.charge[2:])
    sensor, upkeep = state.Sensor(*of.watch.sensor), state.Upkeep(*of.watch.upkeep)
    watch = state.Watch(*of.watch._replace(sensor=sensor, upkeep=upkeep))
    return state.State(of.soc, of.t, of.i, charge, watch)


@frozen(eq=False)
class Replay:
    """What the reference says to a whole trace, one entry a sample.

    Attributes:
        stage: `Stage` as int8.
        soc: state of charge, 0..1.
        news: int32; `happened` and `cause` take it apart, `ctrl.state.events_of` spells it out.
        voltage_request_v: V, or None where it was not asked for.
        current_request_a: A, or None where it was not asked for.
        state: the state after the last sample.
    """

    stage: npt.NDArray[np.int8]
    soc: Floats
    news: npt.NDArray[np.int32]
    voltage_request_v: Floats | None
    current_request_a: Floats | None
    state: state.State

    @property
    def happened(self) -> npt.NDArray[np.int32]:
        """`Happened` as a number."""
        return self.news & state.HAPPENED_BITS

    @property
    def cause(self) -> npt.NDArray[np.int32]:
        """`Cause` as a number."""
        return self.news >> state.CAUSE_SHIFT & state.CAUSE_BITS

    @property
    def full_reset(self) -> npt.NDArray[np.bool_]:
        """True on the sample of a full reset."""
        reset: npt.NDArray[np.bool_] = (self.news & state.FULL_RESET) != 0
        return reset


def replay(
    settings: Settings,
    before: state.State,
    t: Floats,
    v: Floats,
    i: Floats,
    cell_max_v: Floats | None = None,
    temp_c: Floats | None = None,
    temp_max_c: Floats | None = None,
    *,
    rule: ResetRule = VOLTAGE_AFTER_HOLD,
    requests: bool = True,
    into: Replay | None = None,
) -> Replay:
    """Take a whole trace from the state `before`; the same as `step` sample by sample.

    Args:
        settings: the pack's settings.
        before: the state to go on from; `ctrl.start` makes the first.
        t: time stamps, s; float64, shape (n,), as the other columns.
        v: pack voltages, V.
        i: currents, A, positive while charging.
        cell_max_v: highest cell voltages, V; None for a trace without them.
        temp_c: coldest cell sensor, degrees C; None for a trace without it.
        temp_max_c: hottest cell sensor, degrees C; None for a trace without it.
        rule: what decides a full reset; the condition of one that is not among `RESET_RULES`
            must be a function that numba can compile.
        requests: whether the voltage and current asked for are wanted too.
        into: an earlier answer to a trace of the same length, whose arrays are written over.

    Raises:
        ValueError: the columns are not of one length, or not one-dimensional; `into` does not fit.
    """
    optional: tuple[Floats | None, ...] = (cell_max_v, temp_c, temp_max_c)
    columns = _columns(t, v, i, *optional)
    if np.ndim(t) != 1:
        raise ValueError(f"a trace is one-dimensional; these columns have the shape {np.shape(t)}")
    size = len(t)
    if into is None:
        stage, soc, news = np.empty(size, np.int8), np.empty(size), np.empty(size, np.int32)
        volts, amps = (np.empty(size), np.empty(size)) if requests else (None, None)
    else:
        stage, soc, news = into.stage, into.soc, into.news
        volts, amps = into.voltage_request_v, into.current_request_a
        if len(stage) != size or (volts is not None) != requests:
            raise ValueError(
                "what is to be written over is of another length, or has other columns"
            )
    if any(column is not None for column in optional):
        columns = [np.empty(0) if column is None else column for column in columns]
    (one, _), chosen = _chosen(rule)
    after = one(
        _limits(settings.limits), chosen, _tuples(before), *columns, stage, soc, news, volts, amps
    )
    return Replay(stage, soc, news, volts, amps, _classes(after))


def _columns(*columns: Floats | None) -> list[Floats | None]:
    # The compiled code looks at no bounds: a column that is too short would read what lies behind it.
    shapes = {np.shape(column) for column in columns if column is not None}
    if len(shapes) > 1:
        raise ValueError(f"the columns of a trace differ in shape: {sorted(shapes)}")
    return [
        None if column is None else np.ascontiguousarray(column, dtype=np.float64)
        for column in columns
    ]


def replay_many(
    settings: Settings,
    before: state.State,
    t: Floats,
    v: Floats,
    i: Floats,
    *,
    rule: ResetRule = VOLTAGE_AFTER_HOLD,
    into: Answers | None = None,
) -> Answers:
    """Take many traces of the same length from the same state, on all cores.

    Args:
        settings: the settings of every pack.
        before: the state that each trace goes on from.
        t: time stamps, s; float64, shape (traces, samples), as `v` and `i`.
        v: pack voltages, V.
        i: currents, A, positive while charging.
        rule: what decides a full reset, as in `replay`.
        into: an earlier answer to traces of the same shape, whose arrays are written over.

    Returns:
        Stage, state of charge and news, each of the shape of `t`, as in `Replay`.

    Raises:
        ValueError: the columns are not of one shape, or not two-dimensional; `into` does not fit.
    """
    columns: list[Any] = [*_columns(t, v, i)]
    if np.ndim(t) != 2:
        raise ValueError(f"traces are rows; these columns have the shape {np.shape(t)}")
    if into is None:
        into = np.empty(t.shape, np.int8), np.empty(t.shape), np.empty(t.shape, np.int32)
    if into[0].shape != t.shape:
        raise ValueError("what is to be written over is of another shape")
    (_, rows), chosen = _chosen(rule)
    limits_, from_ = _limits(settings.limits), _tuples(before)
    columns += into
    # The kernel runs without the interpreter's lock, so threads are enough.
    workers = min(os.cpu_count() or 1, max(1, len(t)))
    edges = np.linspace(0, len(t), workers + 1).astype(int)

    def share(k: int) -> None:
        rows(limits_, chosen, from_, *(column[edges[k] : edges[k + 1]] for column in columns))

    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(share, range(workers)))
    return into
