"""What the engine sums up is what follows from the rows of the loop in Python, arm by arm."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve
from hypothesis import HealthCheck, given
from hypothesis import settings as effort
from hypothesis import strategies as st

from ctrl.bank import POLICIES
from ctrl.limits import Limits
from ctrl.resets import RESET_RULES, ResetRule
from harness.attach.reference import ReferenceAttachment
from harness.errors import InputError
from harness.strategies.worlds import worlds as generated_worlds
from harness.study.engine import columns_of, compile_for, tally_bank
from harness.study.tally import Thresholds
from harness.world.bank import Ambient, Recording, World
from harness.world.charger import Charger, Link, RemoteSense
from harness.world.loads import Appliance, LoadEvent, Loads
from harness.world.loop import simulate
from harness.world.pack import Balancer, OddCell, Pack, Spread
from harness.world.sun import Clouds, Sun
from tests.study.from_rows import columns_from_rows
from tests.world.small_worlds import CELL, ORDINARY, branch, settings, world
from tests.world.test_fast import WORLDS

TRUTH = Thresholds(false_full_below_soc=0.985, truly_full_soc=0.98)
COUNTS = {
    "resets", "false_resets", "full_days", "missed_days", "to_full_days", "float_to_bulk",
    "followers", "followers_never_reset", "stopped",
}  # fmt: skip
# What is the difference of large numbers is as exact as they are.
OF_LARGE = {"heat_kwh", "sun_unused_kwh"}


def _half_tapered(limits: Limits, level_v: float, i: float) -> bool:
    return level_v >= limits.full_v - 0.1 and i <= 0.5 * limits.charge_current_a


HALF_TAPERED = ResetRule(
    "half_tapered", "below half of the current", during_hold=True, sustained=False,
    condition=_half_tapered,
)  # fmt: skip


def _nobody_at_all(limits: Limits, level_v: float, i: float) -> bool:
    return level_v + i < limits.empty_v


NOBODY = ResetRule(
    "nobody", "never in practice", during_hold=False, sustained=True, condition=_nobody_at_all
)
RULES = (*RESET_RULES.values(), HALF_TAPERED, NOBODY)


@pytest.fixture(autouse=True, scope="module")
def _one_compilation() -> None:
    """Each other set of rules of one's own would be compiled anew, most of a minute."""
    compile_for(RULES)


def by_the_loop(given_world: World, rule: ResetRule, truth: Thresholds) -> dict[str, float]:
    whole = evolve(given_world, recording=Recording(samples=False))
    controllers = [ReferenceAttachment("ref", rule, 1.0) for _ in whole.packs]
    return columns_from_rows(simulate(whole, controllers), truth)


def assert_same(
    arms: Sequence[World], rules: Sequence[ResetRule], truth: Thresholds = TRUTH
) -> list[dict[str, float]]:
    """Returns the columns of the engine, arm by arm."""
    found = [
        columns_of(tallied, arm)
        for tallied, arm in zip(tally_bank(arms, rules, truth), arms, strict=True)
    ]
    for columns, arm, rule in zip(found, arms, rules, strict=True):
        expected = by_the_loop(arm, rule, truth)
        assert list(columns) == list(expected)
        for name, value in expected.items():
            if name in COUNTS:
                assert columns[name] == value, name
            elif isnan(value):
                assert isnan(columns[name]), name
            else:
                within = 1e-9 * expected["charger_kwh"] if name in OF_LARGE else 0.0
                assert columns[name] == pytest.approx(value, rel=1e-9, abs=within), name
    return found


@pytest.mark.parametrize("name", WORLDS)
def test_every_policy_in_any_world(name: str) -> None:
    arms = [
        evolve(WORLDS[name], bank=evolve(WORLDS[name].bank, policy=policy)) for policy in POLICIES
    ]
    assert_same(arms, [RESET_RULES["voltage_after_hold"]] * len(arms))


