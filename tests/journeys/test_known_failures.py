"""Known failures: excused where they are named, a failure where the list is out of date."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.errors import InputError
from harness.report.known import Entry, read_known, to_toml
from harness.run import Finding
from tests.journeys.command_line import Fullproof, zoo

KNOWN = """
[[known]]
requirement = "FULL.sets-one"
reason = "the count stops at 0.999 until release 2.4"
"""
SELECTION = ("--select", "FULL.sets-one", "--select", "hold/sag-runs-on")


def test_a_known_failure_is_excused_and_told(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "known.toml").write_text(KNOWN)
    ended = fullproof("verify", zoo("reset-to-almost-one"), *SELECTION, "--known", "known.toml")
    assert ended.code == 0
    assert "known failure  FULL.sets-one" in ended.out
    assert "known failure: FULL.sets-one in every vector: excused" in ended.out
    assert "until release 2.4" in ended.out
    assert "verdict        conforms, but for known failures, as far as it was tried" in ended.out


def test_any_other_failure_is_not_excused(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "known.toml").write_text(KNOWN.replace("FULL.sets-one", "SOC.no-jump"))
    ended = fullproof(
        *("verify", zoo("reset-to-almost-one"), "--select", "hold/sag-runs-on", "--quiet"),
        *("--known", "known.toml"),
    )
    assert ended.code == 1
    assert "FULL.sets-one (must)" in ended.out


def test_an_entry_that_passes_is_a_failure(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "known.toml").write_text(KNOWN)
    ended = fullproof("verify", "ref", "--quiet", "--known", "known.toml")
    assert ended.code == 1
    told = " ".join(ended.out.split())
    assert "FULL.sets-one in every vector: passes now, take it out of the list" in told
    assert "conforms, but the list of known failures is out of date (1 entry)" in ended.out


def test_an_entry_that_is_never_judged_is_a_failure(fullproof: Fullproof, tmp_path: Path) -> None:
    entry = KNOWN.replace("FULL.sets-one", "HOLD.sag-pauses") + 'vector = "entry/after-dwell"\n'
    (tmp_path / "known.toml").write_text(entry)
    ended = fullproof("verify", "ref", "--quiet", "--known", "known.toml")
    assert ended.code == 1
    told = " ".join(ended.out.split())
    assert "HOLD.sag-pauses in entry/after-dwell: was never judged" in told


def test_a_run_of_a_part_says_nothing_about_entries_outside_it(
    fullproof: Fullproof, tmp_path: Path
) -> None:
    (tmp_path / "known.toml").write_text(KNOWN + 'vector = "hold/sag-pauses"\n')
    ended = fullproof(
        *("verify", "ref", "--select", "entry/*", "--quiet", "--known", "known.toml"),
    )
    assert ended.code == 0
    assert "no part of this run" in ended.out


def test_the_list_that_verify_writes_excuses_everything(
    fullproof: Fullproof, tmp_path: Path
) -> None:
    controller = zoo("hold-one-minute-short")
    first = fullproof("verify", controller, "--quiet", "--write-known", "known.toml")
    assert first.code == 1
    assert 'reason = "not explained yet"' in (tmp_path / "known.toml").read_text()
    second = fullproof("verify", controller, "--quiet", "--known", "known.toml")
    assert second.code == 0
    assert "conforms, but for known failures" in second.out


def test_reasons_that_are_there_are_kept() -> None:
    findings = [
        Finding("HOLD.ends", case, 1.0, 1, "", "", 0.0, "", "late")
        for case in ("hold/a", "hold/a", "hold/b")
    ]
    text = to_toml(findings, [Entry("HOLD.ends", "hold/a", 'a "quoted" reason\nof two lines')])
    assert text.count("[[known]]") == 2
    assert 'reason = "a \\"quoted\\" reason\\nof two lines"' in text
    assert 'reason = "not explained yet"' in text


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    entries = (
        Entry("HOLD.ends", "hold/a", 'a "quoted" reason\nwith \\ and \x7f'),
        Entry("HOLD.ends", "hold/b", "größer"),
    )
    findings = [
        Finding(entry.requirement, entry.vector, 1.0, 1, "", "", 0.0, "", "") for entry in entries
    ]
    path = tmp_path / "known.toml"
    path.write_text(to_toml(findings, entries), encoding="utf-8")
    assert read_known(path, ["HOLD.ends"], ["hold/a", "hold/b"]) == entries


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("known = 3", "known is no list of tables; write [[known]]"),
        ("[[knwon]]\n", "there is 'knwon'"),
        (KNOWN.replace("requirement", "requirment"), "'requirment'; did you mean 'requirement'?"),
        (KNOWN.replace("sets-one", "set-one"), "did you mean 'FULL.sets-one'?"),
        (KNOWN + 'vector = "hold/sag-run-on"', "did you mean 'hold/sag-runs-on'?"),
        (KNOWN.replace("the count stops at 0.999 until release 2.4", " "), "it must be text, not"),
        (KNOWN + KNOWN, "entry 2: FULL.sets-one stands there twice"),
        ('[[known]]\nreason = "why"', "entry 1: requirement is missing"),
        ('[[known]]\nrequirement = "FULL.sets-one"', "entry 1: reason is missing"),
        ("[[known]\n", "at the end of an array declaration; it should look like [[known]]"),
    ],
)
def test_a_list_that_is_wrong_is_refused_with_its_place(
    tmp_path: Path, text: str, message: str
) -> None:
    path = tmp_path / "known.toml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_known(path, ["FULL.sets-one"], ["hold/sag-runs-on"])
    assert str(path) in str(caught.value)
    assert message in str(caught.value)


def test_a_list_that_is_wrong_ends_with_2(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "known.toml").write_text(KNOWN.replace("FULL", "FOOL"))
    ended = fullproof("verify", "ref", "--known", "known.toml")
    assert ended.code == 2
    assert "known.toml:3: entry 1: there is no requirement 'FOOL.sets-one'" in ended.err
