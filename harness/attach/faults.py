"""What is said of a program that does not answer, or whose answer cannot be read."""

from __future__ import annotations

import signal

import orjson

from harness.attach.answers import rows_fault
from harness.attach.base import LinkFault
from harness.attach.process import LONGEST_LINE_BYTES, NoAnswer


def end_of(status: int) -> str:
    """How a program ended, from its exit status."""
    if status >= 0:
        return f"exited with {status}"
    try:
        return f"killed by {signal.Signals(-status).name}"
    except ValueError:
        return f"killed by signal {-status}"


def no_rows(error: object) -> LinkFault:
    """Samples that were answered with an error."""
    return rows_fault(
        f"an error: {error!r:.80}",
        "one row for each row sent",
        f"The program answered samples with an error: {error!r:.200}; it must answer every row.",
    )


def answers_fault(observed: str, sentence: str, expected: str = "one line") -> LinkFault:
    """A fault of `LINK.answers`."""
    return LinkFault(
        "LINK.answers",
        observed=observed,
        expected=f"one JSON object on {expected}",
        sentence=sentence,
    )


def not_json(line: bytes, error: orjson.JSONDecodeError) -> LinkFault:
    """A line that cannot be read, with what may have gone wrong."""
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError as wrong:
        return answers_fault(
            f"not UTF-8 at byte {wrong.start + 1}",
            f"Byte {wrong.start + 1} of the answer is not UTF-8.",
        )
    if not text.strip():
        return answers_fault("an empty line", "The program answered with an empty line.")
    if error.pos >= len(text.rstrip()):
        return answers_fault(
            "JSON without its end",
            "The line ends before the JSON does: is it broken over two lines?",
        )
    there = text[error.pos : error.pos + 20].rstrip()
    return answers_fault(
        f"not JSON: {there}",
        f"The answer is not JSON: {error.msg}, character {error.pos + 1}, where it reads {there}",
    )


def silence_fault(silence: NoAnswer, limit_s: float) -> LinkFault:
    """A line that did not come, with what may have gone wrong."""
    if silence.reason == "exited" and silence.status is not None:
        observed = end_of(silence.status)
        return LinkFault(
            "LINK.stays-alive",
            observed=observed,
            expected="runs until stop",
            sentence=f"The program ended without an answer: {observed}.",
        )
    if silence.reason == "endless":
        return answers_fault(
            f"a line of more than {LONGEST_LINE_BYTES} bytes",
            "The program prints a line that does not end.",
        )
    if silence.reason == "closed":
        return answers_fault(
            "closed its standard output", "The program closed its standard output and lives on."
        )
    observed = f"{'half a line' if silence.partial else 'nothing'} within {limit_s:g} s"
    question = "is a line end printed" if silence.partial else "is the output flushed"
    return answers_fault(
        observed,
        f"The program answered {observed}; {question} after every answer?",
        f"one line within {limit_s:g} s",
    )
