"""What the compiled rules take, made inside compiled code: limits from a row of numbers.

numba looks at every field of a named tuple that it is handed, which costs more than a trace does.
"""

from __future__ import annotations

from math import nan
from typing import Any

import attrs
import numpy as np

from ctrl.compiled import Charge, Request, Rule, State, Watch
from ctrl.compiled import Limits as Tuple
from ctrl.resets import RESET_RULES, VOLTAGE_AFTER_HOLD
from ctrl.settings import Settings
from ctrl.state import NEVER
from ctrl.vocabulary import OnSag, OnUnconfirmed, Phase, Stage
from harness.run import Floats
from harness.world.compiling import part

RUN, PAUSE, RESTART = OnSag.RUN, OnSag.PAUSE, OnSag.RESTART
BULK, NO_PHASE = Stage.BULK, Phase.NONE
RULE_CODE = list(RESET_RULES).index(VOLTAGE_AFTER_HOLD.name)
DURING_HOLD, SUSTAINED = VOLTAGE_AFTER_HOLD.during_hold, VOLTAGE_AFTER_HOLD.sustained
TO_FLOAT, TO_BULK, WAIT = OnUnconfirmed.FLOAT, OnUnconfirmed.BULK, OnUnconfirmed.WAIT


def row_of(settings: Settings) -> Floats:
    """One number a limit, in the order of `ctrl.limits.Limits`; shape (43,)."""
    *numbers, in_charge, in_float, inhibited = attrs.astuple(settings.limits, recurse=False)
    for asked in (in_charge, in_float, inhibited):
        numbers += [asked.voltage_v, asked.current_a]
    return np.array(numbers, np.float64)


@part
def limits_from(n: Floats) -> Any:
    """The tuple that the compiled rules take, from what `row_of` made."""
    on_sag = RUN if n[5] == RUN.value else PAUSE if n[5] == PAUSE.value else RESTART
    on_unconfirmed = TO_FLOAT
    if n[9] == TO_BULK.value:
        on_unconfirmed = TO_BULK
    elif n[9] == WAIT.value:
        on_unconfirmed = WAIT
    return Tuple(
        n[0], n[1], n[2], n[3], n[4], on_sag, n[6], n[7], n[8], on_unconfirmed, n[10], n[11],
        n[12], n[13], n[14], n[15], n[16], n[17], n[18], n[19], n[20], n[21], n[22], n[23], n[24],
        n[25], n[26], n[27], n[28], n[29], n[30], n[31], n[32], n[33], n[34], n[35], n[36],
        Request(n[37], n[38]), Request(n[39], n[40]), Request(n[41], n[42]),
    )  # fmt: skip


@part
def reset_rule() -> Any:
    """The reset rule of the reference."""
    return Rule(RULE_CODE, DURING_HOLD, SUSTAINED)


@part
def powered_up(soc: float) -> Any:
    """`ctrl.state.powered_up`."""
    return State(
        soc,
        nan,
        nan,
        Charge(BULK, NO_PHASE, NEVER, NEVER, 0.0, NEVER),
        Watch(NEVER, NEVER, 0, NEVER, False, True, NEVER, 0.0),
    )
