"""`hunt`: from a controller to the shortest trace that shows what is wrong with it."""

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

from tests.journeys.command_line import Ended, Fullproof, environment, saboteur, zoo

EXAMPLE = "py:harness.examples.python.controller:Controller"
SLOW = """
import time
from harness.examples.python.controller import Controller

class Slow(Controller):
    name = "slow"

    def __init__(self, settings, soc):
        super().__init__(settings, soc)
        open("begun", "a").write("x")
        time.sleep(0.02)

    def step(self, *readings):
        answer = super().step(*readings)
        return {**answer, "voltage_request_v": answer["voltage_request_v"] + 0.5}
"""
FIXED = """
from ctrl.settings import Settings
from harness.examples.python.controller import Controller

class Fixed(Controller):
    name = "fixed"
    fixed = Settings(hold_s=20.0).to_mapping()

    def step(self, *readings):
        answer = super().step(*readings)
        return {**answer, "current_request_a": 7.0}
"""


def table(ended: Ended) -> list[list[str]]:
    """The rows of the first table, cell by cell."""
    lines = ended.out.splitlines()
    start = next(k for k, line in enumerate(lines) if line.split()[:3] == ["t", "in", "s"])
    return [line.split() for line in lines[start + 1 : lines.index("", start)]]


def again(ended: Ended) -> list[str]:
    """The first command that is offered, without the name of the program."""
    line = next(line for line in ended.out.splitlines() if line.split()[:1] == ["again"])
    command = shlex.split(line.partition("again")[2])
    assert command[0] == "fullproof"
    return command[1:]


def test_a_controller_that_keeps_the_rules(fullproof: Fullproof) -> None:
    ended = fullproof("hunt", EXAMPLE, "--traces", "40")
    assert ended.code == 0
    assert "hunted         40 traces of seed 0 (number 0 to 39)" in ended.out
    assert "verdict        conforms, as far as these traces tell" in ended.out
    assert "not exercised  no judged trace put it to the test:" in ended.out
    assert "again" not in ended.out


@pytest.mark.parametrize(
    ("fault", "requirement", "traces"),
    [
        ("sag-restart-ignored", "HOLD.sag-restarts", 70),
        ("release-dwell-survives-relapse", "PROTECT.release-held", 20),
        ("return-dwell-tripled", "RETURN.low-voltage", 50),
    ],
)
def test_what_is_wrong_is_found_shortened_saved_and_replayed(
    fullproof: Fullproof, tmp_path: Path, fault: str, requirement: str, traces: int
) -> None:
    ended = fullproof("hunt", zoo(fault), "--traces", str(traces), "--save", "finds")
    assert ended.code == 1
    assert f"{requirement} (must)" in ended.out
    rows = table(ended)
    assert 1 < len(rows) <= 12
    assert sum("<-" in row for row in rows) == 1
    found = re.search(r"found\s+in ([\d,]+) of (\d+) traces, first in hunt/0-\d+", ended.out)
    assert found is not None
    assert found[2] == str(traces)
    name = requirement.lower().replace(".", "-")
    command = again(ended)
    assert command[0] == "replay"
    assert command[-1] == f"finds/{name}.json"
    replayed = fullproof(*command)
    assert replayed.code == 1
    assert requirement in replayed.out
    corrected = fullproof("replay", EXAMPLE, command[-1])
    assert corrected.code == 0
    assert "none broken" in corrected.out
    saved = {f"{name}{ending}" for ending in (".json", ".csv", ".expected.csv")}
    assert {path.name for path in (tmp_path / "finds").iterdir()} == saved


def test_without_a_file_the_trace_is_hunted_again(fullproof: Fullproof) -> None:
    options = ("--set", "hold_s=20", "--tolerance-s", "0.25", "--seed", "2")
    ended = fullproof("hunt", zoo("entry-at-first-touch"), "--traces", "12", *options)
    assert ended.code == 1
    command = again(ended)
    assert command[0] == "hunt"
    assert command[command.index("--traces") + 1] == "1"
    assert command[command.index("--set") + 1] == "hold_s=20"
    assert command[command.index("--tolerance-s") + 1] == "0.25"
    once = fullproof(*command)
    assert once.code == 1
    assert table(once) == table(ended)


def test_the_same_hunt_says_the_same(fullproof: Fullproof) -> None:
    def told() -> str:
        ended = fullproof("hunt", zoo("sag-restart-ignored"), "--traces", "60")
        return re.sub(r"\d+ a second", "", ended.out)

    assert told() == told()


