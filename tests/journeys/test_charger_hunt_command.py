"""`hunt --role charger`: from a charger to the shortest trace that shows what is wrong with it."""

from __future__ import annotations

import json
import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner, Result

from ctrl.charger import ChargerSettings
from harness.charger.vector import read_charger_vector
from harness.cli.hunt import command as hunt_command
from harness.cli.replay import command as replay_command
from harness.errors import InputError
from tests.journeys.command_line import environment

# It raises the current at once, and is right in everything else.
STEPS_UP = """
import time
from math import nan

from ctrl.charger import Charger, ChargerSample, ChargerSettings, Message


def number(value):
    return nan if value is None else value


class StepsUp:
    name, version, role = "steps up", "1", "charger"
    pause_s = 0.0

    def __init__(self, settings):
        open("begun", "a").write("x")
        time.sleep(self.pause_s)
        settings = ChargerSettings.from_mapping(settings)
        self.charger = Charger(settings.changed(raise_a_per_s=1e9))

    def power_cycle(self):
        self.charger.power_cycle()

    def step(self, t, own_v, own_a, packs):
        messages = tuple(
            Message(*(number(p[k]) for k in ("request_v", "request_a", "pack_v", "pack_a", "age_s")))
            for p in packs
        )
        said = self.charger.step(ChargerSample(number(t), number(own_v), number(own_a), messages))
        return {"set_point_v": said.set_point_v, "limit_a": said.limit_a, "state": said.state.word}


class Slow(StepsUp):
    name, pause_s = "slow", 0.02


class Fixed(StepsUp):
    name = "fixed"
    fixed = ChargerSettings(packs=2, raise_a_per_s=4.0).to_mapping()
"""


@pytest.fixture(autouse=True)
def steps_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    (tmp_path / "steps.py").write_text(STEPS_UP, encoding="utf-8")
    return "py:steps.py:StepsUp"


def hunt(*arguments: str) -> Result:
    return CliRunner().invoke(
        hunt_command, ["--role", "charger", *arguments], standalone_mode=False
    )


def again(ended: Result) -> list[str]:
    """The first command that is offered, without the names of the program and of the command."""
    line = next(line for line in ended.stdout.splitlines() if line.split()[:1] == ["again"])
    return shlex.split(line.partition("again")[2])[2:]


def test_the_reference_shows_nothing() -> None:
    ended = hunt("ref", "--traces", "3")
    assert ended.return_value == 0, ended.output
    assert "charger        reference" in ended.stdout
    assert "hunted         3 traces of seed 0 (number 0 to 2)" in ended.stdout
    assert "verdict        conforms, as far as these traces tell" in ended.stdout
    assert "no certificate of safety" in ended.stdout


def test_what_is_wrong_is_found_shortened_saved_drawn_and_replayed(
    steps_up: str, tmp_path: Path
) -> None:
    ended = hunt(
        *(steps_up, "--traces", "2", "--select", "FOLLOW.slope", "--save", "finds"),
        *("--plot", "pictures", "--json", "hunt.json", "--junit", "hunt.xml"),
    )
    assert ended.return_value == 1, ended.output
    assert "FOLLOW.slope (must): what rises does so with a bounded slope" in ended.stdout
    assert re.search(r"limit is [\d.]+ A, more than [\d.]+ A, which is all that", ended.stdout)
    assert re.search(
        r"shortened +from \d+ to [234] samples in \d+ runs of the charger", ended.stdout
    )
    assert "throughout  pack 1: " in ended.stdout
    assert "selected       FOLLOW.slope" in ended.stdout
    heads = next(line for line in ended.stdout.splitlines() if line.split()[:2] == ["t", "in"])
    assert heads.split()[-6:] == ["charger", "V", "A", "reference", "V", "A"]

    vector = read_charger_vector(tmp_path / "finds" / "follow-slope.json")
    assert vector.requirements == ("FOLLOW.slope",)
    assert vector.id == "hunt/follow-slope"
    assert vector.expected is not None
    command = again(ended)
    assert command == ["--role", "charger", steps_up, "finds/follow-slope.json"]
    replayed = CliRunner().invoke(replay_command, command, standalone_mode=False)
    assert replayed.return_value == 1, replayed.output
    assert "FOLLOW.slope" in replayed.stdout
    right = CliRunner().invoke(
        replay_command, ["--role", "charger", "ref", command[-1]], standalone_mode=False
    )
    assert right.return_value == 0, right.output

    picture = (tmp_path / "pictures" / "follow-slope.svg").read_text(encoding="utf-8")
    for word in ("FOLLOW.slope", "asked for", "set-point", "pack 1 reads", "following", "charger"):
        assert word in picture
    document = json.loads((tmp_path / "hunt.json").read_text(encoding="utf-8"))
    (failure,) = [each for each in document["failures"] if each["shortened"]]
    case = failure["shortened"]["case"]
    assert case["role"] == document["result"]["role"] == "charger"
    assert len(case["rows"]) == len(case["expected"]["rows"]) == len(vector.trace)
    tests = ET.parse(tmp_path / "hunt.xml").iter("testcase")
    (broken,) = [test for test in tests if str(test.get("name")).startswith("FOLLOW.slope")]
    assert "<- here" in (broken.findtext("failure") or "")


