"""What is drawn for a bank, and what it hangs on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from harness.errors import InputError
from harness.study.population import Effect
from harness.study.study import Study
from tests.study.study_texts import small_study


def offsets(study: Study, banks: range) -> np.ndarray:
    worlds = [study.bank_world(bank) for bank in banks]
    return np.array([[b.meter.voltage_offset_v for b in world.packs] for world in worlds])


def test_packs_and_banks_draw_on_their_own(tmp_path: Path) -> None:
    drawn = offsets(small_study(tmp_path), range(600))
    assert len(np.unique(drawn)) == drawn.size
    assert stats.kstest(drawn.ravel() / 0.02, stats.truncnorm(-3, 3).cdf).pvalue > 0.01
    assert abs(np.corrcoef(drawn.T)[0, 1]) < 0.15


def test_a_bank_is_the_same_whatever_else_changes(tmp_path: Path) -> None:
    drawn = offsets(small_study(tmp_path), range(5))
    more = offsets(small_study(tmp_path, banks=100, days=9), range(5))
    assert np.array_equal(drawn, more)
    # An entry before it, and other rules, leave it alone too.
    other = small_study(
        tmp_path,
        ("[[population]]\npart = \"pack", '[[population]]\npart = "charger.power_w"\n'
         'law = "uniform"\nlow = 900\nhigh = 1000\n[[population]]\npart = "pack'),
        (', "first_touch"', ""),
    )  # fmt: skip
    assert np.array_equal(drawn, offsets(other, range(5)))
    assert 900 <= (other.bank_world(0).charger.power_w or 0) <= 1000
    assert not np.array_equal(drawn, offsets(small_study(tmp_path, seed=1), range(5)))


def test_one_number_can_change_several_parts(tmp_path: Path) -> None:
    study = small_study(tmp_path)
    for bank in range(4):
        for branch in study.bank_world(bank).packs:
            years = (1.0 - branch.pack.cell.capacity_ah / 280.0) / 0.02
            assert 0.0 <= years <= 10.0
            assert branch.pack.cell.series_ohm == pytest.approx(0.00025 * (1.0 + 0.05 * years))


def test_what_the_bank_draws_holds_for_all_packs(tmp_path: Path) -> None:
    study = small_study(tmp_path, ('how = "add"', 'how = "add"\neach = "bank"'))
    drawn = offsets(study, range(6))
    assert np.array_equal(drawn[:, 0], drawn[:, 1])
    assert len(np.unique(drawn)) == 6


def test_added_numbers_are_added_to_what_the_scenario_has(tmp_path: Path) -> None:
    plain = small_study(tmp_path)
    raised = small_study(tmp_path, ("deviation = 0.02", "deviation = 0.02\nmean = 1.0"))
    assert offsets(raised, range(3)) == pytest.approx(offsets(plain, range(3)) + 1.0)


def test_cells_and_noise_differ_from_bank_to_bank(tmp_path: Path) -> None:
    study = small_study(tmp_path)
    worlds = [study.bank_world(bank) for bank in range(20)]
    assert len({world.seed for world in worlds}) == 20
    assert len({branch.pack.spread.seed for world in worlds for branch in world.packs}) == 40
    assert study.bank_world(7) == worlds[7]


@pytest.mark.parametrize(
    ("effect", "to", "number", "after"),
    [
        (Effect(part="pack.soc"), 0.5, 0.7, 0.7),
        (Effect(part="pack.soc", how="add"), 0.5, 0.2, 0.7),
        (Effect(part="pack.soc", how="add", per_unit=0.1), 0.5, 2.0, 0.7),
        (Effect(part="pack.soc", how="times"), 0.5, 1.4, 0.7),
        (Effect(part="pack.soc", how="times", per_unit=0.1), 0.5, 4.0, 0.7),
    ],
)
def test_effects(effect: Effect, to: float, number: float, after: float) -> None:
    assert effect.applied(to, number) == pytest.approx(after)


def test_what_is_no_number_cannot_be_added_to() -> None:
    with pytest.raises(InputError, match=r"how: bank\.policy cannot be changed by 'add'"):
        Effect(part="bank.policy", how="add").applied("every", 1.0)
    with pytest.raises(InputError, match="per_unit with how = 'set'"):
        Effect(part="pack.soc", per_unit=2.0)


def test_settings_move_together(tmp_path: Path) -> None:
    volts = ", ".join(
        f'{{ part = "pack.settings.{name}", how = "add", per_unit = 1.0 }}'
        for name in ("absorption_v", "entry_v", "full_v")
    )
    study = small_study(
        tmp_path,
        ('part = "pack.meter.voltage_offset_v"\nlaw = "normal"\ndeviation = 0.02\nhow = "add"',
         f'name = "charging voltages"\nlaw = "uniform"\nlow = -1\nhigh = 1\neffects = [{volts}]'),
    )  # fmt: skip
    moved = [
        branch.settings.absorption_v - 56.0
        for bank in range(5)
        for branch in study.bank_world(bank).packs
    ]
    assert min(moved) < -0.3 < 0.3 < max(moved)
    for branch in study.bank_world(0).packs:
        own = branch.settings
        assert own.absorption_v - own.entry_v == pytest.approx(0.1)
        assert own.entry_v - own.full_v == pytest.approx(0.1)


def test_settings_that_contradict_each_other_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"population\[0\]\.part: full_v .* contradict each other"):
        small_study(
            tmp_path, ("pack.meter.voltage_offset_v", "pack.settings.full_v"), ("0.02", "1.0")
        )
    with pytest.raises(InputError, match=r"population\[0\]\..*: there is no setting 'ful_v'"):
        small_study(
            tmp_path,
            ("pack.meter.voltage_offset_v", "pack.settings.ful_v"),
            ('how = "add"', 'how = "set"'),
        )
