"""A hunt as JSON: each failure with its shortest trace, and the verdict as `verify` stores it."""

from __future__ import annotations

from typing import Any

import orjson

from harness.hunt.failure import Failure
from harness.report.caution import CAUTION
from harness.report.hunt_roles import HuntTold, hunt_told
from harness.report.hunted import HuntResult, Told
from harness.report.store import to_json as result_to_json

FORMAT = "fullproof hunt"
VERSION = 1


def to_json(found: HuntResult) -> str:
    """The document; its last member says how much there has to be in it."""
    hunted = found.hunted
    told = {each.failure.key: each for each in found.told}
    of_role = hunt_told(hunted.role)
    failures = [_failure(each, told.get(each.key), of_role) for each in hunted.failures]
    document = {
        "format": FORMAT,
        "version": VERSION,
        "caution": CAUTION,
        "seed": hunted.seed,
        "first": hunted.first,
        "traces": hunted.traces,
        "judged": hunted.judged,
        "differing_and_allowed": hunted.differing,
        "elapsed_s": round(hunted.elapsed_s, 3),
        "failures": failures,
        "result": orjson.loads(result_to_json(found.result)),
        "end": {"failures": len(failures)},
    }
    return orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()


def _failure(failure: Failure, told: Told | None, of_role: HuntTold) -> dict[str, Any]:
    document: dict[str, Any] = {
        "requirement": failure.key.requirement,
        "way": failure.key.way,
        "sentence": (told or failure).finding.sentence,
        "first_trace": None if failure.case is None else failure.number,
        "traces": failure.traces,
        "traces_before": failure.before,
        "samples": None if failure.case is None else len(failure.case.trace),
        "shortened": None,
    }
    if told is not None:
        document |= {"again": told.again, "saved": told.saved or None}
        if told.reduced is not None:
            document["shortened"] = {
                "confirmed": not told.reduced.flaky,
                "runs": told.reduced.runs,
                "ended": told.reduced.ended,
                "index": told.finding.index,
                "case": of_role.document(told.reduced.case),
            }
    return document
