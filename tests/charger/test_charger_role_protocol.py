"""A charger in a process of its own: what is sent, what is asked of its answers, what is found."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import numpy as np
import orjson
import pytest
from jsonschema import Draft202012Validator

from ctrl.charger import CHARGER_SETTING_NAMES, ChargerSettings, Conduct
from ctrl.vocabulary import Stage
from harness.attach.base import AttachError, LinkFault
from harness.attach.program import Program
from harness.attach.schema import answer_complaints, message_complaints, schema
from harness.charger.attach import InProcessCharger, attach_charger, drive_charger
from harness.charger.case import CHARGER_ANSWER_COLUMNS, OWN_COLUMNS, PACK_COLUMNS, ChargerCase
from harness.charger.cases import charger_cases
from harness.charger.verify import verify_charger
from harness.verdict import Report

CASES = {case.id: case for case in charger_cases()}
SOME = [
    CASES[name]
    for name in ("begin/stammer", "begin/first-messages", "clock/no-stamp", "packs/one-zero")
]


@pytest.fixture(autouse=True)
def importable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))


def speaking(mistake: str = "") -> str:
    program = Path(__file__).with_name("speaking.py")
    return "exec:" + shlex.join([sys.executable, str(program), *([mistake] if mistake else [])])


def judged(mistake: str, cases: list[ChargerCase] = SOME) -> Report:
    with attach_charger(speaking(mistake), limit_s=20.0) as attachment:
        return verify_charger(attachment, cases)


def broken(report: Report) -> set[str]:
    return {finding.requirement for finding in report.findings}


def test_a_program_that_is_right_conforms_and_is_named() -> None:
    report = judged("")
    assert report.findings == ()
    assert report.exit_code == 0
    assert report.role == "charger"
    assert report.identity is not None
    assert report.identity.name == "speaking"


def test_a_program_answers_as_the_same_charger_in_this_process() -> None:
    for name in ("restart/while-following", "packs/one-silent", "doubt/garbled-requests"):
        with attach_charger(speaking()) as attachment:
            one = drive_charger(attachment, CASES[name]).answers
        other = drive_charger(InProcessCharger("ref"), CASES[name]).answers
        for column in CHARGER_ANSWER_COLUMNS:
            assert np.array_equal(getattr(one, column), getattr(other, column)), (name, column)


@pytest.mark.parametrize(
    ("mistake", "requirement", "told"),
    [
        ("role", "LINK.greets", "role 'charger'"),
        ("refuses", "LINK.starts", "The charger refused settings"),
        ("dies", "LINK.stays-alive", "exited with 1"),
        ("word", "LINK.rows", "state 'sleeping'"),
        ("nothing", "LINK.rows", "set_point_v None"),
        ("no-limit", "LINK.rows", "leaves out the column limit_a"),
        ("cuts", "LINK.cuts", "cut into messages in another way"),
        ("stale-start", "LINK.fresh-start", "run a second time"),
    ],
)
def test_a_program_that_breaks_the_protocol_is_found(
    mistake: str, requirement: str, told: str
) -> None:
    # What an earlier case has left behind may be what the second run finds, too.
    report = judged(mistake, [CASES["begin/first-messages"]] if "start" in mistake else SOME)
    assert requirement in broken(report)
    sentences = [f.sentence for f in report.findings if f.requirement == requirement]
    assert any(told in sentence for sentence in sentences), sentences
    assert report.exit_code == 1


def test_a_fault_names_the_sample_and_what_was_said_last() -> None:
    fault = next(f for f in judged("word").findings if f.case == "packs/one-zero")
    assert fault.index == 3
    assert fault.t == 3.0
    assert "sleeping" in fault.detail


def listened(case: ChargerCase) -> list[tuple[bytes, bytes]]:
    lines: list[tuple[bytes, bytes]] = []
    with attach_charger(speaking()) as attachment:
        assert isinstance(attachment, Program)
        attachment.listener = lambda sent, received: lines.append((sent, received))
        drive_charger(attachment, case)
    return lines


def test_what_is_sent_and_answered_keeps_the_schema() -> None:
    lines = listened(CASES["restart/while-waiting"])
    kinds = [orjson.loads(sent)["do"] for sent, _ in lines]
    assert kinds == ["hello", "start", "run", *["power_cycle", "run"] * 3]
    for sent, received in lines:
        assert message_complaints(sent, "charger") == []
        assert answer_complaints(received, sent, "charger") == []


def test_what_a_case_is_about_never_reaches_the_charger() -> None:
    case = CASES["begin/first-messages"]
    said = b"".join(sent for sent, _ in listened(case))
    assert case.story
    for secret in (case.id, case.story, *case.requirements):
        assert secret.encode() not in said


def test_missing_numbers_and_stages_are_written_as_the_protocol_says() -> None:
    rows = [
        row
        for sent, _ in listened(CASES["clock/no-stamp"])
        for row in orjson.loads(sent).get("rows", [])
    ]
    stampless = [row for row in rows if row[0] is None]
    assert len(stampless) == 18
    assert {row[7] for row in rows} == {"bulk"}


def test_the_schema_names_what_the_code_names() -> None:
    Draft202012Validator.check_schema(schema("charger"))
    defined = schema("charger")["$defs"]
    assert tuple(defined["settings"]["properties"]) == CHARGER_SETTING_NAMES
    assert tuple(defined["settings"]["required"]) == CHARGER_SETTING_NAMES
    columns = defined["run"]["properties"]["columns"]
    assert tuple(part["const"] for part in columns["prefixItems"]) == OWN_COLUMNS
    assert columns["items"]["pattern"] == f"^({'|'.join(PACK_COLUMNS)})_[1-9][0-9]*$"
    stages = defined["run"]["properties"]["rows"]["items"]["items"]["oneOf"][1]["enum"]
    assert stages == [stage.word for stage in Stage]
    answer = defined["run_answer"]["properties"]
    assert tuple(answer["columns"]["items"]["enum"]) == CHARGER_ANSWER_COLUMNS
    states = answer["rows"]["items"]["items"]["oneOf"][1]["enum"]
    assert states == [conduct.word for conduct in Conduct]


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ({"seq": 0, "do": "hello", "protocol": 1}, "'role' is a required property"),
        ({"seq": 1, "do": "start", "settings": {}}, "'packs' is a required property"),
        ({"seq": 2, "do": "leap"}, "there is no message 'leap'"),
    ],
)
def test_the_schema_refuses_what_is_wrong(line: dict[str, object], wrong: str) -> None:
    complaints = message_complaints(orjson.dumps(line), "charger")
    assert any(wrong in complaint for complaint in complaints), complaints


class Class:
    """A charger as a class."""

    name, version, role = "of a class", "1", "charger"

    def __init__(self, settings: dict[str, object]) -> None:
        if settings["packs"] == 2:
            raise ValueError("one pack is enough")
        self.seen: list[object] = []

    def step(self, t: object, own_v: object, own_a: object, packs: object) -> dict[str, object]:
        self.seen.append((t, own_v, own_a, packs))
        return {"set_point_v": 54.0, "limit_a": 0.0, "state": Conduct.STOPPED}

    def power_cycle(self) -> None:
        self.seen.clear()


class Controller(Class):
    """Something that does not say that it is a charger."""

    role = ""


def test_a_class_gets_packs_by_name_and_none_for_what_is_missing() -> None:
    from harness.charger.attach_python import ChargerClass

    attachment = ChargerClass("py:here:Class", Class, 5.0)
    case = CASES["doubt/no-reading"]
    answers = drive_charger(attachment, case).answers
    assert set(answers.set_point_v.tolist()) == {54.0}
    assert set(answers.state.tolist()) == {int(Conduct.STOPPED)}
    t, own_v, own_a, packs = attachment._object.seen[45]
    assert (t, own_v, own_a) == (45.0, 56.05, 10.0)
    assert packs == [
        {
            "request_v": 56.0,
            "request_a": 50.0,
            "pack_v": None,
            "pack_a": 20.1,
            "stage": "bulk",
            "age_s": 0.25,
        }
    ]


def test_a_class_may_refuse_and_must_say_its_role() -> None:
    from harness.charger.attach_python import ChargerClass

    report = verify_charger(ChargerClass("py:here:Class", Class, 5.0), [CASES["packs/one-zero"]])
    assert broken(report) == {"LINK.starts"}
    assert "one pack is enough" in report.findings[0].sentence
    with pytest.raises(LinkFault, match="must have role 'charger'"):
        ChargerClass("py:here:Controller", Controller, 5.0).hello()


@pytest.mark.parametrize(
    ("spec", "told"),
    [
        ("reff", "there is no charger 'reff'"),
        ("ref:fast", "there is one reference charger"),
        ("exec:./nowhere", "cannot run ./nowhere"),
        ("py:nowhere:Class", "cannot import nowhere"),
    ],
)
def test_what_cannot_be_attached_is_said(spec: str, told: str) -> None:
    with pytest.raises(AttachError, match=told):
        attach_charger(spec)


def test_a_charger_must_be_started_and_a_case_must_fit_its_settings() -> None:
    case = CASES["packs/one-zero"]
    with attach_charger(speaking()) as attachment, pytest.raises(RuntimeError, match="charger"):
        attachment.run(case.trace)
    with pytest.raises(ValueError, match="messages of 2 packs, and settings for 1"):
        ChargerCase("wrong", ChargerSettings(), case.trace)
