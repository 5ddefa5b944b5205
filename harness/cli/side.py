"""What a command that tries cases needs of a role: its cases, its catalogue, and how it is attached.

What only a charger needs is loaded only where a charger is under test.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from attrs import frozen

from ctrl.settings import Settings
from harness.attach import Attachment, LinkFault, attach
from harness.cases import rendered_for, shipped
from harness.cli.example import Example, example
from harness.cli.settings_options import given_settings
from harness.errors import InputError
from harness.report.catalogue import groups_of
from harness.report.excerpt import Excerpt, excerpts_of
from harness.role import CHARGER, CONTROLLER
from harness.rules.requirement import Requirement
from harness.run import Case
from harness.verify import CONTROLLER as CONTROLLER_ROLE
from harness.verify import Role

Reasons = dict[str, str]


@frozen
class Side:
    """One role as a command needs it.

    Attributes:
        role: how it is tried.
        groups: the names of the groups of its requirements.
        ids: ids of all its cases, in order.
        attach: attaches what a name and `limit_s` (s) stand for; raises `AttachError`.
        settings: takes the options of settings, and returns the settings; raises `InputError`.
        cases: takes what is attached, ids, and settings or None, and returns the cases, and why each
            of the others cannot be tried.
        excerpts: keeps the samples around findings.
        unnamed: what is tried where nothing is named; raises `InputError` where nothing can be.
    """

    role: Role
    groups: tuple[str, ...]
    ids: tuple[str, ...]
    attach: Callable[..., Any]
    settings: Callable[..., Any]
    cases: Callable[[Any, tuple[str, ...], Any], tuple[list[Any], Reasons]]
    excerpts: Callable[..., Iterator[Excerpt]]
    unnamed: Callable[[], Example]

    @property
    def catalogue(self) -> tuple[Requirement, ...]:
        """Its requirements."""
        return self.role.catalogue


def side_of(role: str) -> Side:
    """The side of this role."""
    if role == CHARGER:
        from harness.cli.side_charger import charger_side

        return charger_side()
    return Side(
        role=CONTROLLER_ROLE,
        groups=tuple(groups_of(CONTROLLER)),
        ids=tuple(vector.id for vector in shipped()),
        attach=attach,
        settings=given_settings,
        cases=_cases,
        excerpts=excerpts_of,
        unnamed=example,
    )


def _cases(
    attachment: Attachment, ids: tuple[str, ...], given: Settings | None
) -> tuple[list[Case], Reasons]:
    settings = settings_in_force(attachment, given)
    if settings is None:
        return chosen_of([vector.case for vector in shipped()], {}, ids)
    rendered, reasons = rendered_for(settings)
    return chosen_of([each.case for each in rendered], reasons, ids)


def settings_in_force(attachment: Any, given: Any) -> Any:
    """The settings that what is attached was built with, or those that are given; None for neither.

    Raises:
        InputError: there are both.
    """
    try:
        fixed = attachment.hello().fixed
    except LinkFault:
        # Whoever tries it meets this again, and makes it a finding.
        attachment.restart()
        fixed = None
    if fixed is not None and given is not None:
        raise InputError(
            f"the settings of this {attachment.role} are fixed",
            hint="leave out the options that set them",
        )
    return given if fixed is None else fixed


def chosen_of(
    cases: Iterable[Any], reasons: Mapping[str, str], ids: tuple[str, ...]
) -> tuple[list[Any], Reasons]:
    """Those of the cases, and of the reasons why there is none, that have one of these ids."""
    chosen = set(ids)
    return (
        [case for case in cases if case.id in chosen],
        {name: reason for name, reason in reasons.items() if name in chosen},
    )
