"""The pytest front as a firmware repository uses it: a folder without any Python of its own."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from attrs import frozen

from harness.cases import shipped
from tests.journeys.command_line import environment, saboteur, zoo

HOLD = zoo("hold-one-minute-short")
# A few vectors that this fault fails, and some that it passes.
SOME = tuple(
    word
    for name in ("hold/sag-runs-on", "entry/after-dwell", "entry/exact-voltage")
    for word in ("--fullproof-select", name)
)
NO_HUNT = ("--fullproof-hunt", "0")


@frozen
class Ended:
    """How a session ended."""

    code: int
    out: str

    def counts(self) -> dict[str, int]:
        """The last line in numbers."""
        words = re.findall(r"(\d+) (\w+)", self.out.strip().splitlines()[-1])
        return {word: int(number) for number, word in words if word != "s"}


Pytest = Callable[..., Ended]


@pytest.fixture
def session(tmp_path: Path) -> Pytest:
    """Runs pytest in an empty folder."""

    def run(*arguments: str, files: Mapping[str, str] | None = None) -> Ended:
        for name, text in (files or {}).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        ended = subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *arguments],
            cwd=tmp_path,
            env=environment() | {"COLUMNS": "100"},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        return Ended(ended.returncode, ended.stdout + ended.stderr)

    return run


def test_without_a_controller_nothing_is_added(session: Pytest) -> None:
    ended = session()
    assert ended.code == 5
    assert "fullproof" not in ended.out.replace("fullproof-", "")


def test_every_vector_is_a_test_and_a_controller_that_conforms_passes(session: Pytest) -> None:
    ended = session("--fullproof-controller", "ref", "--fullproof-hunt", "30", "-q")
    assert ended.code == 0, ended.out
    assert ended.counts()["passed"] == len(shipped()) + 2
    listed = session("--fullproof-controller", "ref", "--collect-only", "-q").out.splitlines()
    assert {f"fullproof::{vector.id}" for vector in shipped()} <= set(listed)
    assert {"fullproof::hunt", "fullproof::stops-when-told"} <= set(listed)


def test_a_failure_says_what_is_broken_and_how_to_see_it_again(session: Pytest) -> None:
    ended = session("--fullproof-controller", HOLD, *SOME, *NO_HUNT, "-q")
    assert ended.code == 1
    assert ended.counts()["failed"] == 1
    assert "HOLD.sag-runs-on (must)" in ended.out
    assert "too early: the hold timer (on_sag run)" in ended.out
    assert re.search(r"float, full reset +absorption +<- here", ended.out)
    again = re.search(r"again +(fullproof replay .+ hold/sag-runs-on)", ended.out)
    assert again is not None
    assert "Traceback" not in ended.out
    shown = subprocess.run(
        [sys.executable, "-m", "harness.cli.main", "replay", HOLD, "hold/sag-runs-on"],
        capture_output=True,
        text=True,
        check=False,
        env=environment(),
    )
    assert shown.returncode == 1
    assert "HOLD.sag-runs-on" in shown.stdout


def test_names_markers_and_two_processes_choose(session: Pytest) -> None:
    base = ("--fullproof-controller", HOLD, *NO_HUNT, "-q")
    one = session(*base, "-k", "sag-runs-on and not other")
    assert one.code == 1
    assert sum(one.counts()[word] for word in ("failed", "passed") if word in one.counts()) < 5
    by_marker = session(*base, "-m", "SOC.ceiling", "-n", "2")
    about = [vector for vector in shipped() if "SOC.ceiling" in vector.requirements]
    counts = by_marker.counts()
    assert counts.get("failed", 0) + counts.get("passed", 0) == len(about) > 1
    strict = session(*base, "-m", "SOC.ceiling", "--strict-markers", "--collect-only")
    assert strict.code == 0
    assert "HOLD.full-length" in session("--fullproof-controller", "ref", "--markers").out


def test_junit_has_the_requirements(session: Pytest, tmp_path: Path) -> None:
    session("--fullproof-controller", HOLD, *SOME, *NO_HUNT, "--junitxml", "out.xml")
    tests = {
        test.get("name"): {p.get("name"): p.get("value") for p in test.iter("property")}
        for test in ET.parse(tmp_path / "out.xml").iter("testcase")
    }
    failing = tests["hold/sag-runs-on"]
    assert failing["controller"] == HOLD
    assert failing["broken"] == "HOLD.sag-runs-on"
    vector = next(vector for vector in shipped() if vector.id == "hold/sag-runs-on")
    assert (failing["requirements"] or "").split() == list(vector.requirements)
    assert "broken" not in tests["entry/after-dwell"]


KNOWN = """
[[known]]
requirement = "HOLD.sag-runs-on"
vector = "hold/sag-runs-on"
reason = "the timer of release 2.3 is short"
"""


def test_a_known_failure_is_expected_and_must_happen(session: Pytest) -> None:
    known = ("--fullproof-known", "known.toml", *SOME, *NO_HUNT, "-q", "-rx")
    files = {"known.toml": KNOWN}
    ended = session("--fullproof-controller", HOLD, *known, files=files)
    assert ended.code == 0, ended.out
    assert ended.counts()["xfailed"] == 1
    assert "the timer of release 2.3 is short" in ended.out
    passing = session("--fullproof-controller", "ref", *known, files=files)
    assert passing.code == 1
    assert "HOLD.sag-runs-on in hold/sag-runs-on passes now" in passing.out


def test_a_controller_that_cannot_be_reached_is_no_known_failure(session: Pytest) -> None:
    known = ("--fullproof-known", "known.toml", *SOME, *NO_HUNT, "-q")
    ended = session("--fullproof-controller", "exec:false", *known, files={"known.toml": KNOWN})
    assert ended.code == 1
    assert "xfailed" not in ended.counts()
    assert "LINK.stays-alive" in ended.out


def test_the_hunt_shortens_and_saves_what_it_finds(session: Pytest, tmp_path: Path) -> None:
    hunt = ("-k", "hunt", "-q", "--fullproof-hunt", "60", "--fullproof-save", "finds")
    ended = session("--fullproof-controller", HOLD, *hunt)
    assert ended.code == 1
    rows = re.search(r"reference\n(.+?)\n\n", ended.out, re.DOTALL)
    assert rows is not None
    assert len(rows.group(1).splitlines()) <= 12
    (saved,) = (tmp_path / "finds").glob("*.json")
    assert re.search(rf"again +fullproof replay .+ {re.escape(str(saved))}", ended.out)
    other = session("--fullproof-controller", HOLD, *hunt)
    assert [path.name for path in (tmp_path / "finds").glob("*.json")] == [saved.name]
    assert rows.group(1) in other.out


def test_the_hunt_passes_over_what_is_known(session: Pytest) -> None:
    text = "".join(
        f'[[known]]\nrequirement = "{name}"\nreason = "short"\n'
        for name in ("HOLD.full-length", "HOLD.sag-runs-on", "HOLD.sag-pauses", "HOLD.sag-restarts",
                     "HOLD.ends", "FULL.confirmed", "FULL.denied", "FULL.granted", "FULL.wait")
    )  # fmt: skip
    known = ("--fullproof-known", "known.toml", "-k", "hunt", "--fullproof-hunt", "25", "-q")
    ended = session("--fullproof-controller", HOLD, *known, files={"known.toml": text})
    assert ended.code == 0, ended.out


def test_a_silent_controller_is_waited_for_once(session: Pytest) -> None:
    limit = ("--fullproof-limit-s", "3", "-k", "hunt", "-q")
    ended = session("--fullproof-controller", saboteur("hang_at_run"), *limit)
    assert ended.code == 1
    assert "LINK.answers" in ended.out
    assert "within 3 s" in ended.out
    assert "1 failed" in ended.out


def test_the_settings_file_of_pytest_names_the_controller(session: Pytest) -> None:
    own = (
        "[pytest]\nfullproof_controller = ref\nfullproof_hunt = 0\nfullproof_select =\n  entry/*\n"
    )
    ended = session("-q", files={"pytest.ini": own})
    assert ended.code == 0
    entry = [vector for vector in shipped() if vector.id.startswith("entry/")]
    assert ended.counts()["passed"] == len(entry) + 1


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--fullproof-controller", "exec:./nothing"), "there is no such file"),
        (("--fullproof-controller", "nothing"), "there is no controller 'nothing'"),
        (("--fullproof-controller", "ref", "--fullproof-known", "no.toml"), "no.toml"),
        (("--fullproof-controller", "ref", "--fullproof-select", "HOLD.ful"), "picks nothing"),
        (("--fullproof-controller", "ref", "--fullproof-hunt", "-1"), "0 or more"),
        (("--fullproof-controller", "ref", "--fullproof-limit-s", "0"), "greater than 0"),
    ],
)
def test_wrong_use_is_told_in_a_line(
    session: Pytest, arguments: tuple[str, ...], told: str
) -> None:
    ended = session(*arguments)
    assert ended.code == 4
    assert told in ended.out
    assert "Traceback" not in ended.out
