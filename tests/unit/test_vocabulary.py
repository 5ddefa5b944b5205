"""Words and numbers of stages, causes and events: both are stored, so neither may wander."""

from __future__ import annotations

import pytest

from ctrl.state import HAPPENED_BITS, Event, events_of, numbered
from ctrl.vocabulary import Cause, Happened, Stage, Tripped


def test_stages_have_their_words_and_numbers() -> None:
    words = {stage.word: int(stage) for stage in Stage}
    assert words == {"bulk": 0, "absorption": 1, "float": 2, "inhibited": 3, "equalisation": 4}
    assert [Stage.from_word(word) for word in words] == list(Stage)


@pytest.mark.parametrize("word", ["", "Bulk", "boost", "0"])
def test_word_of_no_stage_is_refused(word: str) -> None:
    with pytest.raises(KeyError):
        Stage.from_word(word)


def test_causes_have_the_words_of_the_rules() -> None:
    assert {cause.word: int(cause) for cause in Cause} == {
        "": 0,
        "discontinuity": 1,
        "low_voltage": 2,
        "low_soc": 3,
        "float_timer": 4,
        "cell_voltage": 5,
        "temperature": 6,
        "no_reading": 7,
        "schedule": 8,
        "request": 9,
        "low_current": 10,
    }


def test_what_happened_and_what_tripped_are_single_bits() -> None:
    assert [int(flag) for flag in Happened] == [1 << k for k in range(12)]
    assert [int(flag) for flag in Tripped] == [1, 2, 4]
    assert HAPPENED_BITS == 4095


@pytest.mark.parametrize("cause", Cause)
@pytest.mark.parametrize("stage", Stage)
def test_news_are_taken_apart_as_they_were_put_together(cause: Cause, stage: Stage) -> None:
    for flag in Happened:
        news = numbered(int(flag), int(cause), stage)
        # They are stored as int32.
        assert 0 < news < 2**31
        (event,) = events_of(news, Stage.FLOAT)
        assert event.name == str(flag.name).lower()
        assert (event.from_stage, event.to_stage) == (stage, Stage.FLOAT)
        with_cause = event.name in (
            "inhibited",
            "hold_abandoned",
            "float_ended",
            "equalisation_started",
            "equalisation_abandoned",
        )
        assert event.cause == (cause.word if with_cause else "")


def test_no_news_are_no_events() -> None:
    assert events_of(0, Stage.FLOAT) == ()


def test_events_of_one_sample_come_in_the_order_of_a_step() -> None:
    happened = Happened.FULL_RESET | Happened.HOLD_EXPIRED | Happened.EMPTY_RESET
    news = numbered(int(happened), 0, Stage.ABSORPTION)
    assert events_of(news, Stage.FLOAT) == tuple(
        Event(name, "", Stage.ABSORPTION, Stage.FLOAT)
        for name in ("empty_reset", "hold_expired", "full_reset")
    )
