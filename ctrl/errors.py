"""What can be wrong with what the controller is given, in parts that a caller can use."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class SettingsError(ValueError):
    """A setting is missing, unknown, or has a value that it cannot have.

    Attributes:
        fields: names of the settings at fault.
        hint: what would be right.
    """

    def __init__(self, message: str, *, fields: tuple[str, ...] = (), hint: str = "") -> None:
        super().__init__(f"{message}; {hint}" if hint else message)
        self.fields = fields
        self.hint = hint


class ContradictionError(SettingsError):
    """Two settings that exclude each other."""


def nearest(word: str, known: Iterable[str], then: str = "") -> str:
    """A hint that names the known word nearest to `word`, or all of them when none is near.

    Args:
        word: the word that is not known.
        known: those that are.
        then: a sentence to go on with.
    """
    words = sorted(known)
    close = difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    if close:
        return f"did you mean {close[0]!r}? {then}".rstrip()
    return f"known are {', '.join(words)}" + (f". {then}" if then else "")
