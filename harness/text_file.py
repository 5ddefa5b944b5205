"""The head of a text file: the mark that may stand there, and what the content begins with."""

from __future__ import annotations

from pathlib import Path

from harness.errors import cannot_read

# Some programs write this byte-order mark in front of UTF-8; it is no part of the content.
UTF_8_MARK = b"\xef\xbb\xbf"
_BYTES_AT_ONCE = 4096


def first_character(path: Path) -> bytes:
    """The first character of a file that is not blank; empty where there is none.

    Raises:
        InputError: the file cannot be read.
    """
    try:
        with path.open("rb") as file:
            start = file.read(_BYTES_AT_ONCE).removeprefix(UTF_8_MARK).lstrip()
            while not start and (more := file.read(_BYTES_AT_ONCE)):
                start = more.lstrip()
    except OSError as error:
        raise cannot_read(path, error) from None
    return start[:1]
