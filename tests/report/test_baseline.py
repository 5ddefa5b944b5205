"""What is new since a stored result, and when that is worse."""

from __future__ import annotations

from harness.report.baseline import changes_since
from harness.report.result import Result
from harness.run import Finding, Identity, Outcome
from harness.verdict import Report, RequirementResult

WHO = Identity("hut", "1.2", "C", frozenset({"soc"}))
ENDS, COUNTS = "HOLD.ends", "SOC.counts"


def finding(requirement: str, case: str, index: int = 7) -> Finding:
    return Finding(requirement, case, 12.5, index, "a", "b", 30.0, "s", "It came 30 s late.")


def result(
    found: dict[str, list[str]], *, tried: str = "abc", lost: str = "", who: Identity | None = WHO
) -> Result:
    """Requirements with the cases that break them, out of the cases that were tried."""
    results = tuple(
        RequirementResult(
            name,
            Outcome.FAIL if cases else Outcome.PASS,
            3,
            tuple(tried),
            tuple(finding(name, case) for case in cases),
        )
        for name, cases in found.items()
    )
    errors = dict.fromkeys(lost, "it hung")
    return Result(Report("exec:./hut", who, results, len(tried), {}, errors), tried=tuple(tried))


def test_the_same_result_has_no_changes() -> None:
    one = result({ENDS: ["a"], COUNTS: []})
    changes = changes_since(one, one, "last.json")
    assert changes.exit_code == 0
    assert changes.sentence == "nothing got worse"
    assert changes.lines == ["no finding, outcome or case is different"]


def test_a_broken_requirement_that_was_not_is_worse() -> None:
    changes = changes_since(
        result({ENDS: [], COUNTS: []}), result({ENDS: ["a"], COUNTS: []}), "last.json"
    )
    assert changes.exit_code == 1
    assert changes.new == ((ENDS, "a"),)
    assert changes.outcomes == ((ENDS, "pass", "fail"),)
    assert changes.lines == [f"new: {ENDS} in a", f"{ENDS}: pass, now fail"]


def test_another_case_that_breaks_it_is_worse_and_one_less_does_not_make_up_for_it() -> None:
    changes = changes_since(result({ENDS: ["a"]}), result({ENDS: ["b"]}), "last.json")
    assert changes.exit_code == 1
    assert changes.new == ((ENDS, "b"),)
    assert changes.gone == ((ENDS, "a"),)
    assert changes.is_new(finding(ENDS, "b"))
    assert not changes.is_new(finding(ENDS, "a"))


def test_a_finding_that_moved_or_came_twice_in_its_case_is_no_news() -> None:
    before = result({ENDS: ["a"]})
    changes = changes_since(before, result({ENDS: ["a", "a"]}), "last.json")
    assert changes.exit_code == 0
    assert changes.new == ()


def test_fewer_findings_are_told_and_not_worse() -> None:
    changes = changes_since(result({ENDS: ["a", "b"]}), result({ENDS: []}), "last.json")
    assert changes.exit_code == 0
    assert changes.lines == [f"gone: {ENDS} in a, b", f"{ENDS}: fail, now pass"]


def test_what_was_not_tried_is_not_gone() -> None:
    changes = changes_since(
        result({ENDS: ["a"]}), result({ENDS: []}, tried="bc"), "last.json"
    )  # fmt: skip
    assert changes.gone == ()
    assert changes.not_looked_at == ((ENDS, "a"),)
    assert changes.removed == ("a",)


def test_what_was_not_judged_is_not_gone_and_cannot_pass() -> None:
    changes = changes_since(result({ENDS: ["a"]}), result({ENDS: []}, lost="a"), "last.json")
    assert changes.gone == ()
    assert changes.lost == ("a",)
    assert changes.exit_code == 3
    worse = changes_since(result({ENDS: ["a"]}), result({ENDS: ["b"]}, lost="a"), "last.json")
    assert worse.exit_code == 1


def test_a_case_that_never_could_be_judged_is_no_news() -> None:
    one = result({ENDS: []}, lost="a")
    assert changes_since(one, one, "last.json").exit_code == 0


def test_a_run_that_judged_nothing_cannot_pass() -> None:
    assert changes_since(result({ENDS: []}), result({}), "last.json").exit_code == 3


def test_cases_come_and_go() -> None:
    changes = changes_since(
        result({ENDS: []}, tried="ab"), result({ENDS: []}, tried="bc"), "last.json"
    )
    assert (changes.added, changes.removed, changes.exit_code) == (("c",), ("a",), 0)
    assert changes.lines == [
        "1 case tried for the first time: c",
        "1 case no longer tried: a",
    ]


def test_a_finding_in_a_case_that_is_new_is_worse() -> None:
    changes = changes_since(
        result({ENDS: []}, tried="a"), result({ENDS: ["b"]}, tried="ab"), "last.json"
    )
    assert changes.exit_code == 1


def test_another_controller_is_remarked() -> None:
    other = Identity("pier", "2", "C", frozenset())
    changes = changes_since(result({ENDS: []}), result({ENDS: []}, who=other), "last.json")
    assert "the controller was hut 1.2, it is pier 2" in changes.lines
