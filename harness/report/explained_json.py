"""A log explained, as JSON."""

from __future__ import annotations

from math import isfinite
from typing import Any

import orjson

from harness.explain.fix import Fix
from harness.explain.reason import Reason
from harness.explain.wiring import Apart, Between
from harness.report.caution import CAUTION
from harness.report.explained import Story, told_stamp

FORMAT, VERSION = "fullproof explain", 1


def to_json(story: Story) -> str:
    """The document; its last member says how much there has to be in it."""
    explained = story.explained
    top = explained.top
    packs = []
    for pack in explained.packs:
        main = explained.main(pack.name)
        line = explained.lines.get(pack.name)
        packs.append(
            {
                "name": pack.name,
                "rows": len(pack.log),
                "settings": pack.settings.to_mapping(),
                "reason": _reason(story, main),
                "days": [_reason(story, each) for each in explained.of(pack.name)],
                "between_charger_and_pack": None if line is None else _between(line),
                "cable_ohm": story.cables[pack.name].ohm if pack.name in story.cables else None,
                "fixes": [_fix(fix) for fix in story.fixes.get(pack.name, ())],
                "events": [
                    {
                        "row": each.row,
                        "t": _number(float(pack.log.trace.t[each.row])),
                        "name": each.event.name,
                        "cause": each.event.cause or None,
                        "from": each.event.from_stage.word,
                        "to": each.event.to_stage.word,
                    }
                    for each in pack.happened
                ],
            }
        )
    document = {
        "format": FORMAT,
        "version": VERSION,
        "caution": CAUTION,
        "log": str(explained.log.path),
        "days": [
            {"number": day.number, "start_s": day.start_s, "stop_s": day.stop_s}
            for day in explained.days
        ],
        "top": {"pack": top.pack, "day": top.day, "cause": top.cause.name.lower()},
        "packs": packs,
        "end": {"packs": len(packs), "complete": True},
    }
    return orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()


def _number(value: float) -> float | None:
    return value if isfinite(value) else None


def _reason(story: Story, reason: Reason) -> dict[str, Any]:
    return {
        "day": reason.day,
        "cause": reason.cause.name.lower(),
        "told": reason.cause.value,
        "sure": reason.sure.name.lower(),
        "t": _number(reason.t),
        "at": told_stamp(story.explained, reason.t) or None,
        "amount": _number(reason.amount),
        "unit": reason.unit or None,
        "chain": [
            {
                "sentence": link.sentence,
                "t": _number(link.t),
                "margin": _number(link.margin),
                "unit": link.unit or None,
                "rule": link.rule or None,
            }
            for link in reason.chain
        ],
    }


def _between(between: Between) -> dict[str, Any]:
    line = between.line
    document: dict[str, Any] = {
        "told_apart": between.apart is Apart.YES,
        "why_not": None if between.apart is Apart.YES else between.apart.value,
        "typical_v": _number(between.typical_v),
        "lag_s": between.lag_s,
        "rows": between.rows,
    }
    if line is not None:
        document |= {
            "wiring_ohm": line.slope,
            "wiring_error_ohm": line.slope_error,
            "mismatch_v": line.intercept,
            "mismatch_error_v": line.intercept_error,
            "scatter_v": line.scatter,
            "blocks": line.points,
            "outliers": line.outliers,
            "from_a": line.low_x,
            "to_a": line.high_x,
        }
    return document


def _fix(fix: Fix) -> dict[str, Any]:
    return {
        "change": fix.change,
        "tried": fix.how.name.lower(),
        "helps": fix.helps,
        "days": fix.days,
        "of_days": fix.of_days,
        "highest_cell_v": _number(fix.highest_cell_v),
        "above_float_h": _number(fix.above_float_h),
        "risk": fix.risk or None,
        "danger": fix.danger,
    }
