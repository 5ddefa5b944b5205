"""The role `charger` as a command needs it."""

from __future__ import annotations

from functools import partial

from ctrl.charger import ChargerSettings
from harness.charger.attach import ChargerAttachment, attach_charger
from harness.charger.case import ChargerCase
from harness.charger.cases import charger_cases
from harness.charger.folder import charger_vectors_for
from harness.charger.rules import CHARGER_GROUPS
from harness.charger.verify import CHARGER
from harness.cli.example import example
from harness.cli.settings_options import given_charger_settings
from harness.cli.side import Reasons, Side, chosen_of, settings_in_force
from harness.report.charger_excerpt import charger_excerpts_of


def charger_side() -> Side:
    """The side of the role `charger`."""
    return Side(
        role=CHARGER,
        groups=tuple(CHARGER_GROUPS),
        ids=tuple(case.id for case in charger_cases()),
        attach=attach_charger,
        settings=partial(given_charger_settings, packs=1),
        cases=_cases,
        excerpts=charger_excerpts_of,
        unnamed=lambda: example(CHARGER.name),
    )


def _cases(
    attachment: ChargerAttachment, ids: tuple[str, ...], given: ChargerSettings | None
) -> tuple[list[ChargerCase], Reasons]:
    settings = settings_in_force(attachment, given)
    if settings is None:
        return chosen_of(charger_cases(), {}, ids)
    rendered, reasons = charger_vectors_for(settings)
    return chosen_of([each.case for each in rendered], reasons, ids)
