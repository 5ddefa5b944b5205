"""`fullproof verify --role charger` as a user has it."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner, Result

from harness.cli.main import COMMANDS
from harness.cli.replay import command as replay
from harness.cli.verify import command

DEAF = '''
class Deaf:
    """It follows what it once heard, and never looks at what the pack reads."""

    name, version, role = "deaf", "1", "charger"

    def __init__(self, settings):
        self.settings = settings
        self.power_cycle()

    def power_cycle(self):
        self.asked = None

    def step(self, t, own_v, own_a, packs):
        for pack in packs:
            if pack["request_v"] is not None:
                self.asked = pack["request_v"], pack["request_a"] or 0.0
        if self.asked is None:
            return {"set_point_v": 54.0, "limit_a": 0.0, "state": "stopped"}
        return {"set_point_v": self.asked[0], "limit_a": self.asked[1], "state": "following"}
'''


def verify(*arguments: str) -> Result:
    return CliRunner().invoke(command, ["--role", "charger", *arguments], standalone_mode=False)


@pytest.fixture
def deaf(tmp_path: Path) -> str:
    path = tmp_path / "deaf.py"
    path.write_text(DEAF, encoding="utf-8")
    return f"py:{path}:Deaf"


def test_the_reference_conforms() -> None:
    ended = verify("ref")
    assert ended.return_value == 0, ended.output
    assert "charger        reference" in ended.output
    assert "SENSE  Compensation of the line" in ended.output
    assert "verdict        conforms" in ended.output
    assert "no certificate of safety" in ended.output


def test_a_charger_that_ignores_the_pack_fails_by_the_right_rules(deaf: str) -> None:
    ended = verify(deaf, "--quiet", "--findings", "1")
    assert ended.return_value == 1
    for name in ("SENSE.reaches", "STALE.falls-back", "BEGIN.waits", "FOLLOW.slope"):
        assert f"{name} (must)" in ended.output
    assert "does not rise for it" in ended.output
    assert "fullproof replay --role charger" in ended.output
    assert "verdict        does not conform" in ended.output


def test_a_finding_is_seen_again_by_the_command_that_is_told(deaf: str) -> None:
    ended = verify(deaf, "--select", "sense/thin-cable", "--select", "SENSE.reaches")
    assert ended.return_value == 1
    assert "tried          1 case" in ended.output
    again = next(line for line in ended.output.splitlines() if "again" in line)
    words = shlex.split(again)[1:]
    assert words[:4] == ["fullproof", "replay", "--role", "charger"]
    once_more = CliRunner().invoke(replay, words[2:], standalone_mode=False)
    assert once_more.return_value == 1
    assert "SENSE.reaches (must)" in once_more.output


def test_the_first_finding_ends_it_where_that_is_asked(deaf: str) -> None:
    ended = verify(deaf, "--fail-fast", "--quiet")
    assert ended.return_value == 1
    assert "at the first finding, as asked, after 1 of 47 cases" in ended.output


def test_other_forms_tell_the_same(deaf: str, tmp_path: Path) -> None:
    junit, markdown = tmp_path / "it.xml", tmp_path / "it.md"
    ended = verify(deaf, "--junit", str(junit), "--markdown", str(markdown), "--quiet")
    assert ended.return_value == 1
    failed = [test.get("name", "") for test in ET.parse(junit).iter("testcase") if len(test) > 1]
    assert any(name.startswith("SENSE.reaches: ") for name in failed)
    assert "SENSE.reaches" in markdown.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("reff",), "there is no charger 'reff'"),
        (("log:hut.csv",), "there is no charger 'log:hut.csv'"),
        (("ref", "--select", "sense"), "did you mean SENSE"),
        (("ref", "--select", "HOLD"), "picks nothing"),
        (("ref", "--known", "k.toml", "--baseline", "b.json"), "--baseline and --known both say"),
        (("ref", "--known", "k.toml"), "k.toml: cannot be read"),
        (("ref", "--mapping", "m.toml"), "--mapping belongs to a log"),
        (("ref", "--chemistry", "lead_gel"), "--chemistry belongs to a controller"),
    ],
)
def test_wrong_use_is_said(arguments: tuple[str, ...], told: str) -> None:
    from harness.errors import InputError

    ended = verify(*arguments)
    assert isinstance(ended.exception, InputError)
    assert told in str(ended.exception)


def test_wrong_use_ends_with_2_and_without_a_traceback() -> None:
    import subprocess

    assert "verify" in COMMANDS
    ended = subprocess.run(
        [sys.executable, "-m", "harness.cli.main", "verify", "--role", "charger", "reff"],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        check=False,
    )
    assert ended.returncode == 2
    assert "Traceback" not in ended.stderr
    assert "there is no charger 'reff'" in ended.stderr
