"""What is believed of a sample, what is said to each, and what a loss of power leaves over."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from ctrl import Controller, Settings, State, power_cycle, start, step
from ctrl.state import Sample
from ctrl.vocabulary import Stage
from tests.unit.told import POWER_LOST, SHORT, Rows, steady, tell

HIGH = 56.0


# Validity.


@pytest.mark.parametrize(
    ("v", "i", "valid"),
    [
        (16.0, 0.0, True),
        (64.0, 0.0, True),
        (15.999, 0.0, False),
        (64.001, 0.0, False),
        (54.0, -500.0, True),
        (54.0, 500.0, True),
        (54.0, -500.001, False),
        (54.0, 500.001, False),
        (nan, 0.0, False),
        (inf, 0.0, False),
        (-inf, 0.0, False),
        (54.0, nan, False),
        (54.0, inf, False),
    ],
)
def test_plausible_range_includes_both_its_bounds(v: float, i: float, valid: bool) -> None:
    state, _ = step(Settings(), start(0.5), Sample(5.0, v, i))
    assert (state.t == 5.0) is valid


@pytest.mark.parametrize("t", [nan, inf, -inf])
def test_sample_without_a_finite_stamp_is_invalid(t: float) -> None:
    before, _ = step(Settings(), start(0.5), Sample(5.0, 54.0, 0.0))
    after, output = step(Settings(), before, Sample(t, 54.0, 0.0, 9.9, 99.0, 99.0))
    assert repr(after) == repr(before)
    assert output.stage is Stage.BULK
    assert output.events == ()


def journeys() -> list[tuple[str, State]]:
    """A state in each stage and phase, with dwells and timers on their way."""
    lead: dict[str, Rows] = {
        "fresh": [],
        "bulk, dwelling": steady(0, 1, HIGH, 1.0),
        "hold": steady(0, 8, HIGH, 1.0),
        "hold, sagging": [*steady(0, 8, HIGH, 1.0), (9, 55.0, 1.0)],
        "confirm": steady(0, 14, HIGH, 1.0),
        "float, low": [*steady(0, 18, HIGH, 1.0), (19, 52.0, 1.0)],
        "cell rising": [*steady(0, 8, 54.0, 1.0), (9, 54.0, 1.0, 3.7, 46.0)],
        "inhibited": steady(0, 8, 54.0, 1.0, 3.7, 20.0),
        "empty": steady(0, 8, 44.0, -1.0),
    }
    settings = journey_settings()
    found: list[tuple[str, State]] = []
    for name, rows in lead.items():
        state = start(0.5)
        for row in rows:
            state, _ = step(settings, state, Sample.of(*row))
        found.append((name, state))
    return found


def journey_settings() -> Settings:
    more = {"on_sag": "pause", "confirm_s": 3.0, "compensation_v_per_c": -0.01}
    return Settings.from_mapping(SHORT | more)


@pytest.mark.parametrize(("name", "state"), journeys(), ids=[name for name, _ in journeys()])
@pytest.mark.parametrize(
    "bad",
    [
        Sample(20.0, nan, 1.0, 9.9, -50.0, 99.0),
        Sample(20.0, 54.0, nan, 9.9, -50.0, 99.0),
        Sample(20.0, 99.0, 1.0, 9.9, -50.0, 99.0),
        Sample(20.0, 54.0, -501.0, 9.9, -50.0, 99.0),
        Sample(nan, 54.0, 1.0, 9.9, -50.0, 99.0),
    ],
    ids=["no voltage", "no current", "voltage", "current", "no stamp"],
)
def test_invalid_sample_leaves_everything_as_it_was(name: str, state: State, bad: Sample) -> None:
    settings = journey_settings()
    after, output = step(settings, state, bad)
    # All that it may leave behind is that it was there, where nothing was there before.
    expected = repr(state)
    if name == "fresh" and bad.t == 20.0:
        expected = expected.replace("first_t=inf", "first_t=20.0")
    assert repr(after) == expected
    assert output.stage is state.charge.stage
    assert output.soc == state.soc
    assert output.events == ()
    assert output.full_reset is False


def test_outputs_stay_as_they_were_over_invalid_samples() -> None:
    rows = [*steady(0, 13, HIGH, 0.0, None, 15.0), (14, None), (15, 99.0, 0.0, None, 99.0)]
    told = tell(rows, compensation_v_per_c=-0.06)
    # 10 degrees under the reference raises both voltages by 0.6 V: too high for a hold here.
    assert told.stages == "b" * 16
    assert told.asked[-3:] == [(56.6, 100.0), (56.6, 100.0), (56.6, 100.0)]


def test_the_reset_is_not_repeated_by_the_invalid_sample_after_it() -> None:
    told = tell([*steady(0, 13, HIGH), (14, None)])
    assert told.resets == [13]
    assert told.stages[-2:] == "ff"
    assert told.soc[-2:] == [1.0, 1.0]


# Outputs.


def test_before_the_first_valid_sample_the_outputs_are_those_of_bulk() -> None:
    told = tell([(0, None), (1, 99.0), (None, 54.0)], soc=0.25, compensation_v_per_c=-0.06)
    assert told.stages == "bbb"
    assert told.soc == [0.25, 0.25, 0.25]
    assert told.asked == [(56.0, 100.0)] * 3


def test_each_stage_asks_for_its_voltage_and_current() -> None:
    rows = [*steady(0, 13, HIGH), *steady(14, 16, 54.0, 0.0, 3.7)]
    told = tell(rows)
    asked = dict(zip(told.stages, told.asked, strict=True))
    assert asked == {"b": (56.0, 100.0), "a": (56.0, 100.0), "f": (54.0, 100.0), "i": (54.0, 0.0)}


# Temperature compensation. Source of -5 mV per degree C and cell, "widely accepted": Harrington and
# Dunlop, 'Battery Charge Controller Characteristics in Photovoltaic Systems', IEEE AES Magazine,
# August 1992, p. 15: 6 cells at 35 C, -0.300 V; 24 cells at 0 C, +3.000 V.


@pytest.mark.parametrize(
    ("cells", "temp_c", "absorption_v", "shift_v"),
    [(6, 35.0, 14.4, -0.300), (24, 0.0, 57.6, 3.000)],
)
def test_lead_acid_shift_is_that_of_the_source(
    cells: int, temp_c: float, absorption_v: float, shift_v: float
) -> None:
    settings = Settings(
        cells=cells,
        absorption_v=absorption_v,
        entry_v=absorption_v,
        full_v=absorption_v,
        float_v=2.25 * cells,
        return_v=2.1 * cells,
        empty_v=None,
        cell_limit_v=None,
        charge_min_c=-20.0,
        plausible_v=(1.0, 70.0),
        compensation_v_per_c=-0.005 * cells,
    )
    _, output = step(settings, start(0.5), Sample(0.0, 12.0, 0.0, temp_c=temp_c))
    assert output.voltage_request_v == pytest.approx(absorption_v + shift_v, abs=1e-9)


@pytest.mark.parametrize(
    ("temp_c", "level_v"), [(25.0, 55.8), (35.0, 55.2), (15.0, 56.4), (30.0, 55.5)]
)
def test_entry_voltage_moves_with_the_temperature(temp_c: float, level_v: float) -> None:
    at = steady(0, 3, level_v + 1e-6, 0.0, None, temp_c)
    under = steady(0, 3, level_v - 1e-6, 0.0, None, temp_c)
    assert tell(at, compensation_v_per_c=-0.06).stages == "bbba"
    assert tell(under, compensation_v_per_c=-0.06).stages == "bbbb"


def test_full_return_and_sag_voltage_move_too() -> None:
    warm: dict[str, Any] = {"compensation_v_per_c": -0.06, "on_sag": "pause"}

    def at(begin: int, end: int, v: float) -> Rows:
        return steady(begin, end, v, 0.0, None, 35.0)

    # 35 C takes 0.6 V off: entry and sag 55.2 V, full 55.0 V, return 52.4 V.
    held = tell([*at(0, 12, 55.21), *at(13, 13, 55.01)], **warm)
    assert held.events[1:] == ["13 hold_expired a>f", "13 full_reset a>f"]
    denied = tell([*at(0, 12, 55.21), *at(13, 13, 54.99)], **warm)
    assert denied.events[1:] == ["13 hold_expired a>f", "13 full_denied a>f"]
    paused = tell([*at(0, 5, 55.21), *at(6, 8, 55.19), *at(9, 18, 55.21)], **warm)
    assert paused.resets == [16]
    stays = tell([*at(0, 13, 55.21), *at(14, 30, 52.41)], **warm)
    assert stays.stages[-1] == "f"
    leaves = tell([*at(0, 13, 55.21), *at(14, 30, 52.39)], **warm)
    assert leaves.events[-1] == "19 float_ended low_voltage f>b"
    assert [round(v, 9) for v, _ in leaves.asked[:14:13]] == [55.4, 53.4]


def test_last_temperature_stands_until_the_next_one() -> None:
    rows: Rows = [
        (0, 54.0, 0.0, None, 35.0),
        (1, 54.0, 0.0, None, None),
        (2, 54.0, 0.0, None, inf),
        (3, 99.0, 0.0, None, 5.0),
        (4, 54.0, 0.0, None, 15.0),
    ]
    told = tell(rows, compensation_v_per_c=-0.06)
    assert [round(v, 9) for v, _ in told.asked] == [55.4, 55.4, 55.4, 55.4, 56.6]


def test_hottest_sensor_does_not_shift_the_voltages() -> None:
    rows: Rows = [(0, 54.0, 0.0, None, None, 35.0)]
    assert tell(rows, compensation_v_per_c=-0.06).asked == [(56.0, 100.0)]


# Loss of power.


def test_power_loss_keeps_the_count_and_nothing_else() -> None:
    for _, state in journeys():
        assert repr(power_cycle(state)) == repr(start(state.soc))


def test_power_loss_ends_a_hold_and_the_next_one_begins_from_nothing() -> None:
    told = tell([*steady(0, 9, HIGH), POWER_LOST, *steady(10, 24, HIGH)])
    assert told.stages == "bbb" + "a" * 7 + "bbb" + "a" * 10 + "ff"
    assert told.events == [
        "3 hold_started b>a",
        "13 hold_started b>a",
        "23 hold_expired a>f",
        "23 full_reset a>f",
    ]


def test_power_loss_lets_a_trip_and_its_dwell_be_forgotten() -> None:
    rows = [*steady(0, 5, 54.0, 0.0, 3.7), POWER_LOST, *steady(6, 8, 54.0, 0.0, 3.7)]
    assert tell(rows).stages == "bbiiiibbi"


def test_power_loss_forgets_the_temperature() -> None:
    rows: Rows = [(0, 54.0, 0.0, None, 35.0), POWER_LOST, (1, 54.0)]
    asked = tell(rows, compensation_v_per_c=-0.06).asked
    assert [round(v, 9) for v, _ in asked] == [55.4, 56.0]


def test_power_loss_allows_the_empty_reset_again() -> None:
    rows = [*steady(0, 5, 44.0), POWER_LOST, *steady(6, 11, 44.0)]
    assert tell(rows).events == ["4 empty_reset b>b", "10 empty_reset b>b"]


def test_clock_may_start_anew_after_a_power_loss() -> None:
    rows = [*steady(1000, 1009, HIGH), POWER_LOST, *steady(0, 13, HIGH)]
    assert tell(rows).resets == [13]


# The object over the function.


def test_controller_does_as_step_does() -> None:
    settings = journey_settings()
    rows = [*steady(0, 20, HIGH, 1.0, 3.4, 20.0), *steady(21, 30, 52.0, -1.0, 3.7, 20.0)]
    controller = Controller(settings, soc=0.25)
    state = start(0.25)
    for row in rows:
        state, output = step(settings, state, Sample.of(*row))
        assert controller.step(Sample.of(*row)) == output
        assert repr(controller.state) == repr(state)
    controller.power_cycle()
    assert repr(controller.state) == repr(start(state.soc))


def test_controller_refuses_a_count_that_is_no_fraction() -> None:
    with pytest.raises(ValueError, match="must be a fraction"):
        Controller(Settings(), soc=1.5)


def test_nothing_that_is_passed_in_is_changed() -> None:
    settings = journey_settings()
    for _, state in journeys():
        sample = Sample(20.0, HIGH, 1.0, 3.4, 20.0, 21.0)
        before = repr((settings, state, sample))
        first = repr(step(settings, state, sample))
        assert repr((settings, state, sample)) == before
        assert repr(step(settings, state, sample)) == first


@pytest.mark.parametrize("name", ["soc", "stage", "news", "full_reset"])
def test_what_comes_out_cannot_be_changed(name: str) -> None:
    _, output = step(Settings(), start(0.5), Sample(0.0, 54.0, 0.0))
    with pytest.raises(AttributeError):
        setattr(output, name, 0)


def test_sample_of_takes_none_for_what_is_missing() -> None:
    assert repr(Sample.of(1, None, 2, None)) == (
        "Sample(t=1.0, v=nan, i=2.0, cell_max_v=nan, temp_c=nan, temp_max_c=nan)"
    )
