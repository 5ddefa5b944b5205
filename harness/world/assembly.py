"""From packs and wiring to the arrays that the compiled functions take."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.errors import InputError
from harness.world import rows
from harness.world.network import MOST_PACKS
from harness.world.pack import Cells, Pack
from harness.world.rows import Spec

_NO_GAS = (0, 0, rows.SPEC_GAS_ROWS)


def drawn_cells(packs: Sequence[Pack], resolved: bool) -> list[Cells]:
    """The cells of each pack, or the mean one that stands for them."""
    drawn = [pack.drawn() for pack in packs]
    if resolved:
        return drawn
    return [
        Cells(
            np.array([1.0 / np.mean(1.0 / cells.capacity_ah)]),
            np.array([cells.soc.mean()]),
            np.array([cells.resistance_factor.mean()]),
        )
        for cells in drawn
    ]


def assembled(
    packs: Sequence[Pack], lead_ohm: Sequence[float], main_ohm: float, resolved: bool
) -> Spec:
    """The arrays of a bank; arguments and errors as in `harness.world.plant.PlantSpec`."""
    if not 1 <= len(packs) <= MOST_PACKS:
        raise InputError(
            f"a bank of {len(packs)} packs", column="packs", hint=f"1 to {MOST_PACKS} of them"
        )
    if any(pack.count != packs[0].count for pack in packs):
        raise InputError(
            f"packs of {[pack.count for pack in packs]} cells in parallel",
            column="packs",
            hint="the same number of cells in each",
        )
    curve = packs[0].cell.curve
    if any(pack.cell.curve is not curve for pack in packs):
        raise InputError(
            f"packs of different curves: {sorted({pack.cell.curve.name for pack in packs})}",
            column="curve",
            hint="one curve for the whole bank",
        )
    gassing = packs[0].cell.gassing is not None
    if any((pack.cell.gassing is not None) != gassing for pack in packs):
        raise InputError(
            "packs of which only some gas", column="gassing", hint="gassing in all packs or in none"
        )
    count = packs[0].count if resolved else 1
    cells = np.zeros((len(packs), count, rows.SPEC_CELL_ROWS))
    per_pack = np.zeros((len(packs), rows.SPEC_PACK_ROWS))
    gas = np.zeros((len(packs), count, rows.SPEC_GAS_ROWS) if gassing else _NO_GAS)
    for p, (pack, (capacity_ah, _, factor)) in enumerate(
        zip(packs, drawn_cells(packs, resolved), strict=True)
    ):
        one = pack.cell
        cells[p, :, rows.OHM] = one.series_ohm * factor
        # A pair that is not there has no resistance; its time constant is any.
        cells[p, :, [rows.PAIR_1_S, rows.PAIR_2_S]] = 1.0
        for k, pair in enumerate(one.pairs):
            cells[p, :, (rows.PAIR_1_OHM, rows.PAIR_2_OHM)[k]] = pair.ohm * factor
            cells[p, :, (rows.PAIR_1_S, rows.PAIR_2_S)[k]] = pair.tau_s
        cells[p, :, rows.CAPACITY_AS] = 3600.0 * capacity_ah
        cells[p, :, rows.EFFICIENCY] = one.coulombic_efficiency
        cells[p, :, rows.LEAK_PER_S] = one.leak_per_s
        cells[p, :, rows.HYSTERESIS_V] = one.hysteresis_v
        cells[p, :, rows.HYSTERESIS_RATE] = one.hysteresis_rate
        if one.gassing is not None:
            gas[p, :, rows.GAS_A] = 1e-5 * one.gassing.ma_per_100ah * capacity_ah
            gas[p, :, rows.GAS_AT_V] = one.gassing.at_v
            gas[p, :, rows.GAS_PER_V] = one.gassing.per_v
            gas[p, :, rows.CHARGING_OHM] = one.gassing.charging_ohm_ah / capacity_ah * factor
            gas[p, :, rows.CHARGING_END_SOC] = one.gassing.end_soc
        per_pack[p, rows.LEAD_OHM] = lead_ohm[p]
        per_pack[p, rows.OWN_A] = pack.own_consumption_a
        per_pack[p, rows.SERIES] = pack.count // count
        per_pack[p, rows.LEAST_AS] = 3600.0 * capacity_ah.min()
        if pack.balancer is not None and resolved:
            balancer = pack.balancer
            per_pack[p, rows.BALANCER] = rows.PASSIVE if balancer.kind == "passive" else rows.ACTIVE
            per_pack[p, rows.BALANCE_FROM_V] = balancer.start_v
            per_pack[p, rows.BALANCE_SPREAD_V] = balancer.start_spread_v
            per_pack[p, rows.BALANCE_A] = balancer.current_a
            per_pack[p, rows.BALANCE_EFFICIENCY] = balancer.efficiency
    bank = np.zeros(rows.SPEC_BANK_ENTRIES)
    bank[rows.MAIN_OHM] = main_ohm
    bank[rows.BALANCING] = float(np.any(per_pack[:, rows.BALANCER] != rows.NO_BALANCER))
    return Spec(cells, per_pack, bank, curve.table.ravel(), gas)
