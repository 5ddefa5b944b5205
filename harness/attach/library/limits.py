"""What a library may use up in its worker, besides time: that is the limit for one answer."""

from __future__ import annotations

import os
from collections.abc import Mapping

from attrs import fields, frozen

from harness.attach.base import AttachError

_MEGABYTE = 1 << 20
NO_LIMIT = "none"


@frozen
class WorkerLimits:
    """Limits of one worker, in megabytes; None for no limit.

    Each is set by the environment variable `FULLPROOF_WORKER_` and its name in capitals.

    Attributes:
        memory_mb: memory; an allocation beyond it fails.
        output_mb: what may be printed while one message is answered.
        file_mb: the length of a file that is written.
    """

    memory_mb: int | None = 1024
    output_mb: int | None = 16
    file_mb: int | None = 64

    @classmethod
    def from_environment(cls, variables: Mapping[str, str] = os.environ) -> WorkerLimits:
        """The limits that the environment sets, the others as they are.

        Raises:
            AttachError: a variable is neither a whole number greater than 0 nor `none`.
        """
        given: dict[str, int | None] = {}
        for name in (field.name for field in fields(cls)):
            variable = f"FULLPROOF_WORKER_{name.upper()}"
            text = variables.get(variable)
            if text is None:
                continue
            if text != NO_LIMIT and not (text.isdecimal() and int(text) > 0):
                raise AttachError(
                    f"{variable} is {text!r}",
                    hint=f"it must be a whole number of megabytes greater than 0, or {NO_LIMIT}",
                )
            given[name] = None if text == NO_LIMIT else int(text)
        return cls(**given)

    def in_bytes(self, name: str) -> int | None:
        """One limit in bytes."""
        megabytes: int | None = getattr(self, name)
        return None if megabytes is None else megabytes * _MEGABYTE
