"""The command that shows a finding once more."""

from __future__ import annotations

import shlex

from harness.report.catalogue import any_requirement
from harness.report.result import Result
from harness.role import CONTROLLER
from harness.run import Finding

LINK = "LINK"
RECORDED = "log"
SETTINGS_OPTIONS = ("--chemistry", "--settings", "--cells", "--set")


def again(result: Result, finding: Finding) -> str:
    """The command line that shows a finding of a result once more.

    Args:
        result: what the finding is part of; it knows how the controller was attached.
        finding: the finding.
    """
    name = shlex.quote(result.report.spec)
    options = "" if result.limit_s is None else f" --limit-s {result.limit_s:g}"
    options += f" --tolerance-s {result.tolerance_s:g}" if result.tolerance_s else ""
    if result.report.spec.partition(":")[0] == RECORDED:
        # A recording has no case to run: it is judged once more, with its mapping and settings.
        if result.environment is not None and result.environment.command:
            return f"{result.environment.command} --select {shlex.quote(finding.requirement)}"
        return f"fullproof verify {name} --select {shlex.quote(finding.requirement)}{options}"
    command = "" if result.environment is None else result.environment.command
    if any(word.partition("=")[0] in SETTINGS_OPTIONS for word in shlex.split(command)):
        # The vector was written for settings of the user's own; only the same options write it again.
        return f"{command} --select {shlex.quote(finding.case)}"
    return command_for(result.report.spec, finding, options, result.report.role)


def command_for(spec: str, finding: Finding, options: str, role: str = CONTROLLER) -> str:
    """The same for what runs, from its name, the options of the command, and its role."""
    name, case = shlex.quote(spec), shlex.quote(finding.case)
    if role != CONTROLLER:
        name = f"--role {role} {name}"
    if any_requirement(finding.requirement).group == LINK:
        # Part of this group shows only when a case runs a second time, or ends.
        return f"fullproof verify {name} --select {case}{options}"
    return f"fullproof replay {name} {case}{options}"
