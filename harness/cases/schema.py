"""The JSON Schema of a vector of either role, applied with an error that names the member at fault."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import orjson
from jsonschema import Draft202012Validator
from jsonschema.exceptions import best_match

from harness.cases.folder import vectors_folder
from harness.errors import InputError
from harness.schema_words import said_of

SCHEMA_NAME = "vector.schema.json"
CHARGER_SCHEMA_NAME = "charger-vector.schema.json"


@cache
def _validator(name: str) -> Draft202012Validator:
    schema = orjson.loads((vectors_folder() / name).read_bytes())
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def refuse_unfit(content: Any, path: Path, name: str = SCHEMA_NAME) -> None:
    """Compare what a JSON file holds with a schema.

    Args:
        content: what the file holds.
        path: the file, for the error.
        name: the schema, a file beside the vectors.

    Raises:
        InputError: it does not fit; with the member's path.
    """
    error = best_match(_validator(name).iter_errors(content))
    if error is not None:
        member = error.json_path.removeprefix("$").removeprefix(".")
        message, hint = said_of(error, f"{name} says what a vector looks like")
        raise InputError(message, file=path, column=member, hint=hint)