LAGGING = evolve(
    CELL, hysteresis_v=0.008, coulombic_efficiency=0.995, factor_at_10_c=1.45, factor_at_40_c=0.78
)
WAITING = settings(
    hold_s=300.0, on_unconfirmed="wait", wait_limit_s=400.0, taper_a=6.0, confirm_s=20.0,
    on_sag="pause", sag_v=55.5, max_gap_s=200.0, return_dwell_s=60.0,
)  # fmt: skip
SLOW_METER = evolve(ORDINARY, interval_s=60.0)
CLOUDY = Sun(
    peak_w=1800.0, clouds=Clouds(clear_s=400.0, clouded_s=200.0), interval_s=60.0, day_of_year=100
)
OTHERS = {
    "a cloudy day in steps of a minute, with hysteresis": world(
        *(
            branch(
                name, soc, pack=Pack(LAGGING, soc=soc), settings=WAITING, meter=SLOW_METER,
                contact_ohm=0.001 * p,
            )
            for p, (name, soc) in enumerate((("east", 0.93), ("north", 0.97), ("west", 0.95)))
        ),
        hours=14.0,
        start_at="10:00",
        interval_s=60.0,
        sun=CLOUDY,
        loads=Loads(
            base_w=150.0,
            appliances=(Appliance(name="kettle", power_w=1800.0, minutes=4.0, per_day=20.0),),
        ),
        ambient=Ambient(mean_c=9.0, swing_c=5.0),
        charger=Charger(current_a=50.0, interval_s=60.0, set_step_v=0.01, meter_offset_v=0.03),
    ),
    "cells that differ, balanced, one of them at its limit": world(
        *(
            branch(
                name, 0.97, meter=ORDINARY,
                pack=Pack(
                    CELL, soc=0.97, spread=Spread(capacity=0.01, seed=p), inhibited="charge blocked",
                    odd_cells=(OddCell(3, soc_offset=0.02),),
                    balancer=Balancer("passive", current_a=0.2, start_v=3.4),
                ),
                settings=settings(hold_s=120.0, cell_limit_v=3.58, cell_release_v=3.45),
            )
            for p, name in enumerate(("weak", "weaker"))
        ),
        hours=0.4,
        resolved=True,
        loads=Loads(events=(LoadEvent(name="oven", power_w=900.0, at="06:12", minutes=3.0),)),
    ),
    "a charger that drifts, its meter with noise": world(
        *(
            branch(name, 0.98, settings=settings(hold_s=120.0), meter=ORDINARY)
            for name in ("one", "other")
        ),
        hours=0.3,
        charger=Charger(
            current_a=40.0, meter_noise_v=0.004, meter_drift_v_per_day=-0.1,
            link=Link(delay_s=3.0, loss_probability=0.2), remote_sense=RemoteSense(),
        ),
    ),
    "voltages that shift with temperature": world(
        *(
            branch(
                name, 0.98, meter=ORDINARY,
                settings=settings(hold_s=120.0, compensation_v_per_c=-0.01, reference_c=20.0),
            )
            for name in ("one", "other")
        ),
        hours=0.5,
        ambient=Ambient(mean_c=18.0, swing_c=6.0, interval_s=120.0),
        charger=Charger(current_a=40.0),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OTHERS)
def test_every_policy_and_rule_in_worlds_of_their_own(name: str) -> None:
    arms, rules = [], []
    for k, rule in enumerate((*RESET_RULES.values(), HALF_TAPERED)):
        policy = POLICIES[k % len(POLICIES)]
        arms.append(evolve(OTHERS[name], bank=evolve(OTHERS[name].bank, policy=policy)))
        rules.append(rule)
    found = assert_same(arms, rules)
    assert any(columns["resets"] > 0.0 or columns["above_350_h"] > 0.0 for columns in found)


@pytest.mark.parametrize("policy", POLICIES)
def test_every_rule(policy: str) -> None:
    """In one call, so that built-in rules and others run side by side."""
    near = WORLDS["three packs, rough meters"]
    tapering = tuple(evolve(one, settings=evolve(one.settings, taper_a=12.0)) for one in near.packs)
    arm = evolve(near, packs=tapering, bank=evolve(near.bank, policy=policy))
    found = assert_same([arm] * len(RULES), RULES)
    # The rules do not all say the same.
    assert len({tuple(columns.values()) for columns in found}) >= 5
    assert found[RULES.index(NOBODY)]["resets"] == 0.0


def test_the_packs_of_arms_are_set_differently() -> None:
    near = WORLDS["three packs, rough meters"]
    arms = [
        evolve(
            near,
            packs=tuple(
                evolve(one, settings=evolve(one.settings, hold_s=hold_s)) for one in near.packs
            ),
        )
        for hold_s in (60.0, 120.0, 400.0)
    ]
    found = assert_same(arms, [RESET_RULES["hold_only"]] * 3)
    assert len({columns["to_full_h"] for columns in found}) == 3


def test_days_end_at_midnight() -> None:
    """A reset on either side of midnight, and a pack that stays full over it."""
    quick = settings(hold_s=60.0, float_s=120.0, return_v=52.0)
    over = world(
        branch("hut", 0.975, settings=quick),
        branch("pier", 0.99, settings=quick),
        hours=0.3,
        start_at="23:50",
        charger=Charger(current_a=40.0),
    )
    (columns,) = assert_same([over], [RESET_RULES["voltage_after_hold"]])
    # The one becomes full on the first day; the other was full, and has not been used since.
    assert (columns["full_days"], columns["missed_days"]) == (1.0, 0.0)
    assert columns["to_full_days"] == 4.0
    assert columns["resets"] > 4.0
    once = evolve(over, packs=tuple(
        evolve(one, settings=evolve(one.settings, float_s=None)) for one in over.packs
    ))  # fmt: skip
    (columns,) = assert_same([once], [RESET_RULES["voltage_after_hold"]])
    assert (columns["full_days"], columns["missed_days"]) == (1.0, 0.0)
    assert columns["to_full_days"] == 2.0


def test_a_bank_that_cannot_go_on_is_named() -> None:
    lightning = LoadEvent(name="short circuit", power_w=2e6, at="06:05", minutes=1.0)
    given_world = evolve(
        WORLDS["three packs, rough meters"], loads=Loads(base_w=50.0, events=(lightning,))
    )
    (columns,) = assert_same([given_world], [RESET_RULES["voltage_after_hold"]])
    assert columns["stopped"] == 1.0
    assert columns["ran_days"] == pytest.approx(300.0 / 86_400.0)
    (tallied,) = tally_bank([given_world], [RESET_RULES["voltage_after_hold"]], TRUTH)
    assert tallied.stop is not None
    assert "more than the packs can carry" in tallied.stop.reason


@effort(
    max_examples=30,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
@given(data=st.data())
def test_any_small_world(data: st.DataObject) -> None:
    drawn = data.draw(generated_worlds())
    arms, rules = [], []
    for _ in range(3):
        policy = data.draw(st.sampled_from(POLICIES))
        lead = data.draw(st.integers(0, len(drawn.packs) - 1))
        arms.append(evolve(drawn, bank=evolve(drawn.bank, policy=policy, lead=lead)))
        rules.append(data.draw(st.sampled_from(RULES)))
    assert_same(arms, rules)


def test_a_condition_that_cannot_be_compiled_is_refused() -> None:
    def asks_a_file(limits: Limits, level_v: float, i: float) -> bool:
        return level_v + i + limits.full_v > len(Path("settings").read_text())

    def says_a_number(limits: Limits, level_v: float, i: float) -> Any:
        return level_v + i - limits.full_v

    for condition in (asks_a_file, says_a_number):
        rule = ResetRule("mine", "", during_hold=False, sustained=False, condition=condition)
        with pytest.raises(
            InputError, match=r"'mine' cannot be compiled.*compares the two numbers"
        ):
            compile_for([rule])


def test_arms_that_are_not_of_one_bank_are_refused() -> None:
    rule = RESET_RULES["hold_only"]
    one = WORLDS["lead"]
    warmer = (evolve(one.packs[0], warmer_c=1.0), *one.packs[1:])
    for other, names in (
        (evolve(one, seed=1), "seed"),
        (evolve(one, packs=one.packs[:2]), "packs"),
        (evolve(one, packs=warmer), r"packs\[0\].warmer_c"),
    ):
        with pytest.raises(InputError, match=names):
            tally_bank([one, other], [rule, rule], TRUTH)
    with pytest.raises(InputError, match="1 rules for 2 worlds"):
        tally_bank([one, one], [rule], TRUTH)
    assert tally_bank([], [], TRUTH) == []
