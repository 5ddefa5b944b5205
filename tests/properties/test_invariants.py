"""What must be true of the reference on any trace with any settings."""

from __future__ import annotations

from math import isfinite

from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st

from ctrl.controller import Output, start, step
from ctrl.resets import RESET_RULES
from ctrl.settings import Settings
from ctrl.state import Sample
from ctrl.vocabulary import Stage
from tests.properties.generated import Walk, settings_and_walks
from tests.properties.walking import outputs


def valid(settings: Settings, sample: Sample) -> bool:
    (low_v, high_v), (low_a, high_a) = settings.plausible_v, settings.plausible_i
    return isfinite(sample.t) and low_v <= sample.v <= high_v and low_a <= sample.i <= high_a


def names(output: Output) -> set[str]:
    return {event.name for event in output.events}


@given(settings_and_walks(), st.sampled_from(sorted(RESET_RULES)))
def test_count_stays_a_fraction_by_every_rule(drawn: tuple[Settings, Walk], rule: str) -> None:
    said, _ = outputs(*drawn, RESET_RULES[rule])
    assert all(0.0 <= output.soc <= 1.0 for output in said)


@given(settings_and_walks())
def test_full_reset_sets_the_count_to_exactly_one_and_leads_from_absorption_to_float(
    drawn: tuple[Settings, Walk],
) -> None:
    for output in outputs(*drawn)[0]:
        if output.full_reset:
            assert output.soc == 1.0
            assert output.stage is Stage.FLOAT
            assert {event.from_stage for event in output.events} == {Stage.ABSORPTION}
            assert "full_reset" in names(output)


@given(settings_and_walks())
def test_at_most_one_full_reset_a_hold(drawn: tuple[Settings, Walk]) -> None:
    settings, walk = drawn
    holding = expired = False
    for k, output in enumerate(outputs(settings, walk)[0]):
        if k in walk.power_cycles:
            holding = expired = False
        happened = names(output)
        if "hold_started" in happened:
            holding, expired = True, False
        expired = expired or "hold_expired" in happened
        if output.full_reset:
            assert holding
            assert expired
            holding = False
        if output.stage is not Stage.ABSORPTION:
            holding = False


@given(settings_and_walks())
def test_only_a_reset_takes_the_count_over_the_ceiling_and_only_counting_or_empty_down(
    drawn: tuple[Settings, Walk],
) -> None:
    settings, walk = drawn
    before = walk.soc
    for sample, output in zip(walk.samples, outputs(settings, walk)[0], strict=True):
        happened = names(output)
        if not output.full_reset:
            assert output.soc <= max(before, settings.soc_ceiling)
        if "empty_reset" in happened:
            assert output.soc == (1.0 if output.full_reset else 0.0)
        elif not valid(settings, sample):
            assert output.soc == before
        elif not output.full_reset:
            # The most that can flow in one interval is the largest current over the longest gap.
            most_c = 500.0 * (settings.max_gap_s + 1e-6)
            assert abs(output.soc - before) <= most_c / (3600.0 * settings.capacity_ah)
        before = output.soc


@given(settings_and_walks(upkeep=False))
def test_request_is_never_above_the_compensated_absorption_voltage(
    drawn: tuple[Settings, Walk],
) -> None:
    settings, walk = drawn
    last_temp_c: float | None = None
    for k, (sample, output) in enumerate(zip(walk.samples, outputs(*drawn)[0], strict=True)):
        if k in walk.power_cycles:
            last_temp_c = None
        if valid(settings, sample) and isfinite(sample.temp_c):
            last_temp_c = sample.temp_c
        shift_v = 0.0
        if last_temp_c is not None:
            shift_v = settings.compensation_v_per_c * (last_temp_c - settings.reference_c)
        charging = output.stage in (Stage.BULK, Stage.ABSORPTION)
        level_v = settings.absorption_v if charging else settings.float_v
        assert output.voltage_request_v == level_v + shift_v
        assert output.voltage_request_v <= settings.absorption_v + shift_v
        inhibited = output.stage is Stage.INHIBITED
        assert output.current_request_a == (0.0 if inhibited else settings.charge_current_a)


@given(settings_and_walks())
def test_an_equalisation_is_short_cool_and_asks_for_its_own_voltage(
    drawn: tuple[Settings, Walk],
) -> None:
    settings, walk = drawn
    said, states = outputs(settings, walk)
    began_s = 0.0
    for k, (sample, output) in enumerate(zip(walk.samples, said, strict=True)):
        if "equalisation_started" in names(output):
            began_s = sample.t
            assert sample.i > 0.0
            if settings.equalisation_max_c is not None:
                hot = isfinite(sample.temp_max_c)
                hottest_c = sample.temp_max_c if hot else sample.temp_c
                assert hottest_c <= settings.equalisation_max_c
        if output.stage is Stage.EQUALISATION:
            assert settings.equalisation_v is not None
            shift_v = states[k].watch.shift_v
            assert output.voltage_request_v == settings.equalisation_v + shift_v
            if valid(settings, sample):
                assert 0.0 <= sample.t - began_s < settings.equalisation_s


