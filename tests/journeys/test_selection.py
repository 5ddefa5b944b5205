"""`--select`: what is judged, and what happens when nothing is."""

from __future__ import annotations

import pytest

from harness.cli.selection import selection
from harness.errors import InputError
from tests.journeys.command_line import Fullproof, saboteur, zoo

VECTORS = ("entry/after-dwell", "hold/sag-pauses", "hold/sag-runs-on")


def test_nothing_selected_is_everything() -> None:
    chosen = selection((), VECTORS)
    assert chosen.vectors == VECTORS
    assert {"HOLD.ends", "LINK.greets", "SOC.counts"} <= chosen.requirements


def test_a_group_picks_its_requirements_and_all_vectors() -> None:
    chosen = selection(("POWER",), VECTORS)
    assert chosen.requirements == {"POWER.starts-in-bulk", "POWER.keeps-soc", "POWER.forgets"}
    assert chosen.vectors == VECTORS


def test_patterns_add_up() -> None:
    chosen = selection(("HOLD.sag-p*", "POWER.keeps-soc", "hold/*"), VECTORS)
    assert chosen.requirements == {"HOLD.sag-pauses", "POWER.keeps-soc"}
    assert chosen.vectors == ("hold/sag-pauses", "hold/sag-runs-on")


def test_answering_is_judged_whatever_is_selected() -> None:
    assert "LINK.stays-alive" in selection(("POWER",), VECTORS).judged


@pytest.mark.parametrize(
    ("pattern", "hint"),
    [
        ("HOLD.sag-pause", "did you mean 'HOLD.sag-pauses'?"),
        ("hold/sag-run-on", "did you mean 'hold/sag-runs-on'?"),
        ("hold", "did you mean HOLD, the requirements, or hold/*, the vectors?"),
        ("zzz", "groups are ENTRY, HOLD,"),
        ("HOLD.x*", "picks nothing"),
    ],
)
def test_a_pattern_that_picks_nothing_is_an_error(pattern: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        selection((pattern,), VECTORS)
    assert f"--select {pattern!r} picks nothing" in str(caught.value)
    assert hint in str(caught.value)


def test_a_selection_that_picks_nothing_ends_with_2(fullproof: Fullproof) -> None:
    ended = fullproof("verify", "ref", "--select", "HOLD", "--select", "HOLT")
    assert ended.code == 2
    assert ended.err == ("fullproof: --select 'HOLT' picks nothing; did you mean 'HOLD'?\n")


def test_a_requirement_has_one_outcome_however_it_was_selected(fullproof: Fullproof) -> None:
    # What it breaks shows in vectors about other things as well.
    ended = fullproof("verify", zoo("reset-to-almost-one"), "--select", "FULL.sets-one", "--quiet")
    assert ended.code == 1
    assert "1 fail, of 1 requirement\n" in ended.out


def test_a_crash_is_found_whatever_is_selected(fullproof: Fullproof) -> None:
    ended = fullproof(
        *("verify", saboteur("crash_mid_run"), "--quiet"),
        *("--select", "POWER", "--select", "entry/*"),
    )
    assert ended.code == 1
    assert "LINK.stays-alive (must)" in ended.out
