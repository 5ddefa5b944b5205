"""BEGIN: the start."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.conduct import conduct
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.BEGINS_STOPPED,
        title="it begins stopped",
        statement=(
            "The charger begins `stopped`, without current and with a set-point of at most "
            "`fallback_v`; from `stopped` it never goes to `fallback`."
        ),
        reason="Before the first message nobody knows what hangs on the wires.",
        check=conduct,
    ),
    Requirement(
        id=names.BEGIN_WAITS,
        title="it waits before it follows the first time",
        statement=(
            "The charger follows only when every message has been fresh for `steady_s`, without a "
            "break."
        ),
        reason="A pack that has just switched on says things that it takes back.",
        check=conduct,
    ),
    Requirement(
        id=names.BEGINS,
        title="it begins to follow",
        statement="From `stopped` the charger follows when every message has been fresh for `steady_s`.",
        reason="A charger that never begins never charges.",
        check=conduct,
    ),
)
