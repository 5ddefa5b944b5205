"""Settings that ask for what a controller does not claim are off in what a hunt shows.

The reducer brings settings back to their defaults, and some defaults ask for a feature. A reader who sees
the reference do what this controller was never to do looks for the fault in the wrong place, and a test
made of the trace would ask for it.
"""

from __future__ import annotations

from attrs import evolve

from ctrl.errors import SettingsError
from harness.hunt.as_vector import features_of
from harness.run import Case
from harness.strategies.settings_choices import switched_off


def without_unclaimed(case: Case, claimed: frozenset[str]) -> Case:
    """The case, with those settings off by which the reference does what is not claimed.

    Args:
        case: a case that fails.
        claimed: the features of the controller.
    """
    missing = frozenset(features_of(case)) - claimed
    changes = switched_off(missing)
    if not changes:
        return case
    try:
        return evolve(case, settings=case.settings.changed(**changes))
    except SettingsError:
        return case
