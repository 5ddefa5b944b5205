"""What must be true of the reference charger on any trace with any settings."""

from __future__ import annotations

from math import isfinite

from hypothesis import given, seed
from hypothesis import settings as hypothesis_settings

from ctrl.charger import TRANSITIONS, ChargerSettings, Conduct
from tests.properties.charger_known import SLACK_S, Known, is_good, known
from tests.properties.charger_walks import Turn, Walk, run, settings_and_charger_walks

Drawn = tuple[ChargerSettings, Walk]
# Sums on the grid are exact; the compensation is not on it.
HAIR_V = 1e-9


@given(settings_and_charger_walks())
def test_never_above_the_request_plus_the_bound_and_never_above_the_highest(drawn: Drawn) -> None:
    settings, _ = drawn
    turns = run(*drawn)
    for turn, row in zip(turns, known(settings, turns), strict=True):
        output = turn.output
        assert output.set_point_v <= settings.highest_v
        assert output.limit_a <= settings.highest_a
        assert output.set_point_v <= row.asked_v + settings.compensation_v + HAIR_V
        # Without compensation, a lowered request is followed at the very sample that brings it.
        assert turn.after.base_v <= row.asked_v
        assert 0.0 <= output.limit_a <= row.asked_a


@given(settings_and_charger_walks())
def test_stopped_is_no_current_and_fallback_is_little(drawn: Drawn) -> None:
    settings, _ = drawn
    for turn in run(*drawn):
        if turn.output.state is Conduct.FOLLOWING:
            continue
        assert turn.output.set_point_v <= settings.fallback_v
        assert turn.output.limit_a <= settings.fallback_a
        # Nothing rises while the packs are not heard.
        assert turn.after.limit_a <= turn.before.limit_a
        assert turn.after.base_v <= turn.before.base_v
        assert turn.after.compensation_v <= turn.before.compensation_v
        if turn.output.state is Conduct.STOPPED:
            assert turn.output.limit_a == 0.0


@given(settings_and_charger_walks())
def test_set_point_and_limit_rise_by_their_slopes(drawn: Drawn) -> None:
    settings, _ = drawn
    turns = run(*drawn)
    for turn, row in zip(turns, known(settings, turns), strict=True):
        dt = row.dt if isfinite(turn.sample.t) else 0.0
        before, after = turn.before, turn.after
        assert after.base_v <= before.base_v + settings.raise_v_per_s * dt
        assert after.limit_a <= before.limit_a + settings.raise_a_per_s * dt
        rise_v = (settings.raise_v_per_s + settings.compensation_v_per_s) * dt
        set_before_v = min(before.base_v + before.compensation_v, settings.highest_v)
        assert turn.output.set_point_v <= set_before_v + rise_v + HAIR_V


@given(settings_and_charger_walks())
def test_compensation_is_bounded_in_size_and_rate_and_moves_only_in_following(
    drawn: Drawn,
) -> None:
    settings, _ = drawn
    turns = run(*drawn)
    for turn, row in zip(turns, known(settings, turns), strict=True):
        before, after = turn.before, turn.after
        assert abs(after.compensation_v) <= settings.compensation_v
        if before.conduct is after.conduct is Conduct.FOLLOWING:
            most_v = settings.compensation_v_per_s * row.dt + HAIR_V
            assert after.compensation_v <= before.compensation_v + most_v
            at_top = after.compensation_v == settings.highest_v - after.base_v
            assert at_top or after.compensation_v >= before.compensation_v - most_v
        elif after.conduct is Conduct.FOLLOWING:
            assert after.compensation_v <= before.compensation_v
        else:
            assert after.compensation_v == min(before.compensation_v, 0.0)


@given(settings_and_charger_walks())
def test_compensation_rises_only_by_good_readings_below_the_request(drawn: Drawn) -> None:
    settings, _ = drawn
    for turn in run(*drawn):
        if turn.after.compensation_v > turn.before.compensation_v:
            low_v, high_v = settings.plausible_v
            assert all(is_good(settings, message) for message in turn.sample.messages)
            readings_v = [message.pack_v for message in turn.sample.messages]
            assert all(low_v <= reading_v <= high_v for reading_v in readings_v)
            assert max(readings_v) < turn.before.base_v
            assert turn.sample.own_a < turn.before.limit_a


