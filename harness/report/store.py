"""The result as JSON, and back: one format for whatever is made from it later.

The first member says what the document is, the last one how much there has to be in it, so that a
document that was cut off does not pass for a whole one. `report.schema.json` describes it.
"""

from __future__ import annotations

from collections.abc import Set
from functools import cache
from math import isfinite, nan
from pathlib import Path
from typing import Any

import cattrs
import orjson
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn

from ctrl.settings import Settings
from harness.errors import InputError
from harness.report.caution import CAUTION
from harness.report.known import Entry, Standing
from harness.report.result import Result
from harness.rules import requirement
from harness.run import Finding, Identity
from harness.verdict import Report, RequirementResult

FORMAT = "fullproof result"
VERSION = 1
SCHEMA = Path(__file__).with_name("report.schema.json")


def to_json(result: Result) -> str:
    """The result as JSON, indented, the same bytes for the same result."""
    report = result.report
    unstructure = _converter().unstructure
    results = [
        {**_words(each), **unstructure(each), "excused": result.excused(each)}
        for each in report.results
    ]
    document = {
        "format": FORMAT,
        "version": VERSION,
        "caution": CAUTION,
        "attached": report.spec,
        "controller": unstructure(report.identity) if report.identity else None,
        "selection": result.selection,
        "stopped": result.stopped,
        "cases": report.cases,
        "not_applicable": dict(report.not_applicable),
        "errors": dict(report.errors),
        "known": unstructure(result.known, tuple[Standing, ...]),
        "results": results,
        "exit_code": result.exit_code,
        "end": {"results": len(results), "findings": len(report.findings)},
    }
    return orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()


def from_json(text: str | bytes, file: str | Path = "") -> Result:
    """The result that `to_json` wrote.

    Args:
        text: the document.
        file: where it comes from, for errors.

    Raises:
        InputError: it is cut off, of another format or version, or does not fit the schema.
    """
    try:
        document = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        raise InputError(
            f"is no JSON: {error.msg}", file=file, line=error.lineno, hint="is it cut off?"
        ) from None
    _refuse_unfit(document, file)
    structure = _converter().structure
    report = Report(
        spec=document["attached"],
        identity=structure(document["controller"], Identity) if document["controller"] else None,
        results=structure(document["results"], tuple[RequirementResult, ...]),
        cases=document["cases"],
        not_applicable=document["not_applicable"],
        errors=document["errors"],
    )
    found = {"results": len(report.results), "findings": len(report.findings)}
    if found != document["end"]:
        raise InputError(
            f"it holds {found} and says {document['end']}", file=file, hint="is it cut off?"
        )
    return Result(
        report=report,
        selection=tuple(document["selection"]),
        stopped=document["stopped"],
        known=structure(document["known"], tuple[Standing, ...]),
    )


def _words(result: RequirementResult) -> dict[str, str]:
    """What a reader without the catalogue needs to know of a requirement."""
    asked = requirement(result.requirement)
    return {
        "group": asked.group,
        "title": asked.title,
        "statement": asked.statement,
        "level": asked.level,
    }


def _refuse_unfit(document: Any, file: str | Path) -> None:
    from jsonschema import Draft202012Validator
    from jsonschema.exceptions import best_match

    validator = Draft202012Validator(orjson.loads(SCHEMA.read_bytes()))
    error = best_match(validator.iter_errors(document))
    if error is not None:
        member = error.json_path.removeprefix("$").removeprefix(".")
        raise InputError(
            f"{error.message:.200}", file=file, column=member, hint=f"see {SCHEMA.name}"
        )


@cache
def _converter() -> cattrs.Converter:
    converter = cattrs.Converter(unstruct_collection_overrides={Set: sorted})
    converter.register_structure_hook(Settings, lambda value, _: Settings.from_mapping(value))
    converter.register_unstructure_hook(Settings, Settings.to_mapping)
    for plain in (Entry, Standing, Identity, RequirementResult):
        converter.register_structure_hook(plain, make_dict_structure_fn(plain, converter))
        converter.register_unstructure_hook(plain, make_dict_unstructure_fn(plain, converter))
    structure = make_dict_structure_fn(Finding, converter)
    unstructure = make_dict_unstructure_fn(Finding, converter)
    # JSON has no NaN: a finding without a time stamp has null.
    converter.register_structure_hook(
        Finding,
        lambda value, kind: structure(
            {**value, "t": nan if value["t"] is None else value["t"]}, kind
        ),
    )
    converter.register_unstructure_hook(
        Finding,
        lambda finding: {
            **unstructure(finding),
            "t": finding.t if isfinite(finding.t) else None,
        },
    )
    return converter
