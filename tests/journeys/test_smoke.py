"""`smoke`: whether the attachment works, step by step."""

from __future__ import annotations

from tests.journeys.command_line import Fullproof, saboteur


def test_what_works_is_listed(fullproof: Fullproof) -> None:
    ended = fullproof("smoke", "ref")
    assert ended.code == 0
    assert "ok         hello\n" in ended.out
    assert "ok         stop\n" in ended.out
    assert "The attachment works: 10 of 10 steps were tried, none failed." in ended.out
    assert "Next: fullproof verify ref" in ended.out


def test_what_is_wrong_is_explained(fullproof: Fullproof) -> None:
    ended = fullproof("smoke", saboteur("wrong_row_count"))
    assert ended.code == 1
    assert "failed     run with every column\n" in ended.out
    assert "What would be right: " in ended.out
    assert "last line received: " in ended.out
    assert "The attachment does not work: " in ended.out


def test_nothing_that_was_not_tried_counts(fullproof: Fullproof) -> None:
    ended = fullproof("smoke", saboteur("wrong_protocol"))
    assert ended.code == 1
    assert "1 of 10 steps failed" in ended.out
    assert "it needs what failed before: hello" in ended.out
