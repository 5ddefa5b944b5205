"""DOUBT: messages and readings that cannot be believed."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.conduct import conduct
from harness.charger.rules.voltage import set_point
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.SILENCE,
        title="nonsense is silence",
        statement=(
            "A message with a request that is absent, not finite or implausible, or with an age that "
            "is none, is not heard: its pack ages on."
        ),
        reason="A link that delivers garbage on time looks alive.",
        check=conduct,
    ),
    Requirement(
        id=names.NONSENSE,
        title="nonsense moves nothing",
        statement=(
            "A message that is not good changes neither set-point nor limit nor state; the requests "
            "in force stay."
        ),
        reason="One garbled message asks for 655.35 V, or for 0 A that nobody meant.",
        check=set_point,
    ),
    Requirement(
        id=names.READING,
        title="a reading that is not good compensates nothing",
        statement=(
            "The compensation does not rise over an interval at whose end a pack's voltage is absent,"
            " not finite or implausible, or its message is not good."
        ),
        reason=(
            "A voltage that is missing, taken for 0 V, is all that an integral needs to run to its "
            "bound."
        ),
        check=set_point,
    ),
    Requirement(
        id=names.FROZEN,
        title="a reading that does not change is not believed",
        statement=(
            "The compensation does not rise by a reading whose voltage and current have not changed "
            "for `frozen_s`."
        ),
        reason=(
            "A pack's processor hangs, its bus interface repeats the last voltage, and the integral "
            "runs on."
        ),
        check=set_point,
    ),
    Requirement(
        id=names.OWN,
        title="a charger that cannot read itself compensates nothing",
        statement=(
            "The compensation does not rise over an interval at whose end the charger's own voltage "
            "or current is absent, not finite or implausible."
        ),
        reason=(
            "Without its own meter a charger cannot know that its set-point is what bounds the "
            "charge."
        ),
        check=set_point,
    ),
)
