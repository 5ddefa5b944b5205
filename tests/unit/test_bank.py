"""What a bank of packs asks the charger for, policy by policy; worked by hand.

Three packs of 16 cells, as in a mountain hut. B, A, F: a pack in bulk, absorption, float; T is
inhibited by its temperature, C by its cell limit.
"""

from __future__ import annotations

from typing import Any

import pytest

from ctrl.bank import BankSettings, BankState, Voice, bank_step, voice_of
from ctrl.controller import start, step
from ctrl.errors import SettingsError
from ctrl.settings import Settings
from ctrl.state import Request, Sample
from ctrl.vocabulary import Stage

HIGH_V, FLOAT_V, CURRENT_A = 56.0, 54.0, 100.0

VOICES = {
    "B": Voice(Stage.BULK, Request(HIGH_V, CURRENT_A), False),
    "A": Voice(Stage.ABSORPTION, Request(HIGH_V, CURRENT_A), False),
    "F": Voice(Stage.FLOAT, Request(FLOAT_V, CURRENT_A), False),
    "T": Voice(Stage.INHIBITED, Request(FLOAT_V, 0.0), False),
    "C": Voice(Stage.INHIBITED, Request(FLOAT_V, 0.0), True),
}


def asked(settings: BankSettings, *rows: tuple[float, str]) -> list[tuple[float, float]]:
    """What is asked for at each row `(t, one letter a pack)`: V and A."""
    state = BankState()
    said: list[tuple[float, float]] = []
    for t, letters in rows:
        state, request = bank_step(settings, state, t, [VOICES[letter] for letter in letters])
        said.append((request.voltage_v, request.current_a))
    return said


def volts(settings: BankSettings, *rows: tuple[float, str]) -> list[float]:
    return [voltage_v for voltage_v, _ in asked(settings, *rows)]


EVERY = BankSettings(policy="every", bank_wait_s=100)
ANY = BankSettings(policy="any")
SECOND = BankSettings(policy="lead", lead=1)


def test_defaults_are_those_of_the_rules() -> None:
    settings = BankSettings()
    assert (settings.policy, settings.lead, settings.bank_wait_s) == ("every", 0, 7200.0)


@pytest.mark.parametrize("settings", [EVERY, ANY, SECOND], ids=lambda found: found.policy)
@pytest.mark.parametrize(
    ("letters", "current_a"), [("BBB", 300.0), ("FAB", 300.0), ("TAB", 200.0), ("CTC", 0.0)]
)
def test_current_is_the_sum_of_what_the_packs_ask_for(
    settings: BankSettings, letters: str, current_a: float
) -> None:
    assert asked(settings, (0, letters))[0][1] == current_a


def test_every_asks_for_absorption_until_all_have_finished() -> None:
    rows = [(0, "BBB"), (10, "BAB"), (20, "AFB"), (90, "FFA"), (95, "FFF"), (99, "FFF")]
    assert volts(EVERY, *rows) == [HIGH_V, HIGH_V, HIGH_V, HIGH_V, FLOAT_V, FLOAT_V]


def test_every_waits_no_longer_than_its_limit_after_the_first() -> None:
    rows = [(0, "BBB"), (20, "FBB"), (119, "FFA"), (120, "FFA"), (500, "FFB"), (501, "FFF")]
    assert volts(EVERY, *rows) == [HIGH_V, HIGH_V, HIGH_V, FLOAT_V, FLOAT_V, FLOAT_V]


def test_every_begins_the_wait_anew_when_a_pack_goes_back_to_bulk() -> None:
    rows = [(0, "FFA"), (100, "FFA"), (110, "BFA"), (209, "AFF"), (210, "AFF"), (211, "BBB")]
    assert volts(EVERY, *rows) == [HIGH_V, FLOAT_V, HIGH_V, HIGH_V, FLOAT_V, HIGH_V]


def test_every_forgets_the_wait_when_no_pack_is_in_float() -> None:
    rows = [(0, "FBB"), (100, "FBB"), (101, "TBB"), (102, "TFB"), (201, "TFB"), (202, "TFB")]
    assert volts(EVERY, *rows) == [HIGH_V, FLOAT_V, HIGH_V, HIGH_V, HIGH_V, FLOAT_V]


def test_every_begins_the_wait_anew_after_all_have_finished() -> None:
    # The third pack is inhibited at 500 s and in bulk at 510 s: the others wait from 500 s on.
    rows = [(0, "FFA"), (50, "FFF"), (500, "FFT"), (510, "FFB"), (599, "FFB"), (600, "FFB")]
    assert volts(EVERY, *rows) == [HIGH_V, FLOAT_V, FLOAT_V, HIGH_V, HIGH_V, FLOAT_V]


def test_shortest_wait_is_just_over_zero() -> None:
    assert BankSettings(bank_wait_s=1e-9).bank_wait_s == 1e-9


def test_every_waits_for_a_pack_that_is_inhibited_without_raising_the_voltage_for_it() -> None:
    # The two others have finished; nobody is left who asks for more than the float voltage.
    assert volts(EVERY, (0, "FFT"), (1, "FBT")) == [FLOAT_V, HIGH_V]


def test_every_restarts_its_wait_when_the_clock_steps_back() -> None:
    rows = [(1000, "FBB"), (1050, "FBB"), (20, "FBB"), (119, "FBB"), (120, "FBB")]
    assert volts(EVERY, *rows) == [HIGH_V, HIGH_V, HIGH_V, HIGH_V, FLOAT_V]


