"""The options of the pytest front; what costs time to import waits until a controller is named."""

from __future__ import annotations

from typing import Any

import pytest

GROUP = "fullproof"
# (name, how it is asked for, type, default, what it is)
_OPTIONS: tuple[tuple[str, str, type, object, str], ...] = (
    ("controller", "CONTROLLER", str, "", "judge this controller: every vector becomes a test"),
    ("known", "FILE", str, "", "TOML list of known failures; those are expected to fail"),
    ("hunt", "N", int, 100, "how many traces the test 'hunt' draws; 0 leaves it out"),
    ("seed", "N", int, 0, "which traces it draws; the same number gives the same ones"),
    ("save", "FOLDER", str, "", "where it writes the shortest failing trace as a vector"),
    ("limit-s", "SECONDS", float, 10.0, "the longest wait for one answer of the controller"),
    ("tolerance-s", "SECONDS", float, 0.0, "declared tolerance of the controller's clock"),
)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options, and the same for the file with settings of pytest."""
    group = parser.getgroup(GROUP, "a charge controller judged by Fullproof")
    for name, metavar, kind, default, about in _OPTIONS:
        shown = f" (default: {default})" if default != "" else ""
        group.addoption(f"--{GROUP}-{name}", metavar=metavar, type=kind, help=f"{about}{shown}")
        parser.addini(f"{GROUP}_{name.replace('-', '_')}", about, default=str(default))
    group.addoption(
        f"--{GROUP}-select",
        metavar="PATTERN",
        action="append",
        help="only this requirement, group or vector; can be repeated",
    )
    parser.addini(f"{GROUP}_select", "the same, one a line", type="linelist")


@pytest.hookimpl(trylast=True)
def pytest_configure(config: pytest.Config) -> None:
    """Start the front where a controller is named.

    Raises:
        pytest.UsageError: an option that cannot be used, or a controller that cannot be attached.
    """
    given: dict[str, Any] = {
        name.replace("-", "_"): _given(config, name, kind) for name, _, kind, _, _ in _OPTIONS
    }
    if not given["controller"]:
        return
    patterns = config.getoption(f"{GROUP}_select") or config.getini(f"{GROUP}_select")
    from harness.errors import InputError
    from harness.plugin.front import Front

    try:
        front = Front(config, select=tuple(patterns), **given)
    except InputError as error:
        raise pytest.UsageError(f"{GROUP}: {error}") from None
    config.pluginmanager.register(front, GROUP + "-front")


def _given(config: pytest.Config, name: str, kind: type) -> Any:
    dest = f"{GROUP}_{name.replace('-', '_')}"
    option = config.getoption(dest)
    if option is not None:
        return option
    text = config.getini(dest)
    try:
        return kind(text)
    except ValueError:
        raise pytest.UsageError(f"{dest} is {text!r}, no {kind.__name__}") from None
