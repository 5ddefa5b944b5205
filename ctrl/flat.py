"""Limits, states and rules as rows of numbers, for compiled loops over many controllers at once.

A tuple of forty fields takes its time to be handed on, and lists of tuples are slow to be read. A row
of an array is neither: what a step does not look at is never fetched.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from math import isfinite, nan
from types import ModuleType
from typing import Any, NamedTuple

import numba
import numpy as np

from ctrl import bank, compiled
from ctrl.compiled import FIRST_OWN_CODE, SOURCES, Condition, Floats, bound, namespace
from ctrl.limits import Limits, limits_of
from ctrl.resets import RESET_RULES, ResetRule
from ctrl.settings import Settings
from ctrl.state import NEVER, powered_up
from ctrl.vocabulary import OnSag, OnUnconfirmed, Phase, Stage

# Entries of a row of limits: the fields of `ctrl.limits.Limits`, then the requests of its last four.
_FIELDS = [name for name in Limits.__annotations__ if not name.startswith("asked_")]
_REQUESTS = [name for name in Limits.__annotations__ if name.startswith("asked_")]
LIMITS_ENTRIES = len(_FIELDS) + 2 * len(_REQUESTS)
# Entries of a row of a controller's state.
(
    SOC, STAMP_S, CURRENT_A, STAGE, PHASE, DWELL_SINCE_S, TIMER_FROM_S, COUNTED_S, EXPIRED_S, CELL_SINCE_S,
    TEMPERATURE_SINCE_S, TRIPPED, EMPTY_SINCE_S, EMPTIED, QUIET, FIRST_T, SHIFT_V, TEMP_C, READ_S,
    CHANGED_S, FROM_S, REQUESTED, NOT_BEFORE_S,
) = range(23)  # fmt: skip
STATE_ENTRIES = 23
# Entries of a row of a rule.
CODE, DURING_HOLD, SUSTAINED = range(3)
RULE_ENTRIES = 3

_ROW_NAMES = {
    name: what for name, what in globals().items() if name.isupper() and type(what) is int
}
_SAGS, _UNCONFIRMED = tuple(OnSag), tuple(OnUnconfirmed)
_STAGES, _PHASES = tuple(Stage), tuple(Phase)


def limits_entry(name: str) -> int:
    """Which entry of a row of limits holds this field."""
    return _FIELDS.index(name)


def limits_row(settings: Settings) -> Floats:
    """The limits that follow from settings; shape (LIMITS_ENTRIES,)."""
    limits = limits_of(settings)
    numbers = [float(getattr(limits, name)) for name in _FIELDS]
    for name in _REQUESTS:
        asked = getattr(limits, name)
        numbers += [asked.voltage_v, asked.current_a]
    return np.array(numbers)


def state_row(soc: float) -> Floats:
    """A controller that has just been powered up; shape (STATE_ENTRIES,)."""
    state = powered_up(soc)
    charge, watch = state.charge, state.watch
    return np.array(
        (
            state.soc, state.t, state.i,
            charge.stage, charge.phase, charge.dwell_since_s, charge.timer_from_s,
            charge.counted_s, charge.expired_s,
            watch.cell_since_s, watch.temperature_since_s, watch.tripped, watch.empty_since_s,
            watch.emptied, watch.quiet, watch.first_t, watch.shift_v,
            watch.sensor.temp_c, watch.sensor.read_s, watch.sensor.changed_s,
            watch.upkeep.from_s, watch.upkeep.requested, watch.upkeep.not_before_s,
        ),
        dtype=np.float64,
    )  # fmt: skip


def own_conditions(rules: Sequence[ResetRule]) -> tuple[Condition, ...]:
    """The conditions of the rules that are not among `RESET_RULES`, each once."""
    own = [rule.condition for rule in rules if RESET_RULES.get(rule.name) != rule]
    return tuple(dict.fromkeys(own))


def rule_row(rule: ResetRule, conditions: Sequence[Condition] = ()) -> Floats:
    """A rule; shape (RULE_ENTRIES,).

    Args:
        rule: the rule.
        conditions: those of `flat_parts`.
    """
    if RESET_RULES.get(rule.name) == rule:
        code = list(RESET_RULES).index(rule.name)
    else:
        code = FIRST_OWN_CODE + list(conditions).index(rule.condition)
    return np.array((code, rule.during_hold, rule.sustained), dtype=np.float64)


# The names in the bodies of the next four are bound by `flat_parts`; they are never called as they
# stand.
# ruff: noqa: F821
# mypy: disable-error-code="name-defined,no-untyped-def,no-untyped-call"


def limits_at(row):
    """The tuple of limits of a row."""
    return Limits(
        row[0], row[1], row[2], row[3], row[4], SAGS[int(row[5])], row[6], row[7], row[8],
        UNCONFIRMED[int(row[9])], row[10], row[11], row[12], row[13], row[14], row[15], row[16],
        row[17], row[18], row[19], row[20], row[21], row[22], row[23], row[24], row[25], row[26],
        row[27], row[28], row[29], row[30], row[31], row[32], row[33], row[34], row[35], row[36],
        row[37], row[38], row[39], row[40], row[41], row[42], row[43], row[44], row[45], row[46],
        row[47], Request(row[48], row[49]), Request(row[50], row[51]), Request(row[52], row[53]),
        Request(row[54], row[55]),
    )  # fmt: skip


def state_at(row):
    """The tuple of a state of a row."""
    return State(
        row[SOC], row[STAMP_S], row[CURRENT_A],
        Charge(
            STAGES[int(row[STAGE])], PHASES[int(row[PHASE])], row[DWELL_SINCE_S],
            row[TIMER_FROM_S], row[COUNTED_S], row[EXPIRED_S],
        ),
        Watch(
            row[CELL_SINCE_S], row[TEMPERATURE_SINCE_S], int(row[TRIPPED]), row[EMPTY_SINCE_S],
            row[EMPTIED] > 0.0, row[QUIET] > 0.0, row[FIRST_T], row[SHIFT_V],
            Sensor(row[TEMP_C], row[READ_S], row[CHANGED_S]),
            Upkeep(row[FROM_S], row[REQUESTED] > 0.0, row[NOT_BEFORE_S]),
        ),
    )  # fmt: skip


def keep_state(row, state):
    """Write a state into a row."""
    charge, watch = state.charge, state.watch
    row[SOC], row[STAMP_S], row[CURRENT_A] = state.soc, state.t, state.i
    row[STAGE], row[PHASE] = charge.stage.value, charge.phase.value
    row[DWELL_SINCE_S], row[TIMER_FROM_S] = charge.dwell_since_s, charge.timer_from_s
    row[COUNTED_S], row[EXPIRED_S] = charge.counted_s, charge.expired_s
    row[CELL_SINCE_S], row[TEMPERATURE_SINCE_S] = watch.cell_since_s, watch.temperature_since_s
    row[TRIPPED], row[EMPTY_SINCE_S] = watch.tripped, watch.empty_since_s
    row[EMPTIED] = 1.0 if watch.emptied else 0.0
    row[QUIET] = 1.0 if watch.quiet else 0.0
    row[FIRST_T], row[SHIFT_V] = watch.first_t, watch.shift_v
    sensor, upkeep = watch.sensor, watch.upkeep
    row[TEMP_C], row[READ_S], row[CHANGED_S] = sensor.temp_c, sensor.read_s, sensor.changed_s
    row[FROM_S], row[NOT_BEFORE_S] = upkeep.from_s, upkeep.not_before_s
    row[REQUESTED] = 1.0 if upkeep.requested else 0.0


def decide_row(limits_row, rule_row, state_row, t, v, i, cell_v, temp_c, hot_c):
    """`ctrl.stages.decide` on rows: the state is changed in place; returns the output."""
    rule = Rule(int(rule_row[CODE]), rule_row[DURING_HOLD] > 0.0, rule_row[SUSTAINED] > 0.0)
    state, output = decide(
        limits_at(limits_row), rule, state_at(state_row), Sample(t, v, i, cell_v, temp_c, hot_c)
    )
    keep_state(state_row, state)
    return output


class FlatParts(NamedTuple):
    """Controllers and bank policy, to be woven into a compiled loop.

    Attributes:
        decide_row: one sample of one controller; arguments as above.
        counted: `ctrl.counting.counted`, for a loop that takes samples at which nothing else moves.
        limits_at: makes the tuple that `counted` takes.
        waiting_since: of `ctrl.bank`.
        asked_of_charger: of `ctrl.bank`.
        sources: every module that goes into the machine code.
    """

    decide_row: Any
    counted: Any
    limits_at: Any
    waiting_since: Any
    asked_of_charger: Any
    sources: tuple[ModuleType | str, ...]


@cache
def flat_parts(conditions: tuple[Condition, ...] = ()) -> FlatParts:
    """These parts, with the conditions of reset rules beside the built-in ones."""
    names = namespace(conditions)
    names.update(
        Rule=compiled.Rule, SAGS=_SAGS, UNCONFIRMED=_UNCONFIRMED, STAGES=_STAGES, PHASES=_PHASES
    )
    names.update(_ROW_NAMES)
    of_rows: tuple[Any, ...] = (limits_at, state_at, keep_state, decide_row)
    for function in of_rows:
        names[function.__name__] = bound(function, names, forceinline=True, _nrt=False)
    # The bank takes stages as plain numbers, by the same names.
    policy: dict[str, Any] = {"nan": nan, "isfinite": isfinite, "NEVER": NEVER}
    policy.update({name: what for name, what in vars(bank).items() if name.isupper()})
    of_bank: tuple[Any, ...] = (bank.waiting_since, bank.lowest_v, bank.asked_of_charger)
    for function in of_bank:
        policy[function.__name__] = bound(function, policy, forceinline=True)
    return FlatParts(
        names["decide_row"],
        names["counted"],
        names["limits_at"],
        policy["waiting_since"],
        policy["asked_of_charger"],
        (*SOURCES, bank, __file__),
    )


def compiles(condition: Condition) -> str:
    """What is wrong with a condition that cannot be compiled; empty for nothing.

    Args:
        condition: of a reset rule.
    """
    parts = flat_parts()

    def ask(row: Any) -> Any:
        return tried(limits_at(row), row[0], row[1])

    tried = numba.njit(error_model="numpy")(condition)
    limits_at = parts.limits_at
    try:
        answer = numba.njit(error_model="numpy")(ask)
        said = answer(limits_row(Settings()))
    except Exception as fault:
        lines = [line for line in str(fault).splitlines() if line.strip()]
        return lines[-1].strip() if lines else type(fault).__name__
    if not isinstance(said, bool | np.bool_):
        return f"it returns {type(said).__name__}"
    return ""
