"""What reaches a controller: settings, count and samples, and nothing of what is expected."""

from __future__ import annotations

import json
import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve

from ctrl.settings import Settings
from harness.attach import LinkFault, attach, drive
from harness.attach.schema import answer_complaints, message_complaints, schema
from harness.run import FEATURES, Case

ROOT = Path(__file__).parents[2]


def members(value: object) -> set[str]:
    """Every member name and every text in a JSON value."""
    if isinstance(value, dict):
        return set(value).union(*map(members, value.values()))
    if isinstance(value, list):
        return set[str]().union(*map(members, value))
    return {value} if isinstance(value, str) else set()


def lines_of(recording: Path) -> list[dict[str, Any]]:
    """The messages in a recording of standard input."""
    return [json.loads(line) for line in recording.read_bytes().splitlines()]


@pytest.fixture
def recorded(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Every byte of a whole session, taken off the pipe before the program reads it."""
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    recording = tmp_path / "sent"
    program = f"{sys.executable} -m harness.zoo.saboteurs well_behaved"
    shell = f"tee {shlex.quote(str(recording))} | {program}"
    with attach(f"exec:sh -c {shlex.quote(shell)}", limit_s=20.0) as attachment:
        drive(attachment, case)
    return recording


def test_the_messages_of_a_case(recorded: Path, case: Case) -> None:
    messages = lines_of(recorded)
    assert [message["do"] for message in messages] == [
        *("hello", "start", "run", "run", "power_cycle", "run", "stop")
    ]
    assert [message["seq"] for message in messages] == [0, 1, 2, 3, 4, 5, 6]
    assert messages[0] == {"seq": 0, "do": "hello", "protocol": 1}
    assert messages[1]["soc"] == 0.75
    assert messages[2]["columns"] == ["t", "v", "i", "cell_max_v"]
    rows = [row for m in messages if m["do"] == "run" for row in m["rows"]]
    assert len(rows) == 60
    assert rows[0] == [0.0, 54.0, 40.0, 3.375]
    assert rows[10] == [10.0, None, 40.0, None]
    assert rows == case.trace.rows()


def test_nothing_of_what_is_expected_is_sent(recorded: Path, case: Case) -> None:
    allowed = set(case.settings.to_mapping()) | {"seq", "do", "protocol", "settings", "soc"}
    allowed |= {"columns", "rows", "t", "v", "i", "cell_max_v"}
    allowed |= {"hello", "start", "run", "power_cycle", "stop"}
    allowed |= {"run", "float"}  # the words of on_sag and on_unconfirmed
    sent = set().union(*map(members, lines_of(recorded)))
    assert sent <= allowed
    text = recorded.read_text()
    for secret in ("hut", "HOLD", "expected", 'absorption"', "resets", "0.875", "full_reset"):
        assert secret not in text


def test_every_line_fits_the_schema(recorded: Path) -> None:
    lines = recorded.read_bytes().splitlines()
    assert len(lines) == 7
    assert [message_complaints(line) for line in lines] == [[]] * 7
    from jsonschema import Draft202012Validator

    whole = Draft202012Validator(schema())
    assert all(whole.is_valid(message) for message in lines_of(recorded))


def test_no_nan_and_no_white_space_inside_a_line(recorded: Path) -> None:
    data = recorded.read_bytes()
    assert b"NaN" not in data
    assert b"Infinity" not in data
    assert data.endswith(b"}\n")
    assert data.count(b"\n") == 7


@pytest.mark.parametrize(
    "program",
    [
        f"{sys.executable} -m harness.zoo.saboteurs well_behaved",
        f"{sys.executable} {ROOT}/harness/examples/python/controller.py",
    ],
    ids=["saboteur", "example"],
)
def test_answers_fit_the_schema(program: str, case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    from harness.attach.program import ProgramAttachment

    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    told: list[tuple[bytes, bytes]] = []
    with ProgramAttachment("exec:", program.split(), 20.0) as attachment:
        attachment.listener = lambda sent, received: told.append((sent, received))
        identity = attachment.hello()
        drive(attachment, case)
    assert len(told) == 6
    assert [answer_complaints(received, sent) for sent, received in told] == [[]] * 6
    assert identity.features <= set(FEATURES)


def test_a_request_is_a_message_before_its_sample(
    case: Case, tmp_path: Path, script: Callable[..., Any]
) -> None:
    recording = tmp_path / "sent"
    attachment = script(
        f"""
import json, sys
with open({str(recording)!r}, "w") as recording:
    for line in sys.stdin:
        message = json.loads(line)
        recording.write(line)
        recording.flush()
        answer = {{"seq": message["seq"], "ok": True}}
        if message["do"] == "stop":
            break
        if message["do"] == "hello":
            answer |= {{"protocol": 1, "name": "pier", "version": "1", "language": "Python"}}
            answer["features"] = ["power_cycle", "equalisation"]
        if message["do"] == "run":
            answer |= {{"columns": ["stage"], "rows": [["equalisation"] for _ in message["rows"]]}}
        print(json.dumps(answer), flush=True)
"""
    )
    answers = drive(attachment, evolve(case, equalise_requests=(40, 50), cuts=())).answers
    attachment.stop()
    messages = lines_of(recording)
    assert [message["do"] for message in messages] == [
        *("hello", "start", "run", "power_cycle", "equalise", "run", "equalise", "run", "stop")
    ]
    assert [len(message["rows"]) for message in messages if "rows" in message] == [40, 10, 10]
    assert [message_complaints(line) for line in recording.read_bytes().splitlines()] == [[]] * 9
    assert set(answers.stage.tolist()) == {4}


def test_a_request_that_is_not_answered_with_ok_is_a_fault(canned: Callable[..., Any]) -> None:
    hello = '{"seq":%SEQ%,"protocol":1,"name":"a","version":"1","language":"C","features":[]}'
    attachment = canned(hello, '{"seq":%SEQ%,"ok":true}', '{"seq":%SEQ%,"error":"no"}')
    attachment.start(Settings(), 0.5)
    with pytest.raises(LinkFault) as caught:
        attachment.request_equalisation()
    assert caught.value.requirement == "LINK.answers"
    assert caught.value.observed == "equalise not answered with ok"
    assert '"do":"equalise"' in caught.value.sent
