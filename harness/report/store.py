"""The result as JSON, and back: one format for whatever is made from it later.

The first member says what the document is, the last one how much there has to be in it, so that a
document that was cut off does not pass for a whole one. `report.schema.json` describes it.
What the other forms are made of stands in it, so that each of them can be made later.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from math import isfinite, nan
from pathlib import Path
from typing import Any

import cattrs
import orjson
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn

from ctrl.errors import SettingsError
from harness.errors import InputError, cannot_read
from harness.report.catalogue import any_requirement, catalogue_of
from harness.report.caution import CAUTION
from harness.report.environment import Environment
from harness.report.known import Entry, Standing
from harness.report.result import Result
from harness.report.roles import told_of
from harness.report.store_excerpts import excerpt_members, read_excerpt, without_numbers
from harness.role import CONTROLLER
from harness.run import Finding, Identity
from harness.verdict import Report, RequirementResult

FORMAT = "fullproof result"
VERSION = 3
# It knew controllers only, and did not say so.
BEFORE_ROLES = 2
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
        "role": report.role,
        "caution": CAUTION,
        "attached": report.spec,
        report.role: _told_identity(report.identity),
        "environment": unstructure(result.environment) if result.environment else None,
        "limit_s": result.limit_s,
        "tolerance_s": result.tolerance_s,
        "selection": result.selection,
        "stopped": result.stopped,
        "cases": report.cases,
        "tried": result.tried,
        "not_applicable": dict(report.not_applicable),
        "errors": dict(report.errors),
        "known": unstructure(result.known, tuple[Standing, ...]),
        "results": results,
        "exit_code": result.exit_code,
    }
    # Long columns of numbers are for machines: one excerpt a line, the rest for reading.
    excerpts = [
        orjson.dumps(excerpt_members(each), option=orjson.OPT_SERIALIZE_NUMPY)
        for each in result.excerpts
    ]
    end = {**_counted(result), "complete": True}
    return b"".join(
        (
            orjson.dumps(document, option=orjson.OPT_INDENT_2).removesuffix(b"\n}"),
            b',\n  "excerpts": [',
            b",".join(b"\n    " + each for each in excerpts),
            b"\n  ],\n" if excerpts else b"],\n",
            b'  "end": ' + orjson.dumps(end) + b"\n}\n",
        )
    ).decode()


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
    _refuse_another_format(document, file)
    if document["version"] == BEFORE_ROLES:
        document |= {"version": VERSION, "role": CONTROLLER}
    _refuse_unfit(document, file)
    role = document["role"]
    structure = _converter().structure
    report = Report(
        spec=document["attached"],
        identity=_identity(document[role], role, file),
        results=structure(document["results"], tuple[RequirementResult, ...]),
        cases=document["cases"],
        not_applicable=document["not_applicable"],
        errors=document["errors"],
        role=role,
    )
    told_of = document["environment"]
    result = Result(
        report=report,
        selection=tuple(document["selection"]),
        stopped=document["stopped"],
        known=structure(document["known"], tuple[Standing, ...]),
        tried=tuple(document["tried"]),
        limit_s=document["limit_s"],
        tolerance_s=document["tolerance_s"],
        environment=structure(told_of, Environment) if told_of else None,
        excerpts=tuple(
            read_excerpt(members, role, file, f"excerpts[{number}]")
            for number, members in enumerate(document["excerpts"])
        ),
    )
    found, said = _counted(result), dict(document["end"])
    del said["complete"]
    for name, number in found.items():
        if number != said[name]:
            raise InputError(
                f"it says {said[name]}, and there are {number}",
                file=file,
                column=f"end.{name}",
                hint="is it cut off? Make it again with verify --json",
            )
    return result


def read_result(path: str | Path) -> Result:
    """The result in a file that `to_json` was written to.

    Raises:
        InputError: it cannot be read, is cut off, or is no such file.
    """
    place = Path(path)
    try:
        text = place.read_bytes()
    except OSError as error:
        raise cannot_read(place, error) from None
    return from_json(text, place)


def _counted(result: Result) -> dict[str, int]:
    """What the last member says there is."""
    return {
        "results": len(result.report.results),
        "findings": len(result.report.findings),
        "excerpts": len(result.excerpts),
    }


def _told_identity(identity: Identity | None) -> dict[str, Any] | None:
    if identity is None:
        return None
    fixed = identity.fixed
    return {
        "name": identity.name,
        "version": identity.version,
        "language": identity.language,
        "features": sorted(identity.features),
        "fixed": None if fixed is None else fixed.to_mapping(),
    }


def _identity(members: dict[str, Any] | None, role: str, file: str | Path) -> Identity | None:
    if members is None:
        return None
    fixed = members["fixed"]
    try:
        settings = None if fixed is None else told_of(role).settings(fixed)
    except SettingsError as error:
        raise InputError(str(error), file=file, column=f"{role}.fixed") from None
    return Identity(**{**members, "features": frozenset(members["features"]), "fixed": settings})


def _words(result: RequirementResult) -> dict[str, str]:
    """What a reader without the catalogue needs to know of a requirement."""
    asked = any_requirement(result.requirement)
    return {
        "group": asked.group,
        "title": asked.title,
        "statement": asked.statement,
        "level": asked.level,
    }


def _refuse_another_format(document: Any, file: str | Path) -> None:
    """Say what a document is that is none of ours, or ours of another version."""
    said = document.get("format") if isinstance(document, dict) else None
    if said != FORMAT:
        raise InputError(
            f"there is {said!r:.60}" if said is not None else "is no stored result",
            file=file,
            column="format" if said is not None else "",
            hint=f"a result that verify --json wrote begins with format {FORMAT!r}",
        )
    version = document.get("version")
    if version not in (BEFORE_ROLES, VERSION):
        raise InputError(
            f"there is {version!r:.60}, this fullproof reads {BEFORE_ROLES} and {VERSION}",
            file=file,
            column="version",
            hint="make the result again with verify --json",
        )


def _refuse_unfit(document: Any, file: str | Path) -> None:
    from jsonschema import Draft202012Validator
    from jsonschema.exceptions import best_match

    from harness.schema_words import said_of

    validator = Draft202012Validator(orjson.loads(SCHEMA.read_bytes()))
    error = best_match(validator.iter_errors(without_numbers(document)))
    if error is not None:
        member = error.json_path.removeprefix("$").removeprefix(".")
        message, hint = said_of(error, f"{SCHEMA.name} says what a result looks like")
        raise InputError(message, file=file, column=member, hint=hint)
    known = {each.id for each in catalogue_of(document["role"])}
    for number, members in enumerate(document["results"]):
        for place, each in (("", members), *_findings(members)):
            if each["requirement"] not in known:
                raise InputError(
                    f"there is no requirement {each['requirement']!r:.60}",
                    file=file,
                    column=f"results[{number}]{place}.requirement",
                    hint="it was made by another version of fullproof",
                )


def _findings(members: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for number, finding in enumerate(members["findings"]):
        yield f".findings[{number}]", finding


@cache
def _converter() -> cattrs.Converter:
    converter = cattrs.Converter()
    for plain in (Entry, Standing, Environment, RequirementResult):
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
