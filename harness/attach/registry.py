"""Which kinds of controllers can be attached, and who opens each."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module

from attrs import frozen

from ctrl.errors import nearest
from harness.attach.base import AttachError, Attachment, refuse_limit

# (whole name, what stands after the colon, longest wait for one answer in s) -> attachment
Opener = Callable[[str, str, float], Attachment]


@frozen
class Kind:
    """One way to reach a controller.

    Attributes:
        form: how it is written on the command line.
        module: the module whose function `open_attachment`, an `Opener`, opens it; imported only
            when the kind is used.
    """

    form: str
    module: str


KINDS: dict[str, Kind] = {
    "ref": Kind("ref, ref:RULE or ref:py:path/to/file.py:RULE", "harness.attach.reference"),
    "py": Kind("py:module:Class or py:path/to/file.py:Class", "harness.attach.python"),
    "exec": Kind("exec:./program arguments", "harness.attach.program"),
    "fmu": Kind(
        "fmu:controller.fmu or fmu:controller.fmu:mapping.toml", "harness.attach.fmu.attachment"
    ),
    "lib": Kind("lib:./libcontroller.so", "harness.attach.library.attachment"),
}


def attach(spec: str, *, limit_s: float = 10.0) -> Attachment:
    """The controller that `spec` names, not yet started.

    Args:
        spec: kind, colon, and what the kind needs: see `KINDS`.
        limit_s: the longest wait for one answer, s of the wall clock.

    Raises:
        AttachError: there is no such controller; the message says what would be right.
    """
    refuse_limit(limit_s)
    kind, _, rest = spec.partition(":")
    if kind not in KINDS:
        raise AttachError(f"there is no controller {spec!r}", hint=_hint(spec, kind))
    opener: Opener = import_module(KINDS[kind].module).open_attachment
    return opener(spec, rest, limit_s)


def _hint(spec: str, kind: str) -> str:
    forms = "; ".join(known.form for known in KINDS.values())
    if kind == "log":
        return "a log is no controller that could run: judge it with fullproof verify log:FILE"
    if ".py:" in spec:
        return f"did you mean py:{spec}? Forms are: {forms}"
    if "/" in kind or "." in kind:
        return f"did you mean exec:{spec}? Forms are: {forms}"
    return nearest(kind, KINDS, f"Forms are: {forms}")
