"""Many banks at once do what each does alone, bit for bit."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import InputError
from harness.world.cell import Cell, Pair
from harness.world.many import run_physics
from harness.world.network import ChargerLimits
from harness.world.pack import Pack, Spread
from harness.world.plant import Code, Plant, PlantSpec

LIMITS = ChargerLimits(55.6, 80.0, 4000.0, 5e-3)


def hut(seed: int, *, resolved: bool = True) -> PlantSpec:
    """A mountain hut's 16-cell bank of three packs."""
    cell = Cell(100.0, 1.2e-3, (Pair(0.6e-3, 30.0),))
    packs = [Pack(cell, 16, 0.5, Spread(0.02, 0.02, 0.1, seed + p)) for p in range(3)]
    return PlantSpec(packs, [2e-3, 2.5e-3, 3e-3], 5e-3, resolved=resolved)


@pytest.mark.parametrize("resolved", [True, False])
def test_one_bank_step_by_step(resolved: bool) -> None:
    spec = hut(1, resolved=resolved)
    rng = np.random.default_rng(5)
    load_a, power_w = rng.uniform(0.0, 30.0, 400), rng.uniform(0.0, 6000.0, 400)
    run = run_physics([spec], 1.0, LIMITS, load_a, power_w=power_w, every=1)[0]
    plant = Plant(spec)
    for k in range(400):
        settled = plant.advance(1.0, LIMITS._replace(power_w=min(4000.0, power_w[k])), load_a[k])
        assert tuple(run.bus[:, k]) == settled
        assert np.array_equal(run.packs[0, :, k], plant.state.pack_a)
        assert np.array_equal(run.packs[1, :, k], plant.state.terminal_v)
        assert np.array_equal(run.packs[2, :, k], plant.state.cell_max_v)
    assert all(
        np.array_equal(a, b) for a, b in zip(run.state.arrays, plant.state.arrays, strict=True)
    )


def test_threads_change_nothing() -> None:
    specs = [hut(seed, resolved=False) for seed in range(12)]
    load_a = np.random.default_rng(6).uniform(0.0, 30.0, (12, 500))
    alone = run_physics(specs, 1.0, LIMITS, load_a, every=50, threads=1)
    together = run_physics(specs, 1.0, LIMITS, load_a, every=50, threads=4)
    for a, b in zip(alone, together, strict=True):
        assert np.array_equal(a.packs, b.packs)
        assert np.array_equal(a.state.soc, b.state.soc)
    assert len({run.state.soc.sum() for run in alone}) == 12


def test_every_keeps_the_end_of_each_so_manieth_step() -> None:
    spec, load_a = hut(2), np.full(605, 10.0)
    all_, some = (run_physics([spec], 2.0, LIMITS, load_a, every=n)[0] for n in (1, 60))
    assert some.time_s == pytest.approx(np.arange(1, 11) * 120.0)
    assert np.array_equal(some.packs, all_.packs[:, :, 59::60][:, :, :10])
    assert run_physics([spec], 2.0, LIMITS, load_a)[0].bus.shape == (3, 0)


def test_a_run_goes_on_where_another_ended() -> None:
    spec, load_a = hut(3), np.full(300, 10.0)
    whole = run_physics([spec], 1.0, LIMITS, np.full(600, 10.0))[0]
    first = run_physics([spec], 1.0, LIMITS, load_a)[0]
    soc = first.state.soc.copy()
    second = run_physics([spec], 1.0, LIMITS, load_a, states=[first.state])[0]
    assert np.array_equal(second.state.soc, whole.state.soc)
    assert np.array_equal(first.state.soc, soc)


def test_a_bank_that_cannot_go_on_is_kept_up_to_there() -> None:
    load_a = np.zeros((2, 100))
    load_a[1, 40:] = 9000.0
    good, bad = run_physics([hut(4), hut(5)], 1.0, ChargerLimits(0.0, 0.0), load_a, every=1)
    assert (good.code, good.steps) == (Code.OK, 100)
    assert (bad.code, bad.steps) == (Code.BUS_VOLTAGE, 40)
    assert bad.packs.shape == (3, 3, 40)
    assert np.all(np.isfinite(bad.packs))


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"load_a": np.zeros((2, 5))}, "load_a"),
        ({"load_a": np.zeros(5), "power_w": np.zeros(4)}, "power_w"),
        ({"load_a": np.full(5, np.nan)}, "step 0 of bank 0"),
        ({"load_a": np.zeros(5), "states": []}, "states"),
    ],
)
def test_what_does_not_fit_is_refused(given: dict[str, object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        run_physics([hut(1)], 1.0, LIMITS, **given)  # type: ignore[arg-type]
    assert run_physics([], 1.0, LIMITS, np.zeros(5)) == []
