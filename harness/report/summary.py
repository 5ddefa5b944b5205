"""The sum of a result in words, whatever they are then put into."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from harness.report.result import Result
from harness.report.words import count
from harness.run import Outcome
from harness.verdict import RequirementResult

KNOWN_FAILURE = "known failure"
OUTCOME_ORDER = (
    "fail",
    KNOWN_FAILURE,
    "error",
    "unknown",
    "pass",
    "not exercised",
    "not claimed",
    "not observable",
)
VERDICTS = {0: "conforms", 1: "does not conform", 3: "could not be judged"}


def outcome_word(result: Result, each: RequirementResult) -> str:
    """What is known of one requirement, in a word or two."""
    return KNOWN_FAILURE if result.excused(each) else each.outcome.value


def outcome_counts(result: Result) -> dict[str, int]:
    """How many requirements have which outcome, the worst first."""
    words = Counter(outcome_word(result, each) for each in result.report.results)
    return {word: words[word] for word in OUTCOME_ORDER if words[word]}


def outcomes(result: Result) -> str:
    """The same in a sentence."""
    told = ", ".join(f"{times} {word}" for word, times in outcome_counts(result).items())
    return f"{told}, of {count(len(result.report.results), 'requirement')}"


def verdict(result: Result) -> tuple[int, str]:
    """The verdict as the exit code that looks like it, and in words."""
    word = VERDICTS[result.exit_code]
    out_of_date = sum(standing.out_of_date for standing in result.known)
    if out_of_date:
        broken = any(result.unexcused(each) for each in result.report.results)
        text = (
            f"the list of known failures is out of date ({count(out_of_date, 'entry', 'entries')})"
        )
        return 1, f"{word if broken else VERDICTS[0]}, but {text}"
    if result.exit_code == 0 and any(map(result.excused, result.report.results)):
        word += ", but for known failures"
    if result.exit_code == 0 and (result.selection or result.stopped):
        word += ", as far as it was tried"
    if result.exit_code == 0 and any(
        each.outcome is Outcome.NOT_OBSERVABLE for each in result.report.results
    ):
        word += ", as far as the log shows"
    return result.exit_code, word


def who(result: Result) -> str:
    """Who it says it is."""
    identity = result.report.identity
    if identity is None:
        return "unknown, it never said who it is"
    return identity.in_words


def tried(result: Result) -> str:
    """How much was tried."""
    report = result.report
    cases = count(report.cases, "case")
    if report.not_applicable:
        cases += f", {len(report.not_applicable)} not applicable"
    if report.errors:
        cases += f", {len(report.errors)} not judged"
    return cases


def broken(result: Result) -> list[RequirementResult]:
    """The requirements with findings that no list excuses."""
    return [each for each in result.report.results if result.unexcused(each)]


def not_exercised(result: Result) -> list[str]:
    """The requirements that no case put to the test, where all cases were to."""
    if result.selection or result.stopped:
        return []
    return [r.requirement for r in result.report.results if r.outcome is Outcome.NOT_EXERCISED]


def not_observable(result: Result) -> dict[str, list[str]]:
    """The requirements that a recording cannot show, by the reason."""
    return by_reason(
        {each.requirement: each.reason for each in result.report.results if each.reason}
    )


def by_reason(reasons: Mapping[str, str]) -> dict[str, list[str]]:
    """The names that share a reason, by the reason."""
    together: dict[str, list[str]] = {}
    for name, reason in reasons.items():
        together.setdefault(reason, []).append(name)
    return together
