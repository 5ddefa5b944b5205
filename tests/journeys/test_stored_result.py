"""The result as JSON and as JUnit, and what becomes of one that was cut off."""

from __future__ import annotations

import json
import re
from math import nan
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from harness.errors import InputError
from harness.report.junit import to_junit
from harness.report.known import Entry, Standing, State
from harness.report.result import Result
from harness.report.store import from_json, to_json
from harness.run import Finding, Identity, Outcome
from harness.verdict import Report, RequirementResult
from tests.journeys.command_line import Fullproof, saboteur, zoo

LATE = Finding(
    "HOLD.ends", "hold/a", 12.5, 7, "absorption", "float", 30.0, "s", "It came 30 s late."
)
DEAD = Finding(
    *("LINK.stays-alive", "hold/b", nan, 3, "killed", "lives", 0.0, "", "It died <here> & now."),
    detail="standard error: \x1b[31mred\x00",
)
RESULT = Result(
    report=Report(
        spec="exec:./hut",
        identity=Identity("hut", "1.2", "C", frozenset({"soc", "confirm"})),
        results=(
            RequirementResult("HOLD.ends", Outcome.FAIL, 9, ("hold/a", "hold/c"), (LATE,)),
            RequirementResult("FULL.taper", Outcome.NOT_CLAIMED, 0, (), ()),
            RequirementResult("SOC.counts", Outcome.ERROR, 0, (), ()),
            RequirementResult("SOC.starts", Outcome.PASS, 2, ("hold/a",), ()),
            RequirementResult("LINK.stays-alive", Outcome.FAIL, 3, ("hold/b",), (DEAD,)),
        ),
        cases=3,
        not_applicable={"hold/d": "needs taper"},
        errors={"hold/e": "it was never tried"},
    ),
    selection=("hold/*",),
    stopped="interrupted",
    known=(
        Standing(Entry("HOLD.ends", "hold/a", "release 2.4"), State.EXCUSES, 1),
        Standing(Entry("SOC.starts", "", "old"), State.PASSES, 0),
    ),
)


def test_a_result_is_the_same_after_writing_and_reading() -> None:
    text = to_json(RESULT)
    again = from_json(text)
    assert to_json(again) == text
    # NaN differs from itself, so the finding that has one is compared apart.
    assert again.report.results[:-1] == RESULT.report.results[:-1]
    assert again.report.identity == RESULT.report.identity
    assert again.known == RESULT.known
    assert str(again.report.findings[1].t) == "nan"
    assert json.loads(text)["results"][4]["findings"][0]["t"] is None


def test_a_result_that_is_cut_off_is_refused_wherever_it_is_cut() -> None:
    text = to_json(RESULT)
    for at in range(0, len(text.rstrip()) - 1, 97):
        with pytest.raises(InputError, match="cut off"):
            from_json(text[:at], "result.json")


def test_a_result_that_lost_a_finding_is_refused() -> None:
    document = json.loads(to_json(RESULT))
    document["results"][0]["findings"] = []
    with pytest.raises(InputError, match=r"end\.findings: it says 2, and there are 1;"):
        from_json(json.dumps(document))


@pytest.mark.parametrize(
    ("member", "value", "place"),
    [
        ("version", 1, "version"),
        ("format", "something else", "format"),
        ("exit_code", 2, "exit_code"),
        ("results", [{"requirement": "HOLD.ends"}], r"results\[0\]"),
        ("more", 1, "more"),
    ],
)
def test_another_document_is_refused_by_its_member(member: str, value: object, place: str) -> None:
    document = json.loads(to_json(RESULT)) | {member: value}
    with pytest.raises(InputError, match=place):
        from_json(json.dumps(document), "result.json")


def test_what_is_excused_still_cannot_make_up_for_what_was_not_judged() -> None:
    excused = Standing(Entry("HOLD.ends", "", "release 2.4"), State.EXCUSES, 1)
    failed, _, _, passed, _ = RESULT.report.results
    whole = Report("ref", None, (failed, passed), 2)
    assert Result(whole).exit_code == 1
    assert Result(whole, known=(excused,)).exit_code == 0
    lost = Report("ref", None, (failed, passed), 2, errors={"hold/e": "it was never tried"})
    assert Result(lost, known=(excused,)).exit_code == 3
    assert Result(lost).exit_code == 1


def test_junit_keeps_failures_errors_and_what_was_skipped_apart() -> None:
    root = ET.fromstring(to_junit(RESULT))
    tests = {test.attrib["name"].partition(":")[0]: test for test in root.iter("testcase")}
    kinds = {name: [child.tag for child in test] for name, test in tests.items()}
    assert kinds["HOLD.ends"] == ["properties", "skipped"]  # its finding is excused
    assert kinds["FULL.taper"] == ["properties", "skipped"]
    assert kinds["SOC.counts"] == ["properties", "error"]
    assert kinds["SOC.starts"] == ["failure"]  # the entry for it is out of date
    assert kinds["LINK.stays-alive"] == ["properties", "failure"]
    assert kinds["hold/e"] == ["error"]
    # The entry and the requirement of the same name are two tests.
    assert (root.get("tests"), root.get("failures"), root.get("errors")) == ("8", "2", "2")
    assert root.get("skipped") == "2"


def test_junit_tells_where_and_what_and_survives_any_output_of_the_controller() -> None:
    root = ET.fromstring(to_junit(RESULT))
    failure = root.find(".//testcase[@classname='fullproof.LINK']/failure")
    assert failure is not None
    assert failure.get("message") == "1 finding: It died <here> & now."
    assert failure.text is not None
    assert "hold/b, sample 3" in failure.text
    assert "standard error: \ufffd[31mred\ufffd" in failure.text


def test_verify_writes_what_it_shows(fullproof: Fullproof, tmp_path: Path) -> None:
    ended = fullproof(
        *("verify", zoo("reset-to-almost-one"), "--select", "full/*", "--quiet"),
        *("--json", "result.json", "--junit", "result.xml"),
    )
    assert ended.code == 1
    result = from_json((tmp_path / "result.json").read_bytes())
    broken = {each.requirement for each in result.report.results if each.findings}
    assert "FULL.sets-one" in broken
    assert result.exit_code == 1
    assert result.selection == ("full/*",)
    root = ET.parse(tmp_path / "result.xml").getroot()
    failed = {
        test.attrib["name"].partition(":")[0]
        for test in root.iter("testcase")
        if test.find("failure") is not None
    }
    assert failed == broken
    told = re.search(r"(\d+) fail,", ended.out)
    assert told is not None
    assert int(told[1]) == len(broken)


def test_a_result_on_standard_output_is_alone_there(fullproof: Fullproof) -> None:
    ended = fullproof("verify", "ref", "--select", "entry/*", "--json", "-")
    assert ended.code == 0
    assert json.loads(ended.out)["exit_code"] == 0
    assert "verdict        conforms" in ended.err


def test_two_results_cannot_both_go_there(fullproof: Fullproof) -> None:
    ended = fullproof("verify", "ref", "--json", "-", "--junit", "-")
    assert ended.code == 2
    assert "two results are to go to the standard output; name a file for one" in ended.err


@pytest.mark.parametrize(
    ("file", "message"),
    [
        ("no/such/folder/result.json", "cannot be written: its folder does not exist"),
        (".", "cannot be written: it is a folder"),
    ],
)
def test_a_result_that_cannot_be_written_is_told_before_anything_runs(
    fullproof: Fullproof, file: str, message: str
) -> None:
    ended = fullproof("verify", saboteur("hang_at_hello"), "--json", file)
    assert ended.code == 2
    assert message in ended.err
    assert ended.out == ""
