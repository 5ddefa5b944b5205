"""What a faulty controller is: an example controller with one place changed."""

from __future__ import annotations

from attrs import frozen


@frozen
class Fault:
    """One mistake, as one change in the source of an example controller.

    Attributes:
        name: stable slug; never used again for something else.
        requirement: id of the requirement that it breaks.
        title: what the faulty controller does, in a few words.
        old: the text that is replaced; it occurs exactly once in the source.
        new: what takes its place.
        why: how a real controller comes by it.
        language: which of the example controllers it changes, `Python` or `C`.
        in_messages: the fault is in the handling of messages; the class inside is without fault.
    """

    name: str
    requirement: str
    title: str
    old: str
    new: str
    why: str
    language: str = "Python"
    in_messages: bool = False


class FaultError(ValueError):
    """A fault does not fit the source that it is to change, or there is none of that name."""
