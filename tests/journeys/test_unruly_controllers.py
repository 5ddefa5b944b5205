"""A controller that dies, hangs or floods: a finding about the link, and the run goes on."""

from __future__ import annotations

import pytest

from tests.journeys.command_line import Fullproof, saboteur

TWO = ("--select", "entry/after-dwell", "--select", "hold/sag-runs-on")


@pytest.mark.parametrize(
    ("name", "requirement", "sentence"),
    [
        ("crash_mid_run", "LINK.stays-alive", "killed by SIGSEGV"),
        ("exit_mid_run", "LINK.stays-alive", "The program ended without an answer"),
        ("hang_at_run", "LINK.answers", "within 0.4 s"),
        ("endless_line", "LINK.answers", "a line that does not end"),
        ("not_json", "LINK.answers", "is not JSON"),
        ("wrong_seq", "LINK.sequence", "it must repeat seq"),
        ("wrong_row_count", "LINK.rows", "rows"),
    ],
)
def test_it_is_found_in_each_case(
    fullproof: Fullproof, name: str, requirement: str, sentence: str
) -> None:
    ended = fullproof("verify", saboteur(name), *TWO, "--limit-s", "0.4", "--quiet")
    assert ended.code == 1
    assert f"{requirement} (must)" in ended.out
    assert sentence in " ".join(ended.out.split())
    assert f"broken         {requirement} (2)" in ended.out
    assert "1. entry/after-dwell" in ended.out
    assert "2. hold/sag-runs-on" in ended.out


def test_standard_error_is_kept_and_is_no_failure_by_itself(fullproof: Fullproof) -> None:
    ended = fullproof("verify", saboteur("stderr_flood"), *TWO, "--quiet")
    assert ended.code == 0
    ended = fullproof("verify", saboteur("crash_mid_run"), *TWO, "--quiet")
    assert "standard error: about to touch memory that is not there" in ended.out


def test_a_finding_about_the_link_is_shown_again_by_the_command_that_can(
    fullproof: Fullproof,
) -> None:
    ended = fullproof(
        "verify", saboteur("depends_on_cuts"), "--select", "LINK", "--select", "link/*", "--quiet"
    )
    assert ended.code == 1
    commands = [line for line in ended.out.splitlines() if line.startswith("     again")]
    assert any("fullproof verify" in line and "--select link/" in line for line in commands)


def test_replay_tells_it_too(fullproof: Fullproof) -> None:
    ended = fullproof("replay", saboteur("crash_mid_run"), "hold/sag-runs-on")
    assert ended.code == 1
    assert "LINK.stays-alive (must): it does not die" in ended.out


def test_a_python_class_that_raises_does_not_end_the_run(fullproof: Fullproof) -> None:
    ended = fullproof("verify", "py:decimal:Decimal", "--quiet")
    assert ended.code == 1
    assert "LINK.greets (must): it says who it is" in ended.out
