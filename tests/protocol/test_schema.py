"""The shipped JSON Schema says the same as the code, and refuses what is wrong."""

from __future__ import annotations

import json
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from ctrl.settings import OPTIONAL_SETTINGS, SETTING_NAMES, Settings
from ctrl.vocabulary import Stage
from harness.attach.base import LinkFault
from harness.attach.identity import LATER_SETTINGS, identity_from
from harness.attach.schema import answer_complaints, message_complaints, schema
from harness.run import ANSWER_COLUMNS, FEATURES, OPTIONAL_COLUMNS, REQUIRED_COLUMNS

DEFINITIONS: dict[str, Any] = schema()["$defs"]
MESSAGES: dict[str, dict[str, Any]] = {
    "hello": {"seq": 0, "do": "hello", "protocol": 1},
    "start": {"seq": 1, "do": "start", "settings": Settings().to_mapping(), "soc": 0.5},
    "run": {"seq": 2, "do": "run", "columns": ["t", "v", "i"], "rows": [[0.0, 54.0, None]]},
    "power_cycle": {"seq": 3, "do": "power_cycle"},
    "equalise": {"seq": 4, "do": "equalise"},
    "stop": {"seq": 5, "do": "stop"},
}
WHO = {"protocol": 1, "name": "pier", "version": "3", "language": "C", "features": ["soc"]}
# What a controller was built with before there was an equalisation.
BEFORE_THEM = {k: v for k, v in Settings().to_mapping().items() if k not in LATER_SETTINGS}


def sent(message: dict[str, Any]) -> list[str]:
    return message_complaints(json.dumps(message).encode())


def answered(do: str, answer: dict[str, Any]) -> list[str]:
    message = MESSAGES[do]
    line = json.dumps({"seq": message["seq"], **answer}).encode()
    return answer_complaints(line, json.dumps(message).encode())


def test_the_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(schema())
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_the_schema_names_what_the_code_names() -> None:
    settings = DEFINITIONS["settings"]
    assert tuple(settings["properties"]) == SETTING_NAMES
    assert tuple(settings["required"]) + LATER_SETTINGS == SETTING_NAMES
    may_be_null = {
        name for name, rule in settings["properties"].items() if "null" in rule.get("type", "")
    }
    assert may_be_null == set(OPTIONAL_SETTINGS)
    features = DEFINITIONS["hello_answer"]["properties"]["features"]["items"]["enum"]
    assert tuple(features) == FEATURES
    columns = DEFINITIONS["run"]["properties"]["columns"]
    assert tuple(part["const"] for part in columns["prefixItems"]) == REQUIRED_COLUMNS
    assert tuple(columns["items"]["enum"]) == OPTIONAL_COLUMNS
    answer = DEFINITIONS["run_answer"]["properties"]
    assert tuple(answer["columns"]["items"]["enum"]) == ANSWER_COLUMNS
    words = answer["rows"]["items"]["items"]["oneOf"][2]["enum"]
    assert words == [stage.word for stage in Stage]


@pytest.mark.parametrize("do", MESSAGES)
def test_good_messages_fit(do: str) -> None:
    assert sent(MESSAGES[do]) == []


@pytest.mark.parametrize(
    ("do", "change"),
    [
        ("hello", {"protocol": 2}),
        ("hello", {"expected": []}),
        ("hello", {"seq": "0"}),
        ("start", {"soc": 1.5}),
        ("start", {"settings": {"cells": 16}}),
        ("start", {"settings": {**Settings().to_mapping(), "hold_s": 0}}),
        ("start", {"settings": {**Settings().to_mapping(), "entry_v": None}}),
        ("start", {"settings": {**Settings().to_mapping(), "vector": "hold/of-the-hut"}}),
        ("run", {"columns": ["v", "t", "i"]}),
        ("run", {"columns": ["t", "v", "i", "expected"]}),
        ("run", {"rows": [["0", 54.0, 1.0]]}),
        ("run", {"rows": []}),
        ("stop", {"id": "hold/of-the-hut"}),
    ],
)
def test_wrong_messages_do_not_fit(do: str, change: dict[str, Any]) -> None:
    assert sent({**MESSAGES[do], **change})


@pytest.mark.parametrize(
    ("do", "answer"),
    [
        ("hello", WHO),
        ("hello", {**WHO, "features": [], "of its own": 1}),
        ("hello", {**WHO, "fixed": Settings.for_cells(8).to_mapping()}),
        ("start", {"ok": True}),
        ("start", {"error": "8 cells are too few for me"}),
        ("run", {"columns": ["stage"], "rows": [["bulk"]]}),
        ("run", {"columns": ["soc", "stage", "full_reset"], "rows": [[0.5, "float", False]]}),
        ("run", {"columns": ["stage"], "rows": [["equalisation"]]}),
        ("hello", {**WHO, "fixed": BEFORE_THEM}),
        ("power_cycle", {"ok": True}),
        ("equalise", {"ok": True}),
    ],
)
def test_good_answers_fit(do: str, answer: dict[str, Any]) -> None:
    assert answered(do, answer) == []


@pytest.mark.parametrize(
    ("do", "answer"),
    [
        ("hello", {**WHO, "features": ["state_of_charge"]}),
        ("hello", {**WHO, "name": ""}),
        ("hello", {**WHO, "fixed": {"cells": 8}}),
        ("hello", {name: WHO[name] for name in ("protocol", "name", "version", "features")}),
        ("start", {"ok": False}),
        ("start", {}),
        ("start", {"ok": True, "error": "both"}),
        ("run", {"columns": ["soc"], "rows": [[0.5]]}),
        ("run", {"columns": ["stage"], "rows": [["boost"]]}),
        ("run", {"columns": ["stage", "soc"], "rows": [["bulk", None]]}),
        ("run", {"error": "no"}),
        ("power_cycle", {"error": "no"}),
        ("equalise", {"error": "no"}),
        ("hello", {**WHO, "fixed": {**BEFORE_THEM, "equalisation_s": 0}}),
        ("stop", {"ok": True}),
    ],
)
def test_wrong_answers_do_not_fit(do: str, answer: dict[str, Any]) -> None:
    assert answered(do, answer)


def test_settings_that_came_later_may_be_missing_where_they_cannot_be_set() -> None:
    assert identity_from({**WHO, "fixed": BEFORE_THEM}).fixed == Settings()
    without = {name: value for name, value in BEFORE_THEM.items() if name != "hold_s"}
    with pytest.raises(LinkFault) as caught:
        identity_from({**WHO, "fixed": without})
    assert caught.value.observed == "fixed without hold_s"
