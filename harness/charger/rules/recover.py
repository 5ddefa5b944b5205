"""RECOVER: what it takes to follow again."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.conduct import conduct
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.RECOVER_WAITS,
        title="it waits for steady messages",
        statement=(
            "After `fallback`, or after a stop, the charger follows again only when every message has"
            " been fresh for `steady_s`."
        ),
        reason="A loose plug that makes contact now and then switches full current on and off.",
        check=conduct,
    ),
    Requirement(
        id=names.UNBROKEN,
        title="an interruption starts the wait anew",
        statement="The wait is one stretch: a sample with an old message starts it anew.",
        reason="Messages that come half of the time add up to any length, and are not steady.",
        check=conduct,
    ),
    Requirement(
        id=names.RECOVERS,
        title="steady messages are followed again",
        statement=(
            "From `fallback`, or after a stop, the charger follows when every message has been fresh "
            "for `steady_s`."
        ),
        reason="A charger that does not come back leaves the bank at float until somebody looks.",
        check=conduct,
    ),
)