def test_any_follows_the_first_to_finish_until_it_comes_back() -> None:
    rows = [(0, "BBB"), (10, "AFB"), (5000, "AFB"), (5001, "AAB"), (5002, "FFF")]
    assert volts(ANY, *rows) == [HIGH_V, FLOAT_V, FLOAT_V, HIGH_V, FLOAT_V]


def test_lead_decides_for_all() -> None:
    rows = [(0, "FBF"), (1, "BFB"), (2, "FAF"), (3, "BTB")]
    assert volts(SECOND, *rows) == [HIGH_V, FLOAT_V, HIGH_V, FLOAT_V]


@pytest.mark.parametrize("settings", [EVERY, ANY, SECOND], ids=lambda found: found.policy)
def test_pack_at_its_cell_limit_holds_the_bank_down_to_the_float_voltage(
    settings: BankSettings,
) -> None:
    assert volts(settings, (0, "BBB"), (1, "BBC"), (2, "BBB")) == [HIGH_V, FLOAT_V, HIGH_V]


def test_pack_inhibited_by_its_temperature_alone_does_not() -> None:
    for settings in (EVERY, ANY, SECOND):
        assert volts(settings, (0, "BBT")) == [HIGH_V]


def test_lowest_voltage_counts_where_temperatures_differ() -> None:
    warm = Voice(Stage.BULK, Request(55.4, 80.0), False)
    cold = Voice(Stage.BULK, Request(56.6, 80.0), False)
    resting = Voice(Stage.FLOAT, Request(53.4, 80.0), False)
    assert bank_step(EVERY, BankState(), 0.0, [cold, warm])[1] == Request(55.4, 160.0)
    assert bank_step(EVERY, BankState(), 0.0, [cold, resting])[1] == Request(56.6, 160.0)
    assert bank_step(ANY, BankState(), 0.0, [cold, resting])[1] == Request(53.4, 160.0)
    assert bank_step(SECOND, BankState(), 0.0, [warm, cold])[1] == Request(56.6, 160.0)


def test_bank_of_one_pack_asks_for_what_the_pack_asks_for() -> None:
    only = BankSettings(policy="lead")
    for settings in (EVERY, ANY, only):
        for letter, voice in VOICES.items():
            assert asked(settings, (0, letter)) == [(voice.asked.voltage_v, voice.asked.current_a)]


def test_step_changes_nothing_that_is_passed_in() -> None:
    before = BankState((Stage.FLOAT, Stage.BULK), 10.0)
    voices = [VOICES["B"], VOICES["F"]]
    after, _ = bank_step(EVERY, before, 20.0, voices)
    assert before == BankState((Stage.FLOAT, Stage.BULK), 10.0)
    assert after == BankState((Stage.BULK, Stage.FLOAT), 20.0)
    assert bank_step(EVERY, before, 20.0, voices)[0] == after


def test_voice_of_a_pack_tells_whether_its_cell_limit_is_among_the_causes() -> None:
    settings = Settings(trip_dwell_s=0.0)
    by_cell = step(settings, start(0.5), Sample(0.0, 54.0, 0.0, 3.7, 20.0))
    by_temperature = step(settings, start(0.5), Sample(0.0, 54.0, 0.0, 3.4, -5.0))
    by_both = step(settings, by_temperature[0], Sample(1.0, 54.0, 0.0, 3.7, -5.0))
    charging = step(settings, start(0.5), Sample(0.0, 54.0, 0.0, 3.4, 20.0))
    assert voice_of(*by_cell) == VOICES["C"]
    assert voice_of(*by_temperature) == VOICES["T"]
    assert voice_of(*by_both) == VOICES["C"]
    assert voice_of(*charging) == VOICES["B"]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"policy": "most"}, "policy is 'most'; it must be one of every, lead, any"),
        ({"lead": -1}, "lead is -1; it must be the index of a pack, counted from 0"),
        ({"lead": 1.0}, "lead is 1.0; it must be the index"),
        ({"lead": True}, "lead is True; it must be the index"),
        ({"bank_wait_s": 0}, "bank_wait_s is 0; it must be a finite number greater than 0"),
        ({"bank_wait_s": float("inf")}, "bank_wait_s is inf; it must be a finite number"),
        ({"bank_wait_s": "7200"}, "bank_wait_s is '7200'; it must be a finite number"),
    ],
)
def test_settings_that_cannot_be_are_refused(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(SettingsError) as caught:
        BankSettings(**changes)
    assert said in str(caught.value)
    assert caught.value.fields == tuple(changes)


def test_bank_must_have_packs_and_keep_their_number_and_have_its_lead() -> None:
    with pytest.raises(ValueError, match="the bank has 0 packs"):
        bank_step(EVERY, BankState(), 0.0, [])
    state, _ = bank_step(EVERY, BankState(), 0.0, [VOICES["B"]])
    with pytest.raises(ValueError, match="the bank has 2 packs; before it had 1"):
        bank_step(EVERY, state, 1.0, [VOICES["B"], VOICES["B"]])
    with pytest.raises(ValueError, match="lead is 1, but the bank has 1 packs"):
        bank_step(SECOND, BankState(), 0.0, [VOICES["B"]])
