"""The compiled loop of studies against what does not come from it: a general solver, closed forms."""

from __future__ import annotations

from math import inf, sqrt

import numpy as np
import pytest
from attrs import evolve

from ctrl.resets import RESET_RULES
from harness.study.engine import tally_bank
from harness.study.tally import Tallied, Thresholds
from harness.world.bank import World
from harness.world.cell import Cell, Pair
from harness.world.charger import Charger
from harness.world.loop import simulate
from harness.world.meter import Meter
from harness.world.pack import Pack
from harness.world.wiring import Lead
from tests.world.circuit_ode import Asked, Circuit, moment, solve
from tests.world.small_worlds import branch, settings, world

RULE = RESET_RULES["voltage_after_hold"]
DAY_S = 86_400.0
CAPACITY_AH = (100.0, 92.0)
CELL_OHM = (1.2e-3, 1.5e-3)
START_SOC = (0.93, 0.95)


def tallied(given: World) -> Tallied:
    (one,) = tally_bank([given], [RULE], Thresholds())
    return one


def hut(hours: float) -> World:
    """Two unequal packs on a charger that never runs dry, with exact meters and a hold of an hour."""
    packs = [
        branch(
            name,
            START_SOC[p],
            pack=Pack(Cell(CAPACITY_AH[p], CELL_OHM[p], (Pair(0.6e-3, 30.0),)), soc=START_SOC[p]),
            settings=settings(hold_s=3600.0, absorption_v=55.4, entry_v=55.0, full_v=54.9),
            lead=Lead(length_m=2.0, mm2=35.0),
        )
        for p, name in enumerate(("north", "south"))
    ]
    return world(*packs, hours=hours, charger=Charger(current_a=40.0))


def test_soc_and_voltages_between_two_events_follow_a_general_solver() -> None:
    """In closed loop, from the start of the hold to just before its end: within 0.01 mV a pack."""
    whole = simulate(hut(1.6))
    events = [event for event in whole.events if event.pack >= 0]
    held_from_s = max(e.t for e in events if e.name == "hold_started")
    held_to_s = min(e.t for e in events if e.name == "full_reset")
    assert held_to_s - held_from_s > 3000.0
    first = hut(1.0)
    spec = first.plant_spec()
    same = Circuit(
        16, np.array(CAPACITY_AH), 16.0 * np.array(CELL_OHM), np.full((1, 2), 16.0 * 0.6e-3),
        np.full((1, 2), 30.0), np.array(spec.lead_ohm), spec.main_ohm,
    )  # fmt: skip
    asked = Asked(55.4, 40.0, inf, 0.0)
    at_s = np.round(np.linspace(held_from_s + 10.0, held_to_s - 10.0, 6))
    start = np.concatenate([START_SOC, np.zeros(2)])
    columns, _, _ = solve(same, asked, start, float(held_to_s), at_s)
    for until_s, column in zip(at_s, columns.T, strict=True):
        found = tallied(evolve(first, duration_s=float(until_s)))
        assert found.true_soc == pytest.approx(column[:2], abs=5e-8)
        expected_v = moment(same, asked, column).terminal_v
        assert np.abs(found.terminal_v - expected_v).max() < 1e-5


def resting(packs: int, meter: Meter, *, seed: int = 0, hours: float = 24.0) -> World:
    """Packs of 100 Ah at half, under a charger that is too low to charge them."""
    return world(
        *(branch(f"pack {p}", 0.5, meter=meter) for p in range(packs)),
        hours=hours,
        seed=seed,
        charger=Charger(current_a=20.0, highest_v=40.0),
    )


def test_a_current_offset_drifts_by_offset_times_time_over_capacity() -> None:
    """0.1 A on 100 Ah: 2.4 % a day."""
    found = tallied(resting(2, Meter(current_offset_a=0.1)))
    assert found.counted_soc - found.true_soc == pytest.approx(0.024, rel=2e-5)
    error_sq_days = found.packs[:, 11].sum() / DAY_S
    # A straight line from 0: a third of its end squared, for each of the two packs.
    assert error_sq_days == pytest.approx(2.0 * 0.024**2 / 3.0, rel=1e-4)
    assert found.error_quantile(0.95) == pytest.approx(0.95 * 0.024, abs=1e-5)


def test_white_noise_of_the_current_walks_as_the_square_root_of_time() -> None:
    """0.1 A at 1 s for a day on 100 Ah: 0.0082 % (1 sigma)."""
    meter = Meter(current_noise_a=0.1)
    errors = []
    for seed in range(4):
        found = tallied(resting(40, meter, seed=seed))
        errors.append(found.counted_soc - found.true_soc)
    deviation = 0.1 * sqrt(DAY_S) / 3600.0 / 100.0
    assert deviation == pytest.approx(0.0082e-2, rel=0.01)
    measured = float(np.std(np.concatenate(errors)))
    # Three times the deviation of a standard deviation over 160 walks.
    assert measured == pytest.approx(deviation, rel=3.0 / sqrt(2.0 * 160.0))
