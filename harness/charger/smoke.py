"""Try the attachment of a charger, not its conformance: speak every message once."""

from __future__ import annotations

from typing import Any

import numpy as np

from ctrl.charger import ChargerSettings
from ctrl.vocabulary import Stage
from harness.attach.smoke import Session, Step
from harness.charger.attach import attach_charger
from harness.charger.case import (
    CHARGER_ANSWER_COLUMNS,
    NO_STAGE,
    PACK_NUMBERS,
    ChargerAnswers,
    ChargerTrace,
)
from harness.run import Identity


def charger_smoke(spec: str, *, limit_s: float = 10.0) -> list[Step]:
    """Speak every message of the line protocol to the charger that `spec` names.

    Raises:
        AttachError: there is no such charger.
    """
    with attach_charger(spec, limit_s=limit_s) as attachment:
        return ChargerSession(attachment).steps()


class ChargerSession(Session):
    """The same session with a charger."""

    columns = CHARGER_ANSWER_COLUMNS
    equalises = False

    def _defaults(self) -> ChargerSettings:
        return ChargerSettings()

    def _other_settings(self) -> ChargerSettings:
        return ChargerSettings.for_cells(8, packs=3, steady_s=0.0, max_gap_s=4.0)

    def _start_with(self, settings: ChargerSettings) -> None:
        self._attachment.start(settings)

    def _samples(self) -> ChargerTrace:
        """Messages until it follows: every column there, some numbers and a stage missing."""
        settings: ChargerSettings = self._settings
        size = 40
        each = np.ones((size, settings.packs))
        columns: dict[str, Any] = {
            "request_v": each * settings.highest_v,
            "request_a": each * settings.highest_a / 2,
            "pack_v": each * settings.fallback_v,
            "pack_a": each + np.arange(size)[:, None] % 2 / 8,
            "age_s": each * settings.stale_s / 8,
        }
        columns["pack_v"][3] = columns["request_a"][5] = np.nan
        columns["stage"] = np.full((size, settings.packs), Stage.BULK, np.int8)
        columns["stage"][4] = NO_STAGE
        step_s = min(1.0, settings.max_gap_s)
        t, own_v = np.arange(float(size)) * step_s, np.full(size, settings.fallback_v)
        return ChargerTrace(t, own_v, np.full(size, 10.0), **columns)

    def _nothing(self) -> ChargerTrace:
        nothing = np.full((1, self._settings.packs), np.nan)
        columns: dict[str, Any] = dict.fromkeys(PACK_NUMBERS, nothing)
        columns["stage"] = np.full(nothing.shape, NO_STAGE, np.int8)
        return ChargerTrace(np.zeros(1), np.array([np.nan]), np.array([np.nan]), **columns)

    def _joined(self, parts: list[ChargerAnswers]) -> ChargerAnswers:
        return ChargerAnswers.joined(parts)

    def _cycles(self, identity: Identity) -> bool:  # noqa: ARG002  no charger may do without it
        return True