def test_settings_that_are_given_stay(fullproof: Fullproof) -> None:
    ended = fullproof(
        *("hunt", zoo("hold-one-minute-short"), "--traces", "40"),
        *("--set", "hold_s=20", "--set", "entry_dwell_s=1", "--select", "HOLD.full-length"),
    )
    assert ended.code == 1
    assert "settings    16 cells, entry_dwell_s 1.0, hold_s 20.0\n" in ended.out
    assert "selected       HOLD.full-length" in ended.out
    assert "of 1 requirement\n" in ended.out


def test_a_controller_with_fixed_settings(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "fixed.py").write_text(FIXED)
    ended = fullproof("hunt", "py:fixed.py:Fixed", "--traces", "12")
    assert ended.code == 1
    assert "REQUEST.current (must)" in ended.out
    assert "settings    16 cells, hold_s 20.0\n" in ended.out
    refused = fullproof("hunt", "py:fixed.py:Fixed", "--traces", "12", "--set", "hold_s=30")
    assert refused.code == 2
    assert "the settings of fixed are fixed" in refused.err


def test_a_crash_is_a_find_like_any_other(fullproof: Fullproof) -> None:
    ended = fullproof("hunt", saboteur("crash_mid_run"), "--traces", "6", "--save", "finds")
    assert ended.code == 1
    assert "LINK.stays-alive (must)" in ended.out
    assert "killed by SIGSEGV" in ended.out
    assert "about to touch memory that is not there" in ended.out
    assert "in 6 of 6 traces" in ended.out
    assert len(table(ended)) == 1
    replayed = fullproof(*again(ended))
    assert replayed.code == 1
    assert "LINK.stays-alive" in replayed.out


def test_a_controller_that_hangs_is_given_up(fullproof: Fullproof) -> None:
    ended = fullproof("hunt", saboteur("hang_at_run"), "--traces", "50", "--limit-s", "1.5")
    assert ended.code == 1
    assert "LINK.answers (must)" in ended.out
    stopped = "5 traces in a row had no proper answer, after 5 traces"
    assert f"stopped        {stopped}" in ended.out
    assert "--limit-s 1.5" in ended.out


def test_one_that_never_says_who_it_is(fullproof: Fullproof) -> None:
    ended = fullproof("hunt", saboteur("wrong_protocol"), "--traces", "5")
    assert ended.code == 1
    assert "LINK.greets (must)" in ended.out
    assert "controller     unknown, it never said who it is" in ended.out


def test_results_are_written(fullproof: Fullproof, tmp_path: Path) -> None:
    ended = fullproof(
        *("hunt", zoo("sag-restart-ignored"), "--traces", "60"),
        *("--json", "-", "--junit", "hunt.xml", "--plot", "pictures"),
    )
    assert ended.code == 1
    assert "HOLD.sag-restarts (must)" in ended.err
    document = json.loads(ended.out)
    assert document["format"] == "fullproof hunt"
    assert document["end"] == {"failures": 1}
    (failure,) = document["failures"]
    assert failure["requirement"] == "HOLD.sag-restarts"
    assert failure["first_trace"] == 49
    shortened = failure["shortened"]
    assert shortened["confirmed"]
    rows = shortened["case"]["rows"]
    assert 1 < len(rows) <= 12
    assert shortened["index"] == len(rows) - 1
    assert document["result"]["format"] == "fullproof result"
    assert document["result"]["exit_code"] == 1
    tests = {test.get("name"): test for test in ET.parse(tmp_path / "hunt.xml").iter("testcase")}
    broken = next(test for name, test in tests.items() if str(name).startswith("HOLD.sag-restarts"))
    text = broken.findtext("failure") or ""
    assert f"in the trace shortened to {len(rows)} samples:" in text
    assert "<- here" in text
    assert "again: fullproof hunt" in text
    picture = (tmp_path / "pictures" / "hold-sag-restarts.svg").read_text()
    for word in ("HOLD.sag-restarts", "controller", "reference", "entry_v 55.8", "absorption"):
        assert word in picture


def test_several_ways_are_told_where_that_is_asked(fullproof: Fullproof) -> None:
    arguments = ("hunt", zoo("hold-one-minute-short"), "--traces", "16", "--set", "taper_a=5",
                 "--set", "hold_s=10", "--set", "on_unconfirmed=bulk", "--select", "HOLD")  # fmt: skip
    one = fullproof(*arguments)
    assert one.code == 1
    assert one.out.count("HOLD.full-length (must)") == 1
    assert "other ways in which these requirements were broken" in one.out
    several = fullproof(*arguments, "--findings", "5")
    assert several.out.count("HOLD.full-length (must)") > 1
    assert "other ways" not in several.out


