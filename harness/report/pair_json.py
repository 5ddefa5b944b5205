"""A pair as JSON: everything that the terminal tells, as numbers; what is not known is null."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import attrs
import orjson

from harness.report.caution import CAUTION
from harness.report.pair_words import blame_sentence, verdict_sentence, why_not
from harness.report.paired import Crossed, Paired
from harness.run import Identity
from harness.world.charger_course import Extreme, above_request_at
from harness.world.filled import Filling
from harness.world.result import Reset

FORMAT, VERSION = "fullproof pair", 1


def pair_json(paired: Paired, exit_code: int) -> str:
    """The document; NaN becomes null."""
    result, scenario = paired.result, paired.scenario
    stop = result.stop
    document = {
        "format": FORMAT,
        "version": VERSION,
        "caution": CAUTION,
        "scenario": scenario.name,
        "title": scenario.title,
        "seed": result.world.seed,
        "hours": result.summary.ran_s / 3600.0,
        "fills_every_pack": paired.fills_all,
        "verdict": verdict_sentence(paired),
        "blame": blame_sentence(paired) or None,
        "packs": [_pack(paired, p) for p in range(len(result.packs))],
        "charger": _charger(paired),
        "crossed": [_crossed(each) for each in paired.crossed],
        "stop": None
        if stop is None
        else {"step": stop.step, "t": stop.t, "reason": stop.reason, "inputs": dict(stop.inputs)},
        "exit_code": exit_code,
    }
    option = orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE | orjson.OPT_SERIALIZE_NUMPY
    return orjson.dumps(document, option=option).decode()


def _pack(paired: Paired, p: int) -> dict[str, Any]:
    filling, run, way = paired.fillings[p], paired.result.charger, None
    reset = filling.reset
    reason = paired.reasons[p] if paired.reasons else None
    if paired.accounts:
        way = paired.accounts[p]
    above_v = None if reset is None or run is None else above_request_at(run, reset.t)
    return {
        **_filling(filling),
        "controller": _identity(paired.result.packs[p].identity, paired.specs[p]),
        "set_point_above_request_v": above_v,
        "cause": None if reason is None else reason.cause.name.lower(),
        "why_not": [] if filling.filled else why_not(paired, p),
        "voltage_account": None if way is None else attrs.asdict(way),
        "findings": [attrs.asdict(finding) for finding in paired.findings_of(p)],
    }


def _filling(filling: Filling) -> dict[str, Any]:
    return {
        "name": filling.name,
        "filled": filling.filled,
        "reset": _reset(filling.reset),
        "early_reset": _reset(filling.early),
        "true_soc": filling.true_soc,
        "highest_v": filling.highest_v,
        "short_of_entry_v": filling.short_v,
    }


def _reset(reset: Reset | None) -> dict[str, Any] | None:
    return None if reset is None else {**attrs.asdict(reset), "error": reset.error}


def _charger(paired: Paired) -> dict[str, Any] | None:
    run, course = paired.result.charger, paired.course
    if run is None:
        return None
    return {
        **_identity(run.identity, paired.charger_spec),
        "settings": run.case.settings.to_mapping(),
        "samples": len(run.answers),
        "state_h": None if course is None else dict(course.state_h),
        "most_above_request": None if course is None else _extreme(course.above_request),
        "most_read_over_request": None if course is None else _extreme(course.over_request),
        "findings": [attrs.asdict(finding) for finding in paired.charger_findings],
    }


def _identity(identity: Identity, spec: str) -> dict[str, str]:
    return {"spec": spec, "identity": identity.name, "version": identity.version}


def _extreme(extreme: Extreme) -> dict[str, float]:
    return {"v": extreme.v, "t": extreme.t}


def _crossed(crossed: Crossed) -> dict[str, Any]:
    packs: Sequence[Filling] = crossed.fillings
    return {
        "controllers": "under test" if crossed.own_controllers else "reference",
        "charger": "under test" if crossed.own_charger else "reference",
        "fills_every_pack": crossed.fills_all,
        "packs": [_filling(each) for each in packs],
        "stopped": crossed.stopped or None,
    }
