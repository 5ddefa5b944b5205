"""The wiring that is read off a log, against the conductor table from which the bank was built.

IEC 60228, 'Conductors of insulated cables', greatest resistance at 20 degrees C of plain copper, class 5,
as in agreeing secondary tables: 16 mm2 1.21, 35 mm2 0.554, 50 mm2 0.386 ohm a km.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from harness.explain.explained import explain
from harness.explain.wiring import Apart
from harness.logs.log import Log, PackLog
from harness.world.bank import World
from harness.world.charger import Charger
from harness.world.fast import simulate_compiled
from harness.world.loads import Appliance, Loads
from harness.world.wiring import Lead
from tests.world.small_worlds import ORDINARY, branch, settings, world

# Cross-section, loop, and the resistance by the table, worked out by hand.
CABLES = ((35.0, 6.0, 3.324e-3), (16.0, 10.0, 12.1e-3), (50.0, 3.0, 1.158e-3))


def day(one: Lead, other: Lead) -> World:
    own = settings(hold_s=1800.0, charge_current_a=60.0)
    packs = [
        branch("near", 0.45, lead=one, meter=ORDINARY, settings=own),
        branch("far", 0.65, lead=other, meter=ORDINARY, settings=own),
    ]
    loads = Loads(
        base_w=100.0,
        appliances=(Appliance(name="kettle", power_w=1500.0, minutes=6.0, per_day=60.0),),
    )
    return world(*packs, hours=8.0, loads=loads, charger=Charger(current_a=70.0), seed=4)


def log_of(bank: World) -> Log:
    result = simulate_compiled(bank)
    packs = []
    for pack in result.packs:
        assert pack.samples is not None
        seen, said = pack.samples.trace, pack.samples.answers
        charger_v = result.bank.charger_v[np.searchsorted(result.bank.t, pack.samples.true_t)]
        packs.append(
            PackLog(
                pack.name,
                Path("bank"),
                seen,
                said.stage,
                said.soc,
                said.full_reset,
                charger_v=np.round(charger_v, 2),
            )
        )
    return Log(Path("bank"), tuple(packs))


@pytest.mark.parametrize(("mm2", "length_m", "ohm"), CABLES)
def test_the_resistance_is_that_of_the_table(mm2: float, length_m: float, ohm: float) -> None:
    lead = Lead(length_m=length_m, mm2=mm2)
    assert lead.ohm == pytest.approx(ohm, rel=1e-12)
    bank = day(lead, Lead(length_m=2.0, mm2=25.0))
    explained = explain(log_of(bank), {each.name: each.settings for each in bank.packs})
    near = explained.lines["near"]
    assert near.apart is Apart.YES
    assert near.wiring_ohm == pytest.approx(ohm, abs=2.5e-4)
    assert near.mismatch_v == pytest.approx(0.0, abs=0.004)
    assert explained.shared is not None
    # 4 m of 50 mm2.
    assert explained.shared.ohm == pytest.approx(1.544e-3, abs=2.5e-4)