@given(settings_and_charger_walks())
def test_it_follows_only_after_steady_messages_and_falls_back_at_once(drawn: Drawn) -> None:
    settings, _ = drawn
    turns = run(*drawn)
    steady_from: float | None = None
    for turn, row in zip(turns, known(settings, turns), strict=True):
        if not isfinite(turn.sample.t):
            assert turn.after is turn.before
            continue
        # Ages are sums here and differences there: equal up to the last bits of a stamp.
        fresh = row.oldest_s <= settings.stale_s + SLACK_S
        if not row.joined:
            steady_from = None
        steady_from = (turn.sample.t if steady_from is None else steady_from) if fresh else None
        before, now = turn.before.conduct, turn.after.conduct
        if now is Conduct.FOLLOWING:
            assert fresh
            if before is Conduct.FOLLOWING:
                assert row.joined
            else:
                assert steady_from is not None
                assert turn.sample.t - steady_from >= settings.steady_s - SLACK_S
        elif before is Conduct.FOLLOWING:
            assert not fresh or not row.joined
        if row.oldest_s > settings.silent_s + SLACK_S:
            assert now is Conduct.STOPPED
        if before is Conduct.STOPPED:
            assert now is not Conduct.FALLBACK


@given(settings_and_charger_walks())
def test_state_changes_only_along_the_table(drawn: Drawn) -> None:
    for turn in run(*drawn):
        before, now = turn.before.conduct, turn.after.conduct
        assert now is before or now in {row.to for row in TRANSITIONS[before]}


def happenings(settings: ChargerSettings, turn: Turn, row: Known) -> set[str]:
    """What a sample is an example of, in the words of the rules."""
    before, after = turn.before, turn.after
    silent = row.oldest_s > settings.silent_s + SLACK_S
    moved_v = after.compensation_v - before.compensation_v
    following = before.conduct is after.conduct is Conduct.FOLLOWING
    found = {
        f"{before.conduct.word} to {after.conduct.word}": before.conduct is not after.conduct,
        "break in time": before.conduct is Conduct.FOLLOWING and not row.joined and not silent,
        "compensation rises": following and moved_v > 0.0,
        "compensation falls": following and moved_v < 0.0,
        "compensation at its upper bound": 0.0 < settings.compensation_v == after.compensation_v,
        "compensation at its lower bound": 0.0 < settings.compensation_v == -after.compensation_v,
        "positive compensation lost": not following and moved_v < 0.0,
        "negative compensation kept": not following and after.compensation_v < 0.0,
        "set-point at the highest": turn.output.set_point_v == settings.highest_v,
        "limit at the highest": turn.output.limit_a == settings.highest_a,
        "set-point rises": following and after.base_v > before.base_v,
        "request lowered": following and after.base_v < before.base_v,
        "no current asked for": following and turn.output.limit_a == 0.0 < before.limit_a,
        "obeyed downward in fallback": before.conduct is after.conduct is Conduct.FALLBACK
        and after.limit_a < before.limit_a,
    }
    return {words for words, holds in found.items() if holds}


def test_everything_in_the_rules_happens_in_these_traces() -> None:
    seen: set[str] = set()

    @hypothesis_settings(max_examples=400, database=None)
    @given(settings_and_charger_walks())
    def look(drawn: Drawn) -> None:
        turns = run(*drawn)
        for turn, row in zip(turns, known(drawn[0], turns), strict=True):
            if isfinite(turn.sample.t):
                seen.update(happenings(drawn[0], turn, row))

    ways = {f"{of.word} to {row.to.word}" for of, rows in TRANSITIONS.items() for row in rows}
    others = {
        "break in time",
        "compensation rises",
        "compensation falls",
        "compensation at its upper bound",
        "compensation at its lower bound",
        "positive compensation lost",
        "negative compensation kept",
        "set-point at the highest",
        "limit at the highest",
        "set-point rises",
        "request lowered",
        "no current asked for",
        "obeyed downward in fallback",
    }
    # Draws depend on the constants of all modules that are loaded: hence further tries.
    for number in range(5):
        if seen != ways | others:
            seed(number)(look)()
    assert seen == ways | others
