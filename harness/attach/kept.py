"""Keep the first and the last part of a stream that may never end."""

from __future__ import annotations

import io

PART_BYTES = 8192
LINE_PARTS = (600, 200)


class Kept:
    """The first and the last bytes of a stream, in bounded memory."""

    def __init__(self, part_bytes: int = PART_BYTES) -> None:
        self._part = part_bytes
        self._first = b""
        self._last = b""
        self._length = 0

    def add(self, chunk: bytes) -> None:
        """Take the next bytes of the stream."""
        self._length += len(chunk)
        room = self._part - len(self._first)
        if room > 0:
            self._first += chunk[:room]
            chunk = chunk[room:]
        if chunk:
            self._last = (self._last + chunk[-self._part :])[-self._part :]

    @property
    def text(self) -> str:
        """What is kept, as text; where bytes are left out it says how many."""
        left_out = self._length - len(self._first) - len(self._last)
        first, last = (part.decode("utf-8", "replace") for part in (self._first, self._last))
        return f"{first}\n[… {left_out} bytes …]\n{last}" if left_out else first + last


class KeptText(io.TextIOBase):
    """A text stream that writes into a `Kept`."""

    def __init__(self, kept: Kept) -> None:
        self._kept = kept

    def writable(self) -> bool:
        """True: it is there to be written to."""
        return True

    def write(self, text: str) -> int:
        """Keep the text; returns its length."""
        self._kept.add(text.encode("utf-8", "replace"))
        return len(text)


def shortened(line: bytes) -> str:
    """One line of a conversation as text, its middle left out when it is long."""
    first, last = LINE_PARTS
    line = line.rstrip(b"\r\n")
    if len(line) > first + last:
        left_out = len(line) - first - last
        line = b"%b [\xe2\x80\xa6 %d bytes \xe2\x80\xa6] %b" % (
            line[:first],
            left_out,
            line[-last:],
        )
    return line.decode("utf-8", "backslashreplace")