@given(settings_and_walks())
def test_a_sensor_that_is_checked_never_raises_a_voltage_further(
    drawn: tuple[Settings, Walk],
) -> None:
    settings, walk = drawn
    trusting = settings.changed(sensor_lost_s=None, sensor_frozen_s=None)
    checked = outputs(settings, walk)[1]
    for state, other in zip(checked, outputs(trusting, walk)[1], strict=True):
        assert state.watch.shift_v in (other.watch.shift_v, 0.0)
        assert state.watch.shift_v <= other.watch.shift_v


@given(settings_and_walks())
def test_stage_changes_only_with_an_event_and_along_the_known_ways(
    drawn: tuple[Settings, Walk],
) -> None:
    bulk, absorption, floating, inhibited, equalisation = Stage
    ways = {
        bulk: {absorption, inhibited},
        absorption: {bulk, floating, inhibited},
        floating: {bulk, equalisation, inhibited},
        inhibited: {bulk},
        equalisation: {floating, inhibited},
    }
    before = bulk
    for k, output in enumerate(outputs(*drawn)[0]):
        if k in drawn[1].power_cycles:
            before = bulk
        if output.stage is not before:
            assert output.stage in ways[before]
            assert names(output) - {"empty_reset", "hold_expired"}
        before = output.stage


@given(settings_and_walks())
def test_invalid_sample_changes_nothing_but_by_no_reading(drawn: tuple[Settings, Walk]) -> None:
    settings, walk = drawn
    said, states = outputs(settings, walk)
    before = start(walk.soc)
    last: Output | None = None
    for k, sample in enumerate(walk.samples):
        if k in walk.power_cycles:
            before, last = start(before.soc), None
        if not valid(settings, sample):
            assert said[k].soc == before.soc
            assert not said[k].full_reset
            if said[k].stage is before.charge.stage:
                assert said[k].events == ()
                assert last is None or said[k].asked == last.asked
            else:
                assert [event.cause for event in said[k].events] == ["no_reading"]
        before, last = states[k], said[k]


@given(settings_and_walks())
def test_what_an_invalid_sample_reads_makes_no_difference(drawn: tuple[Settings, Walk]) -> None:
    """Any invalid sample may be another invalid one with the same stamp."""
    settings, walk = drawn
    nan = float("nan")
    blanked = tuple(
        sample if valid(settings, sample) else Sample(sample.t, nan, nan, 99.0, -99.0, 99.0)
        for sample in walk.samples
    )
    said, states = outputs(settings, walk)
    other, other_states = outputs(settings, evolve(walk, samples=blanked))
    assert said == other
    assert repr(states) == repr(other_states)


@given(settings_and_walks())
def test_before_the_first_valid_sample_the_outputs_are_those_of_a_fresh_controller(
    drawn: tuple[Settings, Walk],
) -> None:
    settings, walk = drawn
    for sample, output in zip(walk.samples, outputs(settings, walk)[0], strict=True):
        if valid(settings, sample) or output.stage is Stage.INHIBITED:
            break
        assert output.stage is Stage.BULK
        assert output.soc == walk.soc
        assert output.voltage_request_v == settings.absorption_v
        assert output.current_request_a == settings.charge_current_a
        assert output.events == ()


@given(settings_and_walks(exact=True), st.sampled_from((1024.0, -4096.0, 65536.0)))
def test_where_the_clock_starts_makes_no_difference(
    drawn: tuple[Settings, Walk], later_s: float
) -> None:
    """On the exact grid, where a later stamp has no other rounding."""
    settings, walk = drawn
    samples = tuple(sample for sample in walk.samples if sample.t % 2**-6 == 0.0)
    if not samples:
        return
    near = Walk(samples, frozenset(), walk.soc)
    late = evolve(near, samples=tuple(evolve(one, t=one.t + later_s) for one in samples))
    assert outputs(settings, near)[0] == outputs(settings, late)[0]


@given(settings_and_walks())
def test_step_is_a_function_of_what_goes_in(drawn: tuple[Settings, Walk]) -> None:
    settings, walk = drawn
    _, states = outputs(settings, walk)
    for state, sample in zip(states, walk.samples[1:], strict=False):
        assert repr(step(settings, state, sample)) == repr(step(settings, state, sample))
