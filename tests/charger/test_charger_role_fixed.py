"""A charger that was built with its settings is judged by the cases that were made for them."""

from __future__ import annotations

import json
import shlex
import sys
from pathlib import Path
from typing import Any

import orjson
import pytest

from ctrl.charger import ChargerSettings
from harness.attach.base import LinkFault
from harness.attach.program import Program
from harness.attach.schema import answer_complaints
from harness.charger.attach import attach_charger, charger_identity
from harness.charger.cases import charger_cases
from harness.charger.verify import verify_charger
from harness.run import Outcome

EXAMPLE = Path(__file__).parents[2] / "harness" / "examples" / "python" / "charger.py"
FIXED = json.loads(json.dumps(ChargerSettings().to_mapping()))
HELLO = {"protocol": 1, "role": "charger", "name": "built", "version": "1", "language": "C"}
CASES = {case.id: case for case in charger_cases()}
SOME = [CASES[name] for name in ("begin/first-messages", "begin/pier", "packs/one-zero")]


def built(folder: Path, fixed: dict[str, Any]) -> str:
    """The example in Python as a class that says with which settings it was built."""
    text = EXAMPLE.read_text(encoding="utf-8")
    text += f"\n\nclass Built(Charger):\n    fixed = {fixed!r}\n"
    file = folder / "built.py"
    file.write_text(text, encoding="utf-8")
    return f"py:{file}:Built"


def built_program(folder: Path) -> str:
    """The same as a program."""
    line = 'reply |= {"version": Charger.version, "language": "Python"}'
    text = EXAMPLE.read_text(encoding="utf-8")
    assert text.count(line) == 1
    file = folder / "program.py"
    file.write_text(text.replace(line, f'{line}; reply["fixed"] = {FIXED!r}'), encoding="utf-8")
    return "exec:" + shlex.join([sys.executable, str(file)])


@pytest.mark.parametrize("form", ["class", "program"])
def test_only_cases_for_its_settings_are_tried(tmp_path: Path, form: str) -> None:
    spec = built(tmp_path, FIXED) if form == "class" else built_program(tmp_path)
    with attach_charger(spec, limit_s=20.0) as attachment:
        assert attachment.hello().fixed == ChargerSettings()
        report = verify_charger(attachment, SOME)
    assert report.findings == ()
    assert report.cases == 1
    assert report.not_applicable == {
        "begin/pier": "made for highest_v 29, and the charger was built with 58, "
        "and 2 more of its settings differ",
        "packs/one-zero": "made for packs 2, and the charger was built with 1",
    }
    outcomes = {result.requirement: result.outcome for result in report.results}
    assert outcomes["BEGIN.waits"] is Outcome.PASS
    assert outcomes["PACKS.zero"] is Outcome.NOT_EXERCISED


def test_a_range_is_told_as_one(tmp_path: Path) -> None:
    fixed = FIXED | {"plausible_v": [40, 64]}
    with attach_charger(built(tmp_path, fixed)) as attachment:
        told = attachment.cannot_be_told(CASES["begin/first-messages"])
    assert told == "made for plausible_v 30 to 70, and the charger was built with 40 to 64"


@pytest.mark.parametrize(
    ("fixed", "told"),
    [
        ("all", "fixed 'all'; it must have fixed as an object of settings"),
        ({k: v for k, v in FIXED.items() if k != "stale_s"}, "fixed without stale_s"),
        (FIXED | {"stale_s": 60}, "stale_s < silent_s"),
        (FIXED | {"stale_s": "long"}, "stale_s is 'long'"),
        (FIXED | {"tint": 1}, "tint"),
    ],
)
def test_settings_that_cannot_be_are_a_fault_of_the_greeting(fixed: object, told: str) -> None:
    with pytest.raises(LinkFault) as caught:
        charger_identity(HELLO | {"fixed": fixed})
    assert caught.value.requirement == "LINK.greets"
    assert told in caught.value.sentence


def test_none_are_fixed_where_the_member_is_left_out_or_null() -> None:
    assert charger_identity(HELLO).fixed is None
    assert charger_identity(HELLO | {"fixed": None}).fixed is None


def test_the_schema_knows_fixed_settings(tmp_path: Path) -> None:
    lines: list[tuple[bytes, bytes]] = []
    with attach_charger(built_program(tmp_path), limit_s=20.0) as attachment:
        assert isinstance(attachment, Program)
        attachment.listener = lambda sent, received: lines.append((sent, received))
        attachment.hello()
    [(sent, received)] = lines
    assert answer_complaints(received, sent, "charger") == []
    answer = orjson.loads(received)
    answer["fixed"].pop("zero_s")
    assert answer_complaints(orjson.dumps(answer), sent, "charger") != []
