"""A reset rule of one's own in the reference: `ref:py:FILE.py:RULE`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import ctrl
from harness.attach import AttachError, attach, drive
from harness.attach.reset_rules import named_rule, rule_source
from harness.judge import judge
from harness.report.reference_events import reference_events
from harness.run import Case, Trace

RULES = """\
from ctrl import ResetRule


def calm(limits, level_v, i):
    return -2.0 <= i <= 2.0


class Hut:
    pass


CALM = ResetRule("calm", "next to no current", during_hold=False, sustained=True, condition=calm)
OTHER = 5
"""


@pytest.fixture
def rules(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "hut_rules.py").write_text(RULES, encoding="utf-8")
    return tmp_path


def held_then_low() -> Case:
    """A hold of 60 s; when it ends the voltage is gone, and next to no current flows."""
    t = np.arange(0.0, 80.0)
    low = t >= 60
    trace = Trace(t=t, v=np.where(low, 54.0, 55.9), i=np.where(low, 1.0, 20.0))
    return Case("held-then-low", ctrl.Settings(hold_s=60), trace)


@pytest.mark.usefixtures("rules")
def test_the_reference_decides_by_the_rule_of_the_file() -> None:
    case = held_then_low()
    with attach("ref:py:hut_rules.py:CALM") as own, attach("ref") as reference:
        assert own.hello().name == "reference with calm"
        ran, plain = drive(own, case), drive(reference, case)
    assert ran.answers is not None
    assert plain.answers is not None
    assert ran.answers.full_reset is not None
    assert plain.answers.full_reset is not None
    assert np.flatnonzero(ran.answers.full_reset).tolist() == [63]
    assert not plain.answers.full_reset.any()
    assert [finding.requirement for finding in judge(ran).findings] == ["FULL.voltage"]


@pytest.mark.usefixtures("rules")
def test_what_happened_is_told_by_the_same_rule() -> None:
    told = reference_events("ref:py:hut_rules.py:CALM", held_then_low())
    assert told is not None
    assert [event.name for event in told[63]] == ["hold_expired", "full_reset"]


@pytest.mark.usefixtures("rules")
@pytest.mark.parametrize(
    ("spec", "words"),
    [
        ("ref:hut_rules.py:CALM", ["no reset rule", "is written py:hut_rules.py:CALM"]),
        ("ref:py:hut_rules.py:COLD", ["COLD of hut_rules.py is missing; there is CALM"]),
        ("ref:py:hut_rules.py:OTHER", ["OTHER of hut_rules.py is a int, no ResetRule"]),
        ("ref:py:hut_rules.py:Hut", ["no ResetRule", "attached as py:hut_rules.py:Hut"]),
        ("ref:py:CALM", ["names no rule", "py:path/to/file.py:NAME"]),
        ("ref:py:lost.py:CALM", ["there is no file lost.py"]),
        ("py:hut_rules.py:CALM", ["is a rule", "no class", "is ref:py:hut_rules.py:CALM"]),
        ("py:hut_rules.py:Cold", ["hut_rules.py has no class Cold; it has Hut"]),
    ],
)
def test_what_is_no_rule_is_told_how_to_be_named(spec: str, words: list[str]) -> None:
    with pytest.raises(AttachError) as caught:
        attach(spec)
    for word in words:
        assert word in str(caught.value)
    # Classes and rules that a file only imports are none of its own.
    assert "ResetRule," not in str(caught.value)


def test_the_source_of_a_rule_is_its_file(rules: Path) -> None:
    assert rule_source("py:hut_rules.py:CALM", rules) == RULES.encode()
    assert rule_source("taper", rules) == b""
    assert named_rule("py:hut_rules.py:CALM", rules).name == "calm"
