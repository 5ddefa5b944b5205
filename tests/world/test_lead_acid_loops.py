"""A bank of lead-acid cells in every loop: the same numbers in all of them, and what files say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

from harness.errors import InputError
from harness.world import rows
from harness.world.bank import Ambient, World
from harness.world.cell import Cell, Pair
from harness.world.charger import Charger
from harness.world.curves import sulzer2019
from harness.world.fast import simulate_compiled
from harness.world.gassing import Gassing
from harness.world.loop import simulate
from harness.world.many import run_stretch
from harness.world.network import ChargerLimits
from harness.world.pack import OddCell, Pack
from harness.world.plant import PlantSpec, advance_once
from harness.world.scenario_file import read, to_toml
from tests.world.small_worlds import branch, settings, world

CELL = Cell(
    100.0, 1.2e-3, (Pair(0.8e-3, 60.0),), sulzer2019(), factor_at_10_c=1.2, gassing=Gassing()
)
SETTINGS = settings(
    cells=24, absorption_v=57.6, entry_v=57.1, full_v=56.6, float_v=54.0, return_v=50.0,
    cell_limit_v=None, charge_efficiency=0.9, plausible_v=(24.0, 72.0), max_gap_s=200.0,
    empty_v=None,
)  # fmt: skip


def lead_acid_world(*, resolved: bool = False, packs: int = 2) -> World:
    """Half a day of a bank that swings in temperature, in steps of a minute."""
    meter = evolve(branch("any", 0.5).meter, interval_s=60.0)
    odd = (OddCell(1, soc_offset=-0.05),) if resolved else ()
    named = [
        branch(
            name,
            soc,
            pack=Pack(CELL, 24, soc, odd_cells=odd),
            settings=SETTINGS,
            meter=meter,
        )
        for name, soc in (("east", 0.90), ("west", 0.94))[:packs]
    ]
    return world(
        *named, hours=10.0, interval_s=60.0, resolved=resolved,
        charger=Charger(current_a=20.0, interval_s=60.0), ambient=Ambient(mean_c=20.0, swing_c=8.0),
    )  # fmt: skip


@pytest.mark.parametrize("resolved", [False, True])
def test_the_compiled_loop_gives_what_the_plain_one_gives(resolved: bool) -> None:
    one = lead_acid_world(resolved=resolved)
    plain, compiled = simulate(one), simulate_compiled(one)
    assert plain.stop is None
    assert compiled.summary == plain.summary
    assert compiled.events == plain.events
    assert compiled.summary.packs[0].gassed_ah > 0.05
    for ours, theirs in zip(compiled.packs, plain.packs, strict=True):
        assert ours.true_soc.tobytes() == theirs.true_soc.tobytes()
        assert ours.cell_max_v.tobytes() == theirs.cell_max_v.tobytes()


def test_a_stretch_is_its_steps() -> None:
    spec = PlantSpec([Pack(CELL, 24, 0.9)], [0.002], resolved=False)
    limits, closed = ChargerLimits(57.6, 20.0), np.zeros(1, np.int64)
    whole, single = spec.start().arrays, spec.start().arrays
    steps = run_stretch(
        spec.arrays, whole, 60.0, limits, np.full(300, 1.0), np.empty(0), closed, 1,
        np.empty((3, 0)), np.empty((3, 1, 0)),
    )  # fmt: skip
    assert steps == 300
    for _ in range(300):
        assert advance_once(spec.arrays, single, 60.0, limits, 1.0, closed)[0] == rows.OK
    for ours, theirs in zip(whole, single, strict=True):
        assert ours.tobytes() == theirs.tobytes()


FLOODED = """
title = "t"
shows = "s"
[run]
hours = 1
[bank]
cells = 6
[every_pack.cell]
capacity_ah = 100
series_ohm = 0.001
curve = "lead-acid-sulzer-2019"
gassing = { ma_per_100ah = 4 }
[[pack]]
name = "starter"
[pack.settings]
absorption_v = 14.4
entry_v = 14.3
full_v = 14.2
float_v = 13.5
return_v = 12.5
empty_v = 10.5
cell_limit_v = "none"
plausible_v = [6, 18]
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "flooded.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_says_how_cells_gas(tmp_path: Path) -> None:
    cell = read(written(tmp_path, FLOODED)).world.packs[0].pack.cell
    assert cell.curve is sulzer2019()
    assert cell.gassing == Gassing(ma_per_100ah=4.0)


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    scenario = read(written(tmp_path, FLOODED))
    again = read(written(tmp_path, to_toml(scenario)))
    assert again.world.packs[0].pack.cell == scenario.world.packs[0].pack.cell


@pytest.mark.parametrize(
    ("wrong", "column", "right"),
    [
        ("{ ma_per_100ah = -1 }", "gassing.ma_per_100ah", "from 0.01"),
        ("{ ma_per_100ah = 0 }", "gassing.ma_per_100ah", "from 0.01"),
        ("{ at_v = 0 }", "gassing.at_v", "above 0"),
        ("{ per_v = 1000 }", "gassing.per_v", "up to 100"),
        ("{ per_k = 1 }", "gassing.per_k", "up to 0.2"),
        ("{ charging_ohm_ah = -0.1 }", "gassing.charging_ohm_ah", "from 0"),
        ("{ end_soc = 0.9 }", "gassing.end_soc", "from 1"),
        ("{ per_volt = 11 }", "gassing.per_volt", "per_v"),
        ("0.01", "gassing", "a table with ma_per_100ah"),
        ("{}\ncoulombic_efficiency = 0.9", "coulombic_efficiency", "gassing says what is lost"),
        ("{}\nhysteresis_v = 0.02", "hysteresis_v", "gassing says what is lost"),
    ],
)
def test_what_no_cell_does_is_refused_with_its_field(
    tmp_path: Path, wrong: str, column: str, right: str
) -> None:
    text = FLOODED.replace("{ ma_per_100ah = 4 }", wrong)
    with pytest.raises(InputError) as refused:
        read(written(tmp_path, text))
    assert refused.value.column == f"every_pack.cell.{column}"
    assert right in refused.value.hint
