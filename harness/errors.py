"""What can be wrong with what the harness is given, in parts that a caller can use."""

from __future__ import annotations

from pathlib import Path


class InputError(Exception):
    """Something that was handed to the harness cannot be used: a file, an id, a name.

    The text reads `file:line: column 2 (v): what was there; what would be right`, without the
    parts that are not known.

    Attributes:
        message: what was wrong, with the value that was found.
        file: the file at fault; empty where there is none.
        line: its line, counted from 1; None where it is not known.
        column: name and number of the column, or the path of the JSON member.
        hint: what would be right.
        exit_code: with which code a command ends that meets it.
    """

    exit_code = 2

    def __init__(
        self,
        message: str,
        *,
        file: str | Path = "",
        line: int | None = None,
        column: str = "",
        hint: str = "",
    ) -> None:
        self.message = message
        self.file = str(file)
        self.line = line
        self.column = column
        self.hint = hint
        super().__init__(self._text())

    def _text(self) -> str:
        place = self.file
        if self.line is not None:
            place = f"{place}:{self.line}" if place else f"line {self.line}"
        parts = [part for part in (place, self.column, self.message) if part]
        text = ": ".join(parts)
        return f"{text}; {self.hint}" if self.hint else text


def cannot_read(path: str | Path, error: OSError) -> InputError:
    """What is said of a file that the system will not give: why, and what to look at.

    Args:
        path: the file, as it was named.
        error: what came of opening or reading it.
    """
    hint = {
        FileNotFoundError: f"seen from {Path.cwd()}",
        IsADirectoryError: "name a file in it",
        PermissionError: "whoever runs this must be allowed to read it",
    }.get(type(error), "it must be a file that can be read")
    return InputError(f"cannot be read: {error.strerror}", file=path, hint=hint)
