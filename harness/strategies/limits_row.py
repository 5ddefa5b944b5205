"""What the compiled rules take, made inside compiled code: limits from a row of numbers.

numba looks at every field of a named tuple that it is handed, which costs more than a trace does.
"""

from __future__ import annotations

from math import inf, nan
from typing import Any

from ctrl.compiled import Charge, Rule, Sensor, State, Upkeep, Watch
from ctrl.flat import flat_parts, limits_row
from ctrl.resets import RESET_RULES, VOLTAGE_AFTER_HOLD
from ctrl.state import NEVER
from ctrl.vocabulary import Phase, Stage
from harness.world.compiling import part

BULK, NO_PHASE = Stage.BULK, Phase.NONE
RULE_CODE = list(RESET_RULES).index(VOLTAGE_AFTER_HOLD.name)
DURING_HOLD, SUSTAINED = VOLTAGE_AFTER_HOLD.during_hold, VOLTAGE_AFTER_HOLD.sustained

row_of = limits_row
limits_from = flat_parts().limits_at


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
        Watch(
            NEVER,
            NEVER,
            0,
            NEVER,
            False,
            True,
            NEVER,
            0.0,
            Sensor(nan, NEVER, NEVER),
            Upkeep(nan, False, -inf),
        ),
    )
