"""What all tests share: how hard the generated ones look.

Every Hypothesis setting is stated, because the library changes its defaults where it believes to be
on a build server. `quick` is the default, `ci` is chosen where `CI` is set, `long` by
`FULLPROOF_TESTS=long` for a search that finds other examples every time.
"""

from __future__ import annotations

import os
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

_STATED: dict[str, Any] = {
    "deadline": None,
    "print_blob": True,
    "report_multiple_bugs": True,
    "stateful_step_count": 50,
    "suppress_health_check": [HealthCheck.too_slow],
}

settings.register_profile("quick", max_examples=100, derandomize=True, database=None, **_STATED)
settings.register_profile("ci", max_examples=100, derandomize=True, database=None, **_STATED)
settings.register_profile("long", max_examples=3000, derandomize=False, **_STATED)
settings.load_profile(
    os.environ.get("FULLPROOF_TESTS") or ("ci" if "CI" in os.environ else "quick")
)


def pytest_configure(config: pytest.Config) -> None:
    """Before test processes begin on the whole, compile what they share."""
    apart = hasattr(config, "workerinput") or not config.getoption("numprocesses", None)
    if not apart and config.args_source is pytest.Config.ArgsSource.TESTPATHS:
        from tests.compiled_beforehand import compile_all

        compile_all()
