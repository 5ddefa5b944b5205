"""The options with which a command writes its result in any form, and the writing."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click
from attrs import frozen

from harness.cli.outputs import writing

if TYPE_CHECKING:
    from harness.report.baseline import Changes
    from harness.report.result import Result


@frozen
class Forms:
    """The files to write, `-` for the standard output; None for those that are not wanted.

    Attributes:
        html_file: one page of HTML that needs nothing else.
        json_file: the stored result, which all of the others can be made from.
        junit_file: JUnit XML.
        markdown_file: Markdown for a job summary.
    """

    html_file: str | None
    json_file: str | None
    junit_file: str | None
    markdown_file: str | None

    @property
    def files(self) -> tuple[str | None, ...]:
        """All of them."""
        return self.html_file, self.json_file, self.junit_file, self.markdown_file

    @property
    def need_samples(self) -> bool:
        """Whether any of them shows the samples around a finding."""
        return bool(self.html_file or self.json_file or self.markdown_file)

    def write(self, result: Result, changes: Changes | None = None) -> None:
        """Write every file that is wanted.

        Raises:
            InputError: one cannot be written.
        """
        for file, made in (
            (self.json_file, _json),
            (self.junit_file, _junit),
            (self.markdown_file, _markdown),
            (self.html_file, _html),
        ):
            if file:
                with writing(file) as opened:
                    opened.write(made(result, changes))


def forms_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options; they arrive as `html_file`, `json_file`, `junit_file`, `markdown_file`."""
    for name, what in (
        ("markdown", "Write Markdown for a job summary; - is stdout."),
        ("junit", "Write JUnit XML; - is stdout."),
        ("json", "Write the result; - is stdout."),
        ("html", "Write one page with pictures, which works offline; - is stdout."),
    ):
        command = click.option(f"--{name}", f"{name}_file", metavar="FILE", help=what)(command)
    return command


# What a form needs is loaded only where it is wanted.
def _json(result: Result, _: Changes | None) -> str:
    from harness.report.store import to_json

    return to_json(result)


def _junit(result: Result, _: Changes | None) -> str:
    from harness.report.junit import to_junit

    return to_junit(result)


def _markdown(result: Result, changes: Changes | None) -> str:
    from harness.report.markdown import to_markdown

    return to_markdown(result, changes)


def _html(result: Result, changes: Changes | None) -> str:
    from harness.report.result_page import to_html

    return to_html(result, changes)
