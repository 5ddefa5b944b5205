"""Every shipped scenario shows what it says it shows."""

from __future__ import annotations

from functools import cache

import pytest

from harness.world.as_case import judge_pack
from harness.world.expectation import observed
from harness.world.fast import simulate_compiled
from harness.world.result import Result
from harness.world.scenario import shipped, shipped_names

NAMES = (
    "charger-raised-by-20-mv",
    "charger-reads-20-mv-high",
    "clouds-at-taper",
    "cold-morning",
    "flooded-year",
    "idle-float-week",
    "lead-finishes-first",
    "lead-finishes-first-repaired",
    "long-cable-remote-sense",
    "long-cable-without-remote-sense",
    "message-loss",
    "meters-drift-over-a-year",
    "one-pack-fuller",
    "oven-during-the-hold",
    "thin-cable",
    "thin-cable-three-packs",
    "weak-cell-trips",
)


@cache
def result_of(name: str) -> Result:
    return simulate_compiled(shipped(name).world)


def resets(name: str) -> dict[str, int]:
    return {pack.name: len(pack.resets) for pack in result_of(name).summary.packs}


def test_these_are_shipped() -> None:
    assert shipped_names() == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_what_is_expected_of_it_comes_true(name: str) -> None:
    scenario = shipped(name)
    result = result_of(name)
    assert result.stop is None
    assert len(scenario.expectations) >= 2
    assert [each.sentence for each in observed(result, scenario.expectations) if not each.met] == []


@pytest.mark.parametrize("name", NAMES)
def test_it_tells_its_story_and_its_source(name: str) -> None:
    scenario = shipped(name)
    assert len(scenario.shows.split()) > 20
    assert "no source" in scenario.source


@pytest.mark.parametrize("name", NAMES)
def test_the_reference_conforms_in_it(name: str) -> None:
    result = result_of(name)
    verdicts = [judge_pack(result, p) for p in range(len(result.packs))]
    assert [finding for verdict in verdicts for finding in verdict.findings] == []
    assert all(len(verdict.exercised) >= 5 for verdict in verdicts)


def test_twenty_millivolts_of_the_charger_start_the_hold_at_once() -> None:
    assert resets("charger-reads-20-mv-high") == {"hut": 0}
    assert resets("charger-raised-by-20-mv") == {"hut": 1}
    (raised,) = result_of("charger-raised-by-20-mv").summary.packs
    (low,) = result_of("charger-reads-20-mv-high").summary.packs
    # Only the meter of the charger is wrong: it stands 20 mV under what is asked for.
    assert raised.highest_v == pytest.approx(56.0, abs=1e-3)
    assert low.highest_v == pytest.approx(55.98, abs=1e-3)


def test_the_followers_are_reset_only_after_the_repair() -> None:
    assert resets("lead-finishes-first") == {"east": 3, "north": 0, "west": 0}
    assert resets("lead-finishes-first-repaired") == {"east": 3, "north": 3, "west": 3}


def test_remote_sense_makes_up_for_a_long_cable() -> None:
    assert resets("long-cable-without-remote-sense") == {"pier": 0}
    assert resets("long-cable-remote-sense") == {"pier": 1}


def test_three_ways_through_a_sag() -> None:
    first = [pack.resets[0].t for pack in result_of("oven-during-the-hold").summary.packs]
    runs_on, pauses, restarts = first
    started = [e.t for e in result_of("oven-during-the-hold").events if e.name == "hold_started"]
    assert runs_on - started[0] == pytest.approx(3600.0, abs=2.0)
    # The oven is on for 900 s, and the voltage needs some time more to come back.
    assert 900.0 < pauses - runs_on < 1800.0
    assert restarts > pauses