def test_known_failures_are_excused_and_must_still_be_there(
    fullproof: Fullproof, tmp_path: Path
) -> None:
    def known(requirement: str, vector: str = "") -> None:
        where = f'vector = "{vector}"\n' if vector else ""
        (tmp_path / "known.toml").write_text(
            f'[[known]]\nrequirement = "{requirement}"\n{where}reason = "told to the maker"\n'
        )

    arguments = ("hunt", zoo("sag-restart-ignored"), "--traces", "60", "--known", "known.toml")
    known("HOLD.sag-restarts")
    excused = fullproof(*arguments)
    assert excused.code == 0
    assert "known       told to the maker" in excused.out
    assert "conforms, but for known failures, as far as these traces tell" in excused.out
    # What is known of a vector says nothing of other traces.
    known("HOLD.sag-restarts", "hold/sag-runs-on")
    assert fullproof(*arguments).code == 1
    known("HOLD.ends")
    passes = fullproof(*arguments, "--select", "HOLD.ends")
    assert passes.code == 0
    passes = fullproof("hunt", EXAMPLE, "--traces", "40", "--known", "known.toml")
    assert passes.code == 1
    assert "passes now, take it out of the list" in passes.out
    assert "conforms, but the list of known failures is out of date (1 entry)" in passes.out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "Missing argument 'CONTROLLER'"),
        (("ref", "--traces", "0"), "--traces"),
        (("ref", "--seconds", "nan"), "not a finite number"),
        (("ref", "--select", "hold/*"), "--select 'hold/*' picks nothing"),
        (("ref", "--set", "hold_s=-1"), "hold_s is -1"),
        (("ref", "--known", "none.toml"), "none.toml"),
        (("ref", "--save", "no/finds"), "parent folder does not exist"),
        (("ref", "--save", "taken"), "is no folder"),
        (("ref", "--plot", "pic.bmp"), "it must end in .png or .svg, or be a folder"),
        (("ref", "--json", "no/h.json"), "its folder does not exist"),
        (("ref", "--json", "-", "--junit", "-"), "two results"),
        (("exec:./nobody",), "cannot run"),
    ],
)
def test_bad_options_are_told_before_anything_runs(
    fullproof: Fullproof, tmp_path: Path, arguments: tuple[str, ...], told: str
) -> None:
    (tmp_path / "taken").write_text("")
    ended = fullproof("hunt", *arguments)
    assert ended.code == 2
    assert told in ended.err
    assert ended.out == ""


def test_the_time_ends_it(fullproof: Fullproof) -> None:
    ended = fullproof("hunt", EXAMPLE, "--seconds", "1")
    assert ended.code == 0
    assert re.search(r"hunted         [\d,]+ traces? of seed 0", ended.out)


def test_an_interruption_keeps_what_was_found(tmp_path: Path) -> None:
    (tmp_path / "slow.py").write_text(SLOW)
    command = ["hunt", "py:slow.py:Slow", "--json", "hunt.json", "--select", "REQUEST.voltage"]
    with subprocess.Popen(
        [sys.executable, "-m", "harness.cli.main", *command],
        cwd=tmp_path,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        deadline = time.monotonic() + 60
        while not (tmp_path / "begun").exists() or len((tmp_path / "begun").read_text()) < 5:
            assert time.monotonic() < deadline
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Stopping after this trace; interrupt again to stop at once." in err
    assert "REQUEST.voltage (must)" in out
    assert "stopped        interrupted by the user, after" in out
    document = json.loads((tmp_path / "hunt.json").read_text())
    assert document["traces"] < 2000
    assert [each["requirement"] for each in document["failures"]] == ["REQUEST.voltage"] * len(
        document["failures"]
    )
    assert document["failures"]


def test_worlds_make_traces_of_their_own(fullproof: Fullproof) -> None:
    ended = fullproof("hunt", zoo("sag-restart-ignored"), "--traces", "1", "--worlds", "30")
    assert ended.code == 1
    assert "HOLD.sag-restarts" in ended.out
    assert re.search(r"first in hunt/0-world-\d+", ended.out)
    again = re.search(r"again +fullproof (hunt .+ --traces 1 --worlds \d+)", ended.out)
    assert again is not None
    refused = fullproof("hunt", "ref", "--worlds", "3", "--set", "hold_s=60")
    assert refused.code == 2
    assert "draws settings of its own" in refused.err
