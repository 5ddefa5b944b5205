"""`fullproof report`, and the forms and the comparison that `verify` offers as well."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from harness.report.store import read_result
from tests.journeys.command_line import Fullproof, environment, saboteur, zoo

FAULTY = zoo("hold-one-minute-short")
FORMS = ("--html", "--junit", "--markdown", "--json")


def call(folder: Path, *arguments: str, given: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """One command line, with something on its standard input."""
    return subprocess.run(
        [sys.executable, "-m", "harness.cli.main", *arguments],
        cwd=folder,
        env=environment(),
        input=given,
        capture_output=True,
        timeout=120,
        check=False,
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The stored result of a faulty controller, tried on the vectors of one group."""
    folder = tmp_path_factory.mktemp("made")
    ended = call(folder, "verify", FAULTY, "--select", "hold/*", "--json", "stored.json", "--quiet")
    assert ended.returncode == 1
    return (folder / "stored.json").read_text()


@pytest.fixture
def stored(made: str, tmp_path: Path) -> Path:
    """The same in a file of each test's own."""
    (tmp_path / "stored.json").write_text(made)
    return tmp_path / "stored.json"


def test_every_form_made_again_is_the_one_that_verify_made(
    fullproof: Fullproof, tmp_path: Path
) -> None:
    first = [part for form in FORMS for part in (form, f"one{form}")]
    told = fullproof("verify", FAULTY, "--select", "hold/*", *first)
    again = [part for form in FORMS for part in (form, f"two{form}")]
    ended = fullproof("report", "one--json", *again)
    assert (told.code, ended.code) == (1, 1)
    # What is told on the terminal is the same as well.
    assert ended.out == told.out
    for form in FORMS:
        one, two = (tmp_path / f"{name}{form}" for name in ("one", "two"))
        assert one.read_text() == two.read_text()
        assert len(one.read_text()) > 500
    assert "harness.zoo hold-one-minute-short" in (tmp_path / "two--html").read_text()
    assert ET.parse(tmp_path / "two--junit").getroot().get("failures") != "0"


def test_a_stored_result_knows_how_it_was_made(stored: Path) -> None:
    where = read_result(stored).environment
    assert where is not None
    assert where.command.startswith("fullproof verify 'exec:")
    assert where.command.endswith("--select 'hold/*' --json stored.json --quiet")
    assert where.python.startswith("CPython 3.")
    assert set(where.packages) >= {"fullproof", "numpy", "numba"}
    assert where.ended.endswith("+00:00")


def test_it_reads_standard_input_and_writes_standard_output(made: str, tmp_path: Path) -> None:
    ended = call(tmp_path, "report", "-", "--markdown", "-", given=made.encode())
    assert ended.returncode == 1
    assert ended.stdout.decode().startswith("## ❌ example-python with hold-one-minute-short")
    assert b"does not conform" in ended.stderr
    nothing = call(tmp_path, "report", "-")
    assert nothing.returncode == 2
    assert b"standard input:1: is no JSON" in nothing.stderr


def test_limits_come_back_in_the_command_to_see_a_finding_again(fullproof: Fullproof) -> None:
    options = ("--limit-s", "7", "--tolerance-s", "0.5")
    fullproof("verify", FAULTY, "--select", "hold/ends-on-a-sample", *options, "--json", "r.json")
    ended = fullproof("report", "r.json")
    assert "hold/ends-on-a-sample --limit-s 7 --tolerance-s 0.5" in ended.out


def test_a_controller_that_dies_has_its_trace_on_the_page(
    fullproof: Fullproof, tmp_path: Path
) -> None:
    dies = saboteur("crash_mid_run")
    ended = fullproof("verify", dies, "--select", "entry/after-dwell", "--html", "r.html")
    assert ended.code == 1
    page = (tmp_path / "r.html").read_text()
    assert "LINK.stays-alive" in page
    assert "killed by SIGSEGV" in page
    assert ">no answer</text>" in page


def test_a_baseline_tells_only_what_changed(fullproof: Fullproof, stored: Path) -> None:
    same = fullproof("verify", FAULTY, "--select", "hold/*", "--baseline", stored)
    assert same.code == 0
    assert "no finding, outcome or case is different" in same.out
    assert "verdict        nothing got worse" in same.out
    assert "in all         does not conform" in same.out
    assert "HOLD.full-length" not in same.out

    other = zoo("reset-to-almost-one")
    worse = fullproof(
        *("verify", other, "--select", "hold/*", "--baseline", stored),
        *("--markdown", "r.md", "--html", "r.html"),
    )
    assert worse.code == 1
    assert "new: FULL.sets-one in " in worse.out
    assert "gone: HOLD.full-length in " in worse.out
    assert "verdict        worse than before" in worse.out
    folder = stored.parent
    assert "worse than before" in (folder / "r.md").read_text()
    assert '<em class="new">new</em>' in (folder / "r.html").read_text()


def test_two_stored_results_can_be_compared(fullproof: Fullproof, stored: Path) -> None:
    fullproof("verify", "ref", "--select", "hold/*", "--json", "ref.json", "--quiet")
    worse = fullproof("report", stored, "--baseline", "ref.json")
    assert worse.code == 1
    better = fullproof("report", "ref.json", "--baseline", stored)
    assert better.code == 0
    assert "gone: HOLD.full-length" in better.out


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda text: text[: len(text) // 2], "is no JSON"),
        (lambda _: "{}", "is no stored result"),
        (lambda _: "t,v,i\n0,54,1\n", "is no JSON"),
        (lambda text: text.replace('"version": 3', '"version": 1', 1), "version: there is 1"),
        (lambda text: text.replace('"samples":', '"sample":', 1), "excerpts[0]"),
        (lambda text: text.replace('"level": "must"', '"level": "may"', 1), "results[0].level"),
    ],
)
def test_a_file_that_is_no_stored_result_is_refused_by_every_command(
    fullproof: Fullproof, stored: Path, change: object, message: str
) -> None:
    assert callable(change)
    damaged = stored.with_name("damaged.json")
    damaged.write_text(change(stored.read_text()))
    for arguments in (
        ("report", damaged),
        ("report", stored, "--baseline", damaged),
        # Told before the controller is started: this one would hang.
        ("verify", saboteur("hang_at_hello"), "--baseline", damaged),
    ):
        ended = fullproof(*arguments)
        assert ended.code == 2, ended
        assert message in ended.err
        assert "damaged.json" in ended.err
        assert ended.out == ""


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("report", "nowhere.json"), "nowhere.json: cannot be read: No such file or directory"),
        (("report", "."), ".: is a folder; name a result that verify --json wrote"),
        (("report",), "Missing argument"),
        (("report", "nowhere.json", "--html", "no/r.html"), "its folder does not exist"),
        (("report", "nowhere.json", "--html", "-", "--json", "-"), "two results are to go"),
        (
            ("verify", "ref", "--known", "a.toml", "--baseline", "b.json"),
            "--baseline and --known both say what is no news; give one of the two",
        ),
    ],
)
def test_wrong_use_is_told(fullproof: Fullproof, arguments: tuple[str, ...], message: str) -> None:
    ended = fullproof(*arguments)
    assert ended.code == 2
    assert message in ended.err


def test_the_stored_result_says_how_much_there_has_to_be_in_it(stored: Path) -> None:
    document = json.loads(stored.read_text())
    assert document["end"]["complete"] is True
    assert document["end"]["findings"] == sum(len(each["findings"]) for each in document["results"])
    assert document["end"]["excerpts"] == len(document["excerpts"]) > 0
