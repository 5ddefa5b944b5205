"""The smoke test finds what is wrong with an attachment, and never passes when nothing ran."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from ctrl.settings import Settings
from harness.attach import AttachError
from harness.attach.smoke import Step, passed, smoke

ROOT = Path(__file__).parents[2]
EVERY_STEP = [
    "hello",
    "start with default settings",
    "run with every column",
    "run of one row without readings",
    "power_cycle",
    "equalise",
    "a fresh start: the same samples again",
    "the same samples in two runs",
    "start with other settings, then with the first",
    "stop",
]


@pytest.fixture(autouse=True)
def _programs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(ROOT))


def outcomes(name: str) -> dict[str, Step]:
    command = f"{sys.executable} -m harness.zoo.saboteurs {name}"
    return {step.tried: step for step in smoke(f"exec:{command}", limit_s=20.0)}


@pytest.mark.parametrize(
    "spec",
    [
        "ref",
        f"exec:{sys.executable} -m harness.zoo.saboteurs well_behaved",
        f"exec:{sys.executable} -m harness.zoo.saboteurs stderr_flood",
        f"py:{ROOT}/harness/examples/python/controller.py:Controller",
    ],
    ids=["reference", "program", "flood", "class"],
)
def test_a_good_attachment_passes_every_step(spec: str) -> None:
    steps = smoke(spec, limit_s=20.0)
    assert [step.tried for step in steps] == EVERY_STEP
    assert [(step.outcome, step.wrong) for step in steps] == [("ok", "")] * 10
    assert passed(steps)


@pytest.mark.parametrize(
    ("name", "failing", "words"),
    [
        ("wrong_protocol", "hello", "protocol 2"),
        ("split_line", "hello", "broken over two lines"),
        ("refuses_everything", "start with default settings", "not with me"),
        ("crash_mid_run", "run with every column", "SIGSEGV"),
        ("keeps_state_over_start", "a fresh start: the same samples again", "row 0"),
        ("depends_on_cuts", "the same samples in two runs", "row 20"),
        ("exit_code_at_stop", "stop", "exited with 7"),
    ],
)
def test_the_step_that_fails_says_why(name: str, failing: str, words: str) -> None:
    steps = outcomes(name)
    assert list(steps) == EVERY_STEP
    assert steps[failing].outcome == "failed"
    assert words in steps[failing].wrong
    assert steps[failing].right
    first = next(step for step in steps.values() if not step.ok)
    assert first.tried == failing
    assert not passed(list(steps.values()))


def test_after_a_failed_hello_nothing_is_tried() -> None:
    steps = list(outcomes("wrong_protocol").values())
    assert [step.outcome for step in steps] == ["failed"] + ["not tried"] * 9
    assert steps[1].wrong == "it needs what failed before: hello"
    assert '"protocol": 2' in steps[0].detail


def test_an_answer_that_only_the_schema_refuses(tmp_path: Path) -> None:
    program = tmp_path / "both.py"
    program.write_text(
        """
from harness.zoo.saboteurs import Program

class Both(Program):
    def start(self, message):
        error = {"error": "just so"} if message["settings"]["cells"] == 8 else {}
        return {**super().start(message), **error}

raise SystemExit(Both("both").serve())
"""
    )
    steps = smoke(f"exec:{sys.executable} {program}", limit_s=20.0)
    assert [step.tried for step in steps if not step.ok] == [EVERY_STEP[8]]
    assert "valid under each of" in steps[8].wrong
    assert steps[8].right == "an answer that fits the protocol's schema"


def test_fixed_settings_are_used_and_others_not_tried(tmp_path: Path) -> None:
    module = tmp_path / "fixed_hut.py"
    fixed = Settings.for_cells(8, hold_s=600.0)
    module.write_text(
        f"""
class Hut:
    name, version, features = "hut", "1", []
    fixed = {fixed.to_mapping()!r}
    def __init__(self, settings, soc):
        assert settings == self.fixed
    def step(self, t, v, *_):
        assert v is None or v <= {fixed.absorption_v}
        return {{"stage": "bulk"}}
"""
    )
    steps = smoke(f"py:{module}:Hut")
    untried = {step.tried: step.wrong for step in steps if step.outcome == "not tried"}
    assert untried == {
        "power_cycle": "the controller does not claim power_cycle",
        "equalise": "the controller does not claim equalisation",
        EVERY_STEP[8]: "the controller's settings cannot be set",
    }
    assert passed(steps)


def test_no_steps_are_no_pass() -> None:
    assert not passed([])
    assert not passed([Step("hello", "not tried")])
    assert not passed([Step("hello", "ok"), Step("stop", "failed")])
    assert passed([Step("hello", "ok"), Step("stop", "not tried")])


def test_what_cannot_be_attached_is_no_step() -> None:
    with pytest.raises(AttachError):
        smoke("exec:./no-such-hut")
