"""What the hunt needs to know of what is under test: a controller, or a charger.

The loop, the doubts and the reducer are the same for every role. What differs stands in one `HuntRole`
each; a role is loaded when something of it is hunted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from attrs import frozen

from harness.attach.base import Attached
from harness.rules.requirement import Requirement
from harness.run import Finding
from harness.verdict import CaseVerdict

if TYPE_CHECKING:
    from harness.hunt.passes import Edits


@frozen
class HuntRole:
    """One role. A case, a run, answers and settings are those of the role.

    Attributes:
        name: `controller` or `charger`.
        catalogue: its requirements.
        sweep: takes a seed, settings (None draws them), the claimed features and a first number, and
            yields traces without end, each with `number`, `case` and `said`, the answers of the
            reference.
        worlds: takes attachment, seed, how many, and the claimed features, and yields the same for
            traces that a closed loop makes.
        drive: takes attachment and case, and returns the run; raises `LinkFault`.
        judge: takes a run and the tolerance of the clock, s.
        way_of: takes a run and a finding, and says in which way a requirement was broken.
        reference: takes a case, and returns the answers of the reference.
        agrees: takes answers, those of the reference, and the claimed features: whether they are the
            same.
        is_reference: whether an attachment is the reference itself.
        cannot_be_told: takes attachment and case, and says why the one cannot be told the other.
        worded: a value of one column of the answers, as text.
        edits: how a failing case is made smaller.
        without_unclaimed: takes a case and the claimed features, and switches the settings off by
            which the reference does what is not claimed.
    """

    name: str
    catalogue: tuple[Requirement, ...]
    sweep: Callable[[int, Any, frozenset[str], int], Iterator[Any]]
    worlds: Callable[[Any, int, int, frozenset[str]], Iterator[Any]]
    drive: Callable[[Any, Any], Any]
    judge: Callable[[Any, float], CaseVerdict]
    way_of: Callable[[Any, Finding], str]
    reference: Callable[[Any], Any]
    agrees: Callable[[Any, Any, frozenset[str]], bool]
    is_reference: Callable[[Any], bool]
    cannot_be_told: Callable[[Any, Any], str]
    worded: Callable[[str, Any], str]
    edits: Edits
    without_unclaimed: Callable[[Any, frozenset[str]], Any] = lambda case, _: case


def role_of(attachment: Attached) -> HuntRole:
    """The role of what is attached."""
    if attachment.role == "charger":
        from harness.hunt.charger.role import CHARGER

        return CHARGER
    from harness.hunt.controller import CONTROLLER

    return CONTROLLER
