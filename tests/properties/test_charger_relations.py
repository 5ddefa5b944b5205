"""Runs of the reference charger set beside each other: what may make a difference, and what not."""

from __future__ import annotations

from math import inf, isfinite, nan

from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st

from ctrl.charger import (
    Charger,
    ChargerSample,
    ChargerSettings,
    Conduct,
    Message,
    charger_step,
    start_charger,
)
from tests.properties.charger_known import is_good
from tests.properties.charger_walks import Walk, replayed, run, settings_and_charger_walks

Drawn = tuple[ChargerSettings, Walk]


def without_nonsense(settings: ChargerSettings, sample: ChargerSample) -> ChargerSample:
    """The same sample with everything that cannot be believed left out."""
    (low_v, high_v), most_a = settings.plausible_v, settings.plausible_a

    def volts(read_v: float) -> float:
        return read_v if low_v <= read_v <= high_v else nan

    def amps(read_a: float) -> float:
        return read_a if -most_a <= read_a <= most_a else nan

    messages = [
        evolve(message, pack_v=volts(message.pack_v), pack_a=amps(message.pack_a))
        if is_good(settings, message)
        else Message()
        for message in sample.messages
    ]
    return ChargerSample(sample.t, volts(sample.own_v), amps(sample.own_a), tuple(messages))


@given(settings_and_charger_walks())
def test_what_cannot_be_believed_does_nothing_that_silence_would_not_do(drawn: Drawn) -> None:
    settings, _ = drawn
    for turn in run(*drawn):
        plain, output = charger_step(settings, turn.before, without_nonsense(settings, turn.sample))
        assert output == turn.output
        assert repr(plain) == repr(turn.after)


@given(settings_and_charger_walks())
def test_silence_never_raises_anything_but_what_is_already_asked_for(drawn: Drawn) -> None:
    settings, _ = drawn
    nothing = (Message(),) * settings.packs
    for turn in run(*drawn):
        for sample in (
            evolve(turn.sample, messages=nothing),
            ChargerSample(turn.sample.t, nan, nan, nothing),
        ):
            silent, output = charger_step(settings, turn.before, sample)
            assert silent.compensation_v <= turn.before.compensation_v
            asked_v = min(heard.request_v for heard in turn.before.packs)
            assert silent.base_v <= max(turn.before.base_v, asked_v)
            if silent.conduct is not Conduct.FOLLOWING:
                assert output.limit_a <= turn.before.limit_a
                assert silent.base_v <= turn.before.base_v


@given(settings_and_charger_walks())
def test_own_readings_that_are_missing_never_raise_the_compensation(drawn: Drawn) -> None:
    settings, _ = drawn
    for turn in run(*drawn):
        for lost in (evolve(turn.sample, own_v=nan), evolve(turn.sample, own_a=inf)):
            after, output = charger_step(settings, turn.before, lost)
            assert after.compensation_v <= turn.before.compensation_v
            assert (output.limit_a, output.state) == (turn.output.limit_a, turn.output.state)


@given(settings_and_charger_walks(), st.data())
def test_samples_without_a_stamp_change_nothing(drawn: Drawn, data: st.DataObject) -> None:
    settings, _ = drawn
    turns = run(*drawn)
    samples = [turn.sample for turn in turns]
    where = data.draw(st.integers(0, len(samples)))
    stampless = evolve(samples[0], t=data.draw(st.sampled_from((nan, inf, -inf))))
    said = replayed(settings, [*samples[:where], stampless, *samples[where:]])
    assert said[:where] + said[where + 1 :] == [turn.output for turn in turns]


@given(st.lists(st.tuples(*[st.floats()] * 8), max_size=30))
def test_any_numbers_are_legal_and_give_finite_ones(rows: list[tuple[float, ...]]) -> None:
    charger = Charger(ChargerSettings(steady_s=0.0))
    # Heard at first, so that there is something to spoil.
    charger.step(ChargerSample(0.0, 54.0, 0.0, (Message(56.0, 64.0, 55.5, 32.0, 0.0),)))
    for t, own_v, own_a, *said in rows:
        asked_v, asked_a, pack_v, pack_a, age_s = said
        message = Message(asked_v, asked_a, pack_v, pack_a, age_s)
        output = charger.step(ChargerSample(t, own_v, own_a, (message,)))
        assert 30.0 - 0.5 <= output.set_point_v <= 58.0
        assert 0.0 <= output.limit_a <= 100.0
        # Everything that is not a number is thrown away, not carried along.
        kept = charger.state
        assert all(isfinite(part) for part in (kept.t, kept.base_v, kept.compensation_v))


@given(settings_and_charger_walks(), st.data())
def test_a_run_may_be_cut_anywhere(drawn: Drawn, data: st.DataObject) -> None:
    settings, _ = drawn
    turns = run(*drawn)
    where = data.draw(st.integers(0, len(turns) - 1))
    other = Charger(settings)
    other.state = turns[where].before
    for turn in turns[where:]:
        assert other.step(turn.sample) == turn.output
    other.power_cycle()
    assert [other.step(turn.sample) for turn in turns[where:]] == replayed(
        settings, [turn.sample for turn in turns[where:]]
    )


@given(settings_and_charger_walks(), st.data())
def test_strictest_pack_wins_whatever_the_order_of_the_packs(
    drawn: Drawn, data: st.DataObject
) -> None:
    settings, _ = drawn
    turns = run(*drawn)
    order = data.draw(st.permutations(range(settings.packs)))
    mixed = [
        evolve(turn.sample, messages=tuple(turn.sample.messages[p] for p in order))
        for turn in turns
    ]
    assert replayed(settings, mixed) == [turn.output for turn in turns]


@given(settings_and_charger_walks())
def test_another_pack_never_raises_the_voltage_and_stops_the_current_by_asking_for_none(
    drawn: Drawn,
) -> None:
    settings, _ = drawn
    turns = run(*drawn)
    more = settings.changed(packs=settings.packs + 1)
    alone, both = start_charger(settings), start_charger(more)
    refuses = Message(56.0, 0.0, 56.0, 0.0, 0.0)
    for turn in turns:
        # Without own readings nothing is compensated: base against base.
        sample = evolve(turn.sample, own_v=nan)
        alone, one = charger_step(settings, alone, sample)
        both, two = charger_step(more, both, evolve(sample, messages=(*sample.messages, refuses)))
        assert two.state is one.state
        assert two.set_point_v <= one.set_point_v
        assert two.limit_a == 0.0


@given(settings_and_charger_walks(), st.sampled_from((-1024.0, 4096.0, 2.0**30)))
def test_nothing_depends_on_where_the_clock_began(drawn: Drawn, shift_s: float) -> None:
    settings, walk = drawn
    assert [turn.output for turn in run(settings, walk, shift_s)] == [
        turn.output for turn in run(settings, walk)
    ]
