"""The passes of the reducer, in the order in which they are tried."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from harness.hunt.fewer_rows import extras, fewer_rows
from harness.hunt.plainer_readings import plainer_readings, plainer_start
from harness.hunt.plainer_settings import plainer_settings
from harness.hunt.plainer_stamps import plainer_stamps
from harness.hunt.shorter_timers import shorter_timers

if TYPE_CHECKING:
    from harness.hunt.reduce import Reducer

Pass = Callable[["Reducer"], None]

SETTINGS_PASSES: tuple[Pass, ...] = (plainer_settings, shorter_timers)
PASSES: tuple[Pass, ...] = (
    extras,
    fewer_rows,
    extras,
    plainer_settings,
    shorter_timers,
    fewer_rows,
    plainer_start,
    plainer_stamps,
    plainer_readings,
)