def test_without_a_file_the_trace_is_hunted_again(steps_up: str) -> None:
    options = ("--set", "raise_a_per_s=2", "--set", "steady_s=3", "--seed", "4")
    ended = hunt(steps_up, "--traces", "2", "--select", "FOLLOW.slope", *options)
    assert ended.return_value == 1, ended.output
    assert "settings    1 pack, steady_s 3.0, raise_a_per_s 2.0\n" in ended.stdout
    command = again(ended)
    assert command[:3] == ["--role", "charger", steps_up]
    assert command[-4:] == ["--set", "raise_a_per_s=2", "--set", "steady_s=3"]
    once = CliRunner().invoke(
        hunt_command, [*command, "--select", "FOLLOW.slope"], standalone_mode=False
    )
    assert once.return_value == 1

    def shown(told: str) -> str:
        return told[told.index("t in s") : told.index("found  ")]

    assert shown(once.stdout) == shown(ended.stdout)


def test_a_charger_with_fixed_settings_is_hunted_with_these() -> None:
    ended = hunt("py:steps.py:Fixed", "--traces", "2", "--select", "FOLLOW.slope")
    assert ended.return_value == 1, ended.output
    assert "settings    2 packs, raise_a_per_s 4.0\n" in ended.stdout
    refused = hunt("py:steps.py:Fixed", "--traces", "2", "--set", "steady_s=3")
    assert isinstance(refused.exception, InputError)
    assert "the settings of fixed are fixed" in str(refused.exception)


def test_known_failures_are_excused(steps_up: str, tmp_path: Path) -> None:
    (tmp_path / "known.toml").write_text(
        '[[known]]\nrequirement = "FOLLOW.slope"\nreason = "told to the maker"\n'
    )
    arguments = (steps_up, "--traces", "1", "--select", "FOLLOW.slope")
    excused = hunt(*arguments, "--known", "known.toml")
    assert excused.return_value == 0, excused.output
    assert "known       told to the maker" in excused.stdout


def test_closed_loops_make_traces_of_their_own(steps_up: str) -> None:
    ended = hunt(
        *(steps_up, "--traces", "1", "--first", "9", "--worlds", "2"),
        *("--select", "STALE.stops", "--select", "FOLLOW.slope"),
    )
    assert ended.return_value == 1, ended.output
    assert "hunted         3 traces" in ended.stdout


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("reff",), "there is no charger 'reff'"),
        (("ref", "--select", "HOLD"), "--select 'HOLD' picks nothing"),
        (("ref", "--select", "sense"), "did you mean SENSE"),
        (("ref", "--set", "hold_s=3"), "there is no setting 'hold_s'"),
        (("ref", "--set", "stale_s=100"), "stale_s < silent_s"),
        (("ref", "--worlds", "1", "--set", "stale_s=3"), "draws settings of its own"),
        (("ref", "--save", "no/finds"), "parent folder does not exist"),
    ],
)
def test_wrong_use_is_told_before_anything_runs(arguments: tuple[str, ...], told: str) -> None:
    ended = hunt(*arguments)
    assert isinstance(ended.exception, InputError)
    assert told in str(ended.exception)
    assert ended.stdout == ""


def test_an_interruption_keeps_what_was_found(tmp_path: Path) -> None:
    command = ["hunt", "--role", "charger", "py:steps.py:Slow", "--select", "FOLLOW.slope"]
    with subprocess.Popen(
        [sys.executable, "-m", "harness.cli.main", *command],
        cwd=tmp_path,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        deadline = time.monotonic() + 120
        while not (tmp_path / "begun").exists() or len((tmp_path / "begun").read_text()) < 4:
            assert time.monotonic() < deadline
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=120)
    assert process.returncode == 130, err
    assert "Stopping after this trace; interrupt again to stop at once." in err
    assert "FOLLOW.slope (must)" in out
    assert "stopped        interrupted by the user, after" in out


def test_the_settings_of_a_saved_vector_can_be_read_again(steps_up: str, tmp_path: Path) -> None:
    ended = hunt(
        *(steps_up, "--traces", "1", "--cells", "8", "--select", "FOLLOW.slope"),
        *("--save", "finds"),
    )
    assert ended.return_value == 1, ended.output
    vector = read_charger_vector(tmp_path / "finds" / "follow-slope.json")
    assert vector.settings == ChargerSettings.for_cells(8)
