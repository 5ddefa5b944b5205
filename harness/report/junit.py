"""The result as JUnit XML: one suite a group, one test a requirement, for build servers."""

from __future__ import annotations

import re
from itertools import groupby
from xml.etree import ElementTree as ET

from harness.report.catalogue import any_requirement, groups_of
from harness.report.result import Result
from harness.report.words import count, number
from harness.run import Finding, Outcome
from harness.verdict import RequirementResult

# Characters that XML 1.0 cannot hold, not even escaped.
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def to_junit(result: Result) -> str:
    """The result as JUnit XML.

    `<failure>` is a requirement that the controller broke, `<error>` one that could not be judged,
    `<skipped>` one that was not claimed, not exercised, or is a known failure.
    """
    report = result.report
    root = ET.Element("testsuites", name="fullproof")
    by_group = groupby(report.results, lambda each: any_requirement(each.requirement).group)
    groups = groups_of(report.role)
    for group, results in by_group:
        suite = ET.SubElement(root, "testsuite", name=f"{group}: {groups[group]}")
        _properties(suite, result)
        for each in results:
            _requirement(suite, result, each)
    if report.errors:
        suite = ET.SubElement(root, "testsuite", name="cases that could not be judged")
        _properties(suite, result)
        for case, reason in report.errors.items():
            test = ET.SubElement(suite, "testcase", classname="cases", name=case)
            ET.SubElement(test, "error", message=_text(reason), type="not judged")
    if result.known:
        suite = ET.SubElement(root, "testsuite", name="known failures")
        for standing in result.known:
            test = ET.SubElement(suite, "testcase", classname="known", name=standing.entry.text)
            if standing.out_of_date:
                message = f"out of date: {standing.state.value}"
                ET.SubElement(test, "failure", message=message, type="known failures")
    for suite in (*root, root):
        _count(suite)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode", xml_declaration=True) + "\n"


def _properties(suite: ET.Element, result: Result) -> None:
    identity = result.report.identity
    named = {"attached": result.report.spec}
    if identity is not None:
        named |= {
            result.report.role: identity.name,
            f"{result.report.role} version": identity.version,
            "language": identity.language,
            "features": " ".join(sorted(identity.features)),
        }
    _add_properties(suite, named)


def _requirement(suite: ET.Element, result: Result, each: RequirementResult) -> None:
    asked = any_requirement(each.requirement)
    name = f"{asked.id}: {asked.title}"
    test = ET.SubElement(suite, "testcase", classname=f"fullproof.{asked.group}", name=name)
    _add_properties(
        test,
        {
            "level": asked.level,
            "statement": asked.statement,
            "outcome": each.outcome.value,
            "exercised": str(each.exercised),
            "cases": str(len(each.cases)),
        },
    )
    if each.outcome is Outcome.FAIL:
        open_findings = result.unexcused(each)
        if open_findings:
            message = f"{count(len(open_findings), 'finding')}: {open_findings[0].sentence}"
            failure = ET.SubElement(test, "failure", message=_text(message), type=asked.level)
            failure.text = _text("\n\n".join(map(_finding, open_findings)))
        else:
            reasons = dict.fromkeys(result.reason(finding) for finding in each.findings)
            ET.SubElement(test, "skipped", message=_text(f"known failure: {'; '.join(reasons)}"))
    elif each.outcome in (Outcome.ERROR, Outcome.UNKNOWN):
        ET.SubElement(test, "error", message="could not be judged", type=each.outcome.value)
    elif each.outcome is not Outcome.PASS:
        why = f": {each.reason}" if each.reason else ""
        ET.SubElement(test, "skipped", message=_text(each.outcome.value + why))


def _finding(finding: Finding) -> str:
    where = f", sample {finding.index}, t = {number(finding.t)} s" if finding.index >= 0 else ""
    lines = [
        f"{finding.case}{where}",
        finding.sentence,
        f"observed: {finding.observed}",
        f"expected: {finding.expected}",
    ]
    if finding.unit:
        lines.append(f"margin: {finding.margin:.4g} {finding.unit}")
    return "\n".join([*lines, *finding.detail.splitlines()])


def _add_properties(parent: ET.Element, named: dict[str, str]) -> None:
    properties = ET.SubElement(parent, "properties")
    for name, value in named.items():
        ET.SubElement(properties, "property", name=name, value=_text(value))


def _count(element: ET.Element) -> None:
    tests = list(element.iter("testcase"))

    def with_(kind: str) -> str:
        return str(sum(test.find(kind) is not None for test in tests))

    element.set("tests", str(len(tests)))
    element.set("failures", with_("failure"))
    element.set("errors", with_("error"))
    element.set("skipped", with_("skipped"))


def _text(text: str) -> str:
    return _NO_XML.sub("\ufffd", text)
