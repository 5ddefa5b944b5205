"""When a charger stops, follows and falls back: point 4 of its rules, by hand."""

from __future__ import annotations

import pytest

from ctrl.charger import TRANSITIONS, Conduct, Way
from tests.unit.charger_told import FOLLOWS, ONE, QUIET, after, asks, at, done, follows, states

TWO = ONE.changed(packs=2)


def test_before_any_message_it_is_stopped_however_long() -> None:
    said = done(ONE, *(at(t, QUIET) for t in (0.0, 10.0, 1000.0)))
    assert said == [("stopped", 54.0, 0.0)] * 3


def test_it_follows_after_steady_messages() -> None:
    stamps = [0.0, 4.0, 9.9, 10.0, 11.0]
    assert states(ONE, *(at(t, asks()) for t in stamps)) == ["stopped"] * 3 + ["following"] * 2


def test_steady_means_fresh_at_every_sample() -> None:
    # Silent from 1 s on: old at 7 s, so the dwell begins anew at 8 s.
    stamps = [0.0, 1.0, 7.0, 8.0, 10.0, 17.9, 18.0]
    samples = [at(t, QUIET if t == 7.0 else asks()) for t in stamps]
    assert states(ONE, *samples) == ["stopped"] * 6 + ["following"]


def test_with_no_dwell_one_message_is_enough() -> None:
    assert states(ONE.changed(steady_s=0), at(0.0, QUIET), at(1.0, asks())) == [
        "stopped",
        "following",
    ]


def test_every_pack_must_be_heard() -> None:
    stamps = [0.0, 5.0, 10.0, 15.0, 20.0]
    samples = [at(t, asks(), asks() if t >= 10.0 else QUIET) for t in stamps]
    assert states(TWO, *samples) == ["stopped"] * 4 + ["following"]


@pytest.mark.parametrize(
    ("t", "state"),
    [(105.0, "following"), (105.0 + 5e-10, "following"), (105.01, "fallback")],
)
def test_an_old_message_leads_to_fallback(t: float, state: str) -> None:
    assert after(at(t, QUIET))[1].state.word == state


def test_longer_silence_leads_to_a_stop() -> None:
    state, words = FOLLOWS, []
    for t in (105.0, 106.0, 115.0, 125.0, 135.0, 145.0, 155.0, 160.0, 160.1):
        state, output = after(at(t, QUIET), state)
        words.append(output.state.word)
    assert words == ["following"] + ["fallback"] * 7 + ["stopped"]


def test_one_silent_pack_of_two_is_enough() -> None:
    both = follows(packs=FOLLOWS.packs * 2)
    state, output = after(at(106.0, asks(), QUIET), both, TWO)
    assert output.state is Conduct.FALLBACK
    assert after(at(160.5, asks(), QUIET), state, TWO)[1].state is Conduct.STOPPED


def test_silence_stops_a_charger_that_follows_even_over_a_gap() -> None:
    assert after(at(161.0, QUIET))[1].state is Conduct.STOPPED
    assert after(at(161.0, asks()))[1].state is Conduct.FALLBACK


def test_stopped_never_falls_back() -> None:
    # Fresh for 9 s, then old, then a break in time.
    rows = [(0.0, True), (9.0, True), (14.1, False), (20.0, False), (30.0, True), (15.0, True)]
    samples = [at(t, asks() if good else QUIET) for t, good in rows]
    assert done(ONE, *samples) == [("stopped", 54.0, 0.0)] * 6


def test_fallback_needs_steady_messages_too() -> None:
    state, words = after(at(106.0, QUIET))[0], []
    for t in (107.0, 112.0, 116.9, 117.0):
        state, output = after(at(t, asks()), state)
        words.append(output.state.word)
    assert words == ["fallback"] * 3 + ["following"]


def test_break_in_time_leads_to_fallback_even_without_a_dwell() -> None:
    at_once = ONE.changed(steady_s=0)
    state, output = after(at(111.0, asks()), FOLLOWS, at_once)
    assert output.state is Conduct.FALLBACK
    assert after(at(112.0, asks()), state, at_once)[1].state is Conduct.FOLLOWING


def test_table_has_every_state_and_every_way() -> None:
    assert list(TRANSITIONS) == list(Conduct)
    assert {row.way for rows in TRANSITIONS.values() for row in rows} == set(Way)
    ways = {(of.word, row.to.word) for of, rows in TRANSITIONS.items() for row in rows}
    assert ways == {
        ("stopped", "following"),
        ("following", "fallback"),
        ("following", "stopped"),
        ("fallback", "following"),
        ("fallback", "stopped"),
    }


def test_words_are_read_back() -> None:
    assert [conduct.word for conduct in Conduct] == ["stopped", "fallback", "following"]
    assert [Conduct.from_word(conduct.word) for conduct in Conduct] == list(Conduct)
    with pytest.raises(KeyError):
        Conduct.from_word("idle")
