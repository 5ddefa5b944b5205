"""What packs share on the way to the charger, told from what each has for itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

from harness.explain.shared_line import shared_line
from harness.logs.log import PackLog
from harness.run import Floats, Trace

OWN_OHM = (0.006, 0.028)
SHARED_OHM = 0.0035


def packs(share: Floats, total_a: Floats, seed: int = 1) -> list[PackLog]:
    """Two packs that part a current, behind conductors of which one is shared."""
    random = np.random.default_rng(seed)
    t = np.arange(float(len(share)))
    made = []
    for k, part in enumerate((share, 1.0 - share)):
        i = part * total_a
        v = np.full(len(t), 53.0) + random.normal(0.0, 0.002, len(t))
        charger_v = v + 0.01 * (k + 1) + OWN_OHM[k] * i + SHARED_OHM * np.maximum(total_a, 0.0)
        made.append(PackLog(f"pack {k}", Path("log.csv"), Trace(t, v, i), charger_v=charger_v))
    return made


def day(seed: int = 3) -> tuple[Floats, Floats]:
    random = np.random.default_rng(seed)
    share = np.repeat(random.uniform(0.2, 0.8, 400), 60)
    return share, np.repeat(random.uniform(-5.0, 60.0, 800), 30)


def test_the_shared_part_is_found() -> None:
    found = shared_line(packs(*day()))
    assert found is not None
    assert found.ohm == pytest.approx(SHARED_OHM, abs=2e-4)
    assert found.error_ohm < 5e-4
    assert found.total_a[0] == pytest.approx(np.maximum(day()[1], 0.0))


def test_packs_that_always_part_alike_tell_nothing() -> None:
    _, total_a = day()
    found = shared_line(packs(np.full(len(total_a), 0.5), total_a))
    assert found is not None
    assert found.ohm == 0.0
    assert np.isnan(found.error_ohm)


def test_one_pack_or_no_charger_is_nothing_to_share() -> None:
    two = packs(*day())
    assert shared_line(two[:1]) is None
    assert shared_line([two[0], evolve(two[1], charger_v=None)]) is None


def test_stamps_that_differ_are_put_together() -> None:
    one, other = packs(*day())
    apart = other.taken(np.arange(0, len(other), 2))
    found = shared_line([one, apart])
    assert found is not None
    assert found.ohm == pytest.approx(SHARED_OHM, abs=4e-4)
