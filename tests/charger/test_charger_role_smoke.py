"""`fullproof smoke --role charger`: what is wrong with an attachment, and nothing about conduct."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from harness.attach.smoke import Step
from harness.charger.smoke import charger_smoke
from harness.cli.smoke import command

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "harness" / "examples" / "python" / "charger.py"
STEPS = 9


@pytest.fixture(autouse=True)
def importable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(ROOT))


def speaking(mistake: str) -> str:
    program = Path(__file__).with_name("speaking.py")
    return "exec:" + shlex.join([sys.executable, str(program), mistake])


def smoked(spec: str, *arguments: str) -> Result:
    return CliRunner().invoke(command, [spec, *arguments], standalone_mode=False)


@pytest.mark.parametrize(
    "spec",
    ["ref", f"py:{EXAMPLE}:Charger", f"exec:{shlex.join([sys.executable, str(EXAMPLE)])}"],
    ids=["reference", "class", "program"],
)
def test_a_good_attachment_passes_every_step(spec: str) -> None:
    steps = charger_smoke(spec, limit_s=20.0)
    assert [(step.outcome, step.wrong) for step in steps] == [("ok", "")] * STEPS


def test_the_samples_reach_the_state_in_which_it_follows() -> None:
    """What never leaves `stopped` would show nothing about cuts and fresh starts."""
    from ctrl.charger import Conduct
    from harness.charger.attach import InProcessCharger
    from harness.charger.smoke import ChargerSession

    session = ChargerSession(InProcessCharger("ref"))
    session.steps()
    assert int(Conduct.FOLLOWING) in session._answers.state
    assert session._answers.limit_a.max() == 50.0


@pytest.mark.parametrize(
    ("mistake", "failing", "words"),
    [
        ("role", "hello", "role 'controller'; it must have role 'charger'"),
        ("refuses", "start with default settings", "no charger today"),
        ("dies", "run of one row without readings", "exited with 1"),
        ("word", "run with every column", "state 'sleeping'"),
        ("nothing", "run with every column", "set_point_v None"),
        ("no-limit", "run with every column", "leaves out the column limit_a"),
        ("cuts", "the same samples in two runs", "gave other answers"),
        ("stale-start", "a fresh start: the same samples again", "gave other answers"),
    ],
)
def test_each_mistake_fails_its_step(mistake: str, failing: str, words: str) -> None:
    steps = {step.tried: step for step in charger_smoke(speaking(mistake), limit_s=20.0)}
    step: Step = steps[failing]
    assert step.outcome == "failed"
    assert words in step.wrong
    assert step.right


def test_an_answer_that_does_not_fit_the_schema_fails(tmp_path: Path) -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    line = '"version": Charger.version, "language": "Python"'
    assert text.count(line) == 1
    file = tmp_path / "odd.py"
    file.write_text(text.replace(line, f'{line}, "fixed": {{"packs": 1}}'), encoding="utf-8")
    hello = charger_smoke("exec:" + shlex.join([sys.executable, str(file)]), limit_s=20.0)[0]
    assert hello.outcome == "failed"
    assert "fixed without highest_v" in hello.wrong


def test_settings_that_cannot_be_set_are_left_alone(tmp_path: Path) -> None:
    from ctrl.charger import ChargerSettings

    fixed = ChargerSettings.for_cells(8, packs=2).to_mapping()
    file = tmp_path / "built.py"
    text = EXAMPLE.read_text(encoding="utf-8")
    file.write_text(f"{text}\n\nclass Built(Charger):\n    fixed = {fixed!r}\n", encoding="utf-8")
    steps = charger_smoke(f"py:{file}:Built")
    assert [step.outcome for step in steps].count("ok") == STEPS - 1
    untried = next(step for step in steps if step.outcome == "not tried")
    assert untried.wrong == "the charger's settings cannot be set"


def test_the_command_tells_it_and_what_comes_next() -> None:
    ended = smoked("ref", "--role", "charger")
    assert ended.return_value == 0
    assert "The attachment works: 9 of 9 steps were tried, none failed." in ended.output
    assert "Next: fullproof verify --role charger ref" in ended.output
    assert smoked(speaking("word"), "--role", "charger").return_value == 1


def test_each_role_is_told_from_the_other() -> None:
    as_controller = smoked(f"exec:{shlex.join([sys.executable, str(EXAMPLE)])}")
    assert as_controller.return_value == 1
    assert "role 'charger'; it must have role" in " ".join(as_controller.output.split())
    controller = ROOT / "harness" / "examples" / "python" / "controller.py"
    as_charger = smoked(f"py:{controller}:Controller", "--role", "charger")
    assert as_charger.return_value == 1
    assert "The option --role says what is under test" in " ".join(as_charger.output.split())
