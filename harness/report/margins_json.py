"""The margins of a pack as JSON."""

from __future__ import annotations

from typing import Any

import orjson
from attrs import asdict

from harness.report.margins import Margin, Margins


def margins_json(margins: Margins, name: str, caution: str, exit_code: int) -> str:
    """Everything that the terminal tells; what nothing bounds is null.

    Args:
        margins: the margins of a pack.
        name: of the file of settings.
        caution: what comes first.
        exit_code: of the command.
    """
    document = {
        "settings": name,
        "cells": margins.settings.cells,
        "installation": asdict(margins.installation),
        "margins": [_margin(each) for each in margins.margins],
        "late_dwells": [asdict(each) for each in margins.late],
        "smallest_setting": asdict(margins.smallest),
        "cell_limit_v": margins.settings.cell_limit_v,
        "warnings": len(margins.advice),
        "caution": caution,
        "exit_code": exit_code,
    }
    return orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()


def _margin(margin: Margin) -> dict[str, Any]:
    eaten = [{"by": part.by, "amount": _rounded(part.amount)} for part in margin.eaten]
    return {
        **asdict(margin),
        "amount": _rounded(margin.amount),
        "eaten": eaten,
        "left": _rounded(margin.left),
        "enough": margin.enough,
    }


def _rounded(value: float) -> float:
    """Without the noise of binary fractions, far below what anybody measures."""
    return round(value, 6) + 0.0
