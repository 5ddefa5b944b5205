"""The passes of the reducer, in the order in which they are tried, and what they count as small."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from attrs import frozen

from harness.hunt.edit import Mask
from harness.hunt.fewer_rows import controller_marks, extras, fewer_rows
from harness.hunt.plainer_readings import plainer_readings, plainer_start
from harness.hunt.plainer_settings import plainer_settings
from harness.hunt.plainer_stamps import plainer_stamps
from harness.hunt.shorter_timers import shorter_timers
from harness.hunt.size import size

if TYPE_CHECKING:
    from harness.hunt.reduce import Reducer

Pass = Callable[["Reducer"], None]


@frozen
class Edits:
    """How a case of one role is made smaller.

    Attributes:
        size: how much there is to read in a case.
        marks: takes a case and its run (None where there is none), and says in which rows something
            happens: the first guess at those that matter.
        passes: what is tried, in order.
        settings_passes: those of them that touch the settings.
    """

    size: Callable[[Any], float]
    marks: Callable[[Any, Any], Mask]
    passes: tuple[Pass, ...]
    settings_passes: tuple[Pass, ...]


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
CONTROLLER_EDITS = Edits(size, controller_marks, PASSES, SETTINGS_PASSES)
