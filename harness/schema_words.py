"""What a JSON Schema found wrong with a document, in words of our own."""

from __future__ import annotations

from typing import Any

from jsonschema.exceptions import ValidationError

from ctrl.errors import nearest


def said_of(error: ValidationError, usual: str) -> tuple[str, str]:
    """What is wrong, and what would be right.

    Args:
        error: what the validator says.
        usual: what would be right where the error itself does not tell.

    Returns:
        The message and the hint of an `InputError`.
    """
    found: Any = error.instance
    asked: Any = error.validator_value
    if error.validator == "required":
        return f"the member {next(each for each in asked if each not in found)} is missing", usual
    if error.validator == "additionalProperties" and isinstance(error.schema, dict):
        known = error.schema.get("properties", {})
        other = next((each for each in found if each not in known), "")
        return f"there is no member {other!r:.60}", nearest(other, known)
    if error.validator == "const":
        return f"there is {found!r:.60}", f"it must be {asked!r}"
    if error.validator == "enum":
        return f"there is {found!r:.60}", f"it must be one of {', '.join(map(repr, asked))}"
    return f"{error.message:.200}", usual
