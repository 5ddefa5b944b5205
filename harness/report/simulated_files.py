"""A simulated scenario in files: JSON, Battery Data Format CSV, and vectors."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import orjson

from ctrl.vocabulary import Stage
from harness.cases.vector import Vector
from harness.cases.vector import to_json as vector_json
from harness.errors import InputError
from harness.report.simulated import Simulated
from harness.run import Floats
from harness.world.as_case import as_vector
from harness.world.result import PackRows, Result

VECTOR_GROUP = "simulated"
_ROWS_AT_ONCE = 50_000
_WORDS = tuple(stage.word for stage in Stage)


def to_json(simulated: Simulated, exit_code: int) -> str:
    """Everything but the course of the readings, as JSON; what is not known is null."""
    result, scenario = simulated.result, simulated.scenario
    stop = result.stop
    document = {
        "scenario": scenario.name,
        "title": scenario.title,
        "seed": result.world.seed,
        "hours": result.summary.ran_s / 3600.0,
        "packs": [_pack(simulated, p) for p in range(len(result.packs))],
        "bank": {
            name: value
            for name, value in attrs.asdict(result.summary, recurse=False).items()
            if name != "packs"
        },
        "events": [_event(result, p) for p in range(len(result.events))],
        "findings": [attrs.asdict(finding) for finding in simulated.findings],
        "expectations": [
            {
                "measure": each.expectation.measure,
                "pack": each.pack or None,
                "value": each.value,
                "right": each.expectation.right,
                "met": each.met,
            }
            for each in simulated.observed
        ],
        "stop": None
        if stop is None
        else {"step": stop.step, "t": stop.t, "reason": stop.reason, "inputs": dict(stop.inputs)},
        "exit_code": exit_code,
    }
    option = orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE | orjson.OPT_SERIALIZE_NUMPY
    return orjson.dumps(document, option=option).decode()


def write_csv(result: Result, folder: Path) -> list[Path]:
    """Write one file a pack, in the names of the Battery Data Format; true values beside readings.

    The rows are the samples that the controller took. True values stand there on straight lines
    between the kept rows.

    Raises:
        InputError: the folder cannot be written into.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        places = []
        for p, pack in enumerate(result.packs):
            place = folder / f"{slug(pack.name)}.csv"
            _write_pack(result, p, place)
            places.append(place)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=folder) from None
    return places


def vectors(simulated: Simulated) -> list[Vector]:
    """What each pack's controller saw, as a vector that any controller can be tried on.

    Raises:
        InputError: a controller saw nothing.
    """
    scenario, result = simulated.scenario, simulated.result
    story = " ".join(scenario.shows.split())
    return [
        as_vector(
            result,
            p,
            vector_id=f"{VECTOR_GROUP}/{slug(scenario.name)}-{slug(pack.name)}",
            title=f"{scenario.title}: {pack.name}",
            description=f"What the meter of {pack.name} read in the simulated bank. {story}",
            why="It is what a bank makes of a controller's decisions, not what a person thought of.",
            catches=("whatever differs from the reference on a trace from closed loop",),
        )
        for p, pack in enumerate(result.packs)
    ]


def write_vectors(simulated: Simulated, file: Path) -> list[Path]:
    """Write the vectors: into `file`, or where there are several packs into one file each.

    Raises:
        InputError: they cannot be written, or a controller saw nothing.
    """
    made = vectors(simulated)
    places = [file]
    if len(made) > 1:
        suffix = file.suffix or ".json"
        places = [
            file.with_name(f"{file.stem}-{slug(pack.name)}{suffix}")
            for pack in simulated.result.packs
        ]
    for place, vector in zip(places, made, strict=True):
        try:
            place.write_text(vector_json(vector), encoding="utf-8")
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", file=place) from None
    return places


def slug(name: str) -> str:
    """A name in small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "unnamed"


def _pack(simulated: Simulated, p: int) -> dict[str, Any]:
    summary, pack = simulated.result.summary.packs[p], simulated.result.packs[p]
    verdict = simulated.verdicts[p]
    return {
        **attrs.asdict(summary),
        "stage_h": dict(summary.stage_h),
        "error": None if summary.counted_soc is None else summary.counted_soc - summary.true_soc,
        "controller": {
            "spec": simulated.specs[p],
            "name": pack.identity.name,
            "version": pack.identity.version,
            "language": pack.identity.language,
        },
        "exercised": {} if verdict is None else dict(verdict.exercised),
    }


def _event(result: Result, number: int) -> dict[str, Any]:
    event = result.events[number]
    return {
        **attrs.asdict(event),
        "pack": None if event.pack < 0 else result.packs[event.pack].name,
        "from_stage": None if event.from_stage is None else event.from_stage.word,
        "to_stage": None if event.to_stage is None else event.to_stage.word,
    }


def _write_pack(result: Result, p: int, place: Path) -> None:
    pack = result.packs[p]
    names, columns = _csv_columns(result, pack)
    stage = _stage_words(pack)
    with place.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join([*names, "Stage"]) + "\n")
        for start in range(0, len(stage), _ROWS_AT_ONCE):
            part = slice(start, start + _ROWS_AT_ONCE)
            cells = [[_cell(x) for x in column[part].tolist()] for column in columns]
            rows = zip(*cells, stage[part], strict=True)
            file.writelines(",".join(row) + "\n" for row in rows)


def _csv_columns(result: Result, pack: PackRows) -> tuple[list[str], list[Floats]]:
    samples, kept_t = pack.samples, result.bank.t
    if samples is None:
        columns = [("Test Time / s", kept_t), ("Voltage / V", pack.true_v)]
        columns.append(("Current / A", pack.true_a))
        at = kept_t
    else:
        trace, answers, at = samples.trace, samples.answers, samples.true_t
        columns = [("Test Time / s", at), ("Voltage / V", trace.v), ("Current / A", trace.i)]
        columns.append(("Clock / s", trace.t))
        for name, values in (
            ("Highest Cell Voltage / V", trace.cell_max_v),
            ("Coldest Cell Temperature / degC", trace.temp_c),
            ("Hottest Cell Temperature / degC", trace.temp_max_c),
            ("Requested Voltage / V", answers.voltage_request_v),
            ("Requested Current / A", answers.current_request_a),
        ):
            if values is not None:
                columns.append((name, values))
        if answers.soc is not None:
            columns.append(("Counted State of Charge / %", 100.0 * answers.soc))
        if answers.full_reset is not None:
            columns.append(("Full Reset / 1", answers.full_reset.astype(np.float64)))
    for name, values in (
        ("True Voltage / V", pack.true_v),
        ("True Current / A", pack.true_a),
        ("True State of Charge / %", 100.0 * pack.true_soc),
        ("Charger Voltage / V", result.bank.charger_v),
        ("Charger Current / A", result.bank.charger_a),
    ):
        nowhere = np.full(len(at), np.nan)
        columns.append((name, np.interp(at, kept_t, values) if len(kept_t) else nowhere))
    return [name for name, _ in columns], [column for _, column in columns]


def _stage_words(pack: PackRows) -> list[str]:
    numbers = pack.stage if pack.samples is None else pack.samples.answers.stage
    return [_WORDS[number] for number in numbers.tolist()]


def _cell(value: float) -> str:
    return f"{value:.9g}" if np.isfinite(value) else ""
