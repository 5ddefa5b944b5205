"""What a world is, and what does not fit together in it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from attrs import evolve

from ctrl.bank import BankSettings
from harness.errors import InputError
from harness.world.bank import Ambient, Branch, Recording, World, WorldError
from harness.world.charger import Charger
from harness.world.curves import lead_acid
from harness.world.meter import Meter
from harness.world.pack import Pack
from harness.world.wiring import Lead
from tests.world.small_worlds import CELL, branch, settings, world

TWO = (branch("east", 0.5), branch("west", 0.6))


def changed(**changes: Any) -> Callable[[], World]:
    return lambda: world(*TWO, **{"hours": 1.0, **changes})


def second(**changes: Any) -> Callable[[], World]:
    return lambda: world(TWO[0], evolve(TWO[1], **changes), hours=1.0)


@pytest.mark.parametrize(
    ("build", "path", "says"),
    [
        (lambda: world(hours=1.0), "packs", "0 packs; 1 to 60"),
        (second(name="east"), "packs[1].name", "two packs are called 'east'"),
        (
            second(meter=Meter(interval_s=0.5)),
            "packs[1].meter.interval_s",
            "samples every 0.5 s, with steps of 1.0 s",
        ),
        (
            second(settings=settings(cells=15, absorption_v=53.0, entry_v=52.5, full_v=52.0,
                                     float_v=51.0, return_v=50.0)),
            "packs[1].settings.cells",
            "settings for 15 cells on a pack of 16; cells = 16",
        ),
        (
            second(
                pack=Pack(CELL, count=8),
                settings=settings().for_cells(8),
            ),
            "packs[1].pack.count",
            "8 cells in parallel with 16",
        ),
        (
            second(pack=Pack(evolve(CELL, curve=lead_acid()))),
            "packs[1].pack.cell.curve",
            "a cell of curve 'lead-acid' in a bank of 'lfp-naumann-2018'",
        ),
        (changed(bank=BankSettings(policy="lead", lead=2)), "bank.lead", "0 to 1"),
        (changed(interval_s=7200.0), "duration_s", "one step or more"),
        (
            changed(recording=Recording(interval_s=1.5)),
            "recording.interval_s",
            "a multiple of interval_s",
        ),
        (
            changed(charger=Charger(interval_s=0.5)),
            "charger.interval_s",
            "the charger listens every 0.5 s",
        ),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused_with_its_path(
    build: Callable[[], World], path: str, says: str
) -> None:
    with pytest.raises(WorldError) as caught:
        build()
    assert caught.value.field == path
    assert str(caught.value).startswith(f"{path}: ")
    assert says in str(caught.value)
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"contact_ohm": -0.1}, "contact_ohm is -0.1"),
        ({"counted_soc": 1.2}, "counted_soc is 1.2"),
        ({"temperature_spread_c": -1.0}, "temperature_spread_c is -1"),
    ],
)
def test_a_branch_that_cannot_be_is_refused(given: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        evolve(TWO[0], **given)


def test_a_world_that_cannot_be_is_refused() -> None:
    wrong: dict[str, Any] = {"duration_s": 0.0, "interval_s": -1.0, "seed": -1, "start_at": "x"}
    right = world(*TWO, hours=1.0)
    for field, value in wrong.items():
        one: dict[str, Any] = {field: value}
        with pytest.raises(InputError, match=f"{field} is"):
            evolve(right, **one)


def test_a_controller_counts_from_the_truth_unless_it_is_told_otherwise() -> None:
    assert TWO[1].starting_soc == 0.6
    assert evolve(TWO[1], counted_soc=0.3).starting_soc == 0.3
    assert evolve(TWO[1], counted_soc=0.0).starting_soc == 0.0


def test_resistances_add_up() -> None:
    given = world(
        Branch(name="hut", pack=Pack(CELL), lead=Lead(length_m=6.0, mm2=35.0), contact_ohm=0.001),
        hours=1.0,
        main=Lead(length_m=10.0, mm2=10.0),
        main_contact_ohm=0.002,
    )
    spec = given.plant_spec()
    # 6 m of 35 mm² class 5 are 3.324 mΩ (IEC 60228), 10 m of 10 mm² are 19.1 mΩ.
    assert spec.lead_ohm == pytest.approx((0.004324,), abs=1e-9)
    assert spec.main_ohm == pytest.approx(0.0211, abs=1e-9)
    assert not spec.resolved


def test_the_temperature_of_a_day() -> None:
    air = Ambient(mean_c=5.0, swing_c=8.0, coldest_at="05:00")
    assert air.at(5 * 3600.0) == pytest.approx(-3.0)
    assert air.at(17 * 3600.0) == pytest.approx(13.0)
    assert air.at(11 * 3600.0) == pytest.approx(5.0)
    course = air.course_c(5 * 3600.0, 86_400.0)
    assert len(course) == 289
    assert course[0] == pytest.approx(-3.0, abs=0.01)
    assert course[144] == pytest.approx(13.0, abs=0.01)
    assert len(Ambient(mean_c=20.0).course_c(0.0, 86_400.0)) == 1


def test_steps_and_start() -> None:
    given = world(*TWO, hours=1.0, interval_s=1.0, start_at="07:30")
    assert given.steps == 3600
    assert given.start_s == 27_000.0
