"""The example chargers keep every rule, and answer as the reference does to any trace.

Nobody wrote the one with the other before them, and they share no code: they keep ages, and the
reference keeps stamps. All states are equal at every sample; voltages and currents to a millionth.
"""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given

from ctrl.charger import Charger, ChargerSettings
from harness.attach.base import Refused
from harness.charger.attach import ChargerAttachment, attach_charger, drive_charger
from harness.charger.case import ChargerRun
from harness.charger.cases import charger_cases
from harness.charger.rules import CHARGER_REQUIREMENTS
from harness.charger.verify import verify_charger
from harness.cli.example import example
from harness.cli.verify import command
from harness.run import Outcome
from tests.attach.planted import needs_compiler
from tests.charger.walked import walked
from tests.properties.charger_walks import Walk, settings_and_charger_walks

PYTHON = Path(__file__).parents[2] / "harness" / "examples" / "python" / "charger.py"
A_MILLIONTH = 1e-6


@pytest.fixture(scope="module")
def in_c() -> Iterator[ChargerAttachment]:
    with attach_charger(example("charger").spec) as attachment:
        yield attachment


@pytest.fixture(scope="module")
def in_python() -> Iterator[ChargerAttachment]:
    with attach_charger(f"py:{PYTHON}:Charger") as attachment:
        yield attachment


def every_rule_kept(attachment: ChargerAttachment) -> None:
    report = verify_charger(attachment, charger_cases())
    assert report.findings == ()
    assert {result.outcome for result in report.results} == {Outcome.PASS}
    assert len(report.results) == len(CHARGER_REQUIREMENTS)


@needs_compiler
def test_the_example_in_c_keeps_every_rule(in_c: ChargerAttachment) -> None:
    every_rule_kept(in_c)
    assert in_c.hello().name == "example-charger-c"


def test_the_example_in_python_keeps_every_rule(in_python: ChargerAttachment) -> None:
    every_rule_kept(in_python)
    assert in_python.hello().name == "example-charger-python"


def as_the_reference(attachment: ChargerAttachment, run: ChargerRun) -> None:
    said, expected = drive_charger(attachment, run.case).answers, run.answers
    other = np.flatnonzero(said.state != expected.state)
    assert not len(other), f"sample {other[0]}: {said.state[other[0]]}"
    assert np.abs(said.set_point_v - expected.set_point_v).max() <= A_MILLIONTH
    assert np.abs(said.limit_a - expected.limit_a).max() <= A_MILLIONTH


@needs_compiler
@given(drawn=settings_and_charger_walks())
def test_both_examples_answer_as_the_reference(
    in_c: ChargerAttachment, in_python: ChargerAttachment, drawn: tuple[ChargerSettings, Walk]
) -> None:
    run = walked(Charger, *drawn)
    as_the_reference(in_c, run)
    as_the_reference(in_python, run)


def test_the_example_in_python_is_a_program_too() -> None:
    spec = "exec:" + shlex.join([sys.executable, str(PYTHON)])
    with attach_charger(spec, limit_s=20.0) as attachment:
        report = verify_charger(attachment, charger_cases()[:6])
    assert report.findings == ()
    assert report.identity is not None
    assert report.identity.language == "Python"


@needs_compiler
def test_the_example_in_c_is_judged_where_none_is_named() -> None:
    ended = CliRunner().invoke(
        command, ["--role", "charger", "--select", "packs/*", "--quiet"], standalone_mode=False
    )
    assert ended.return_value == 0, ended.output
    assert "No charger was named, so this is the example in C, compiled with" in ended.output
    assert "example-charger-c 1.0, written in C" in ended.output


def test_the_example_in_python_is_judged_without_a_compiler(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("CC", "no-such-compiler")
    ended = CliRunner().invoke(
        command, ["--role", "charger", "--select", "packs/*", "--quiet"], standalone_mode=False
    )
    assert ended.return_value == 0, ended.output
    assert "so this is the example in Python, because there is no C" in ended.output
    assert "example-charger-python 1.0, written in Python" in ended.output


@needs_compiler
def test_the_example_in_c_refuses_what_it_has_no_room_for(in_c: ChargerAttachment) -> None:
    with pytest.raises(Refused, match="packs must be 1 to 16"):
        in_c.start(ChargerSettings(packs=17))
    in_c.start(ChargerSettings(packs=16))
