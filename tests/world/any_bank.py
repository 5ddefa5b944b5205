"""Banks that nobody would build, and any day for them: what generated tests draw from."""

from __future__ import annotations

from typing import NamedTuple

from hypothesis import strategies as st

from harness.world.cell import Cell, Pair
from harness.world.curves import Curve, affine, lead_acid, naumann2018
from harness.world.network import ChargerLimits, Switch
from harness.world.pack import Balancer, OddCell, Pack, Spread
from harness.world.plant import PlantSpec

LINE = affine(3.0, 0.5)


def within(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False, allow_subnormal=False)


pairs = st.builds(Pair, within(1e-5, 5e-3), within(5.0, 5000.0))


@st.composite
def cells(draw: st.DrawFn, curve: Curve, *, plain: bool) -> Cell:
    """A cell; a plain one keeps all charge and has no hysteresis."""
    lossless = plain or draw(st.booleans())
    return Cell(
        draw(within(5.0, 400.0)),
        draw(within(5e-5, 5e-3)),
        tuple(draw(st.lists(pairs, max_size=2))),
        curve,
        coulombic_efficiency=1.0 if lossless else draw(within(0.8, 1.0)),
        self_discharge_per_month=0.0 if plain else draw(within(0.0, 0.2)),
        hysteresis_v=0.0 if lossless else draw(within(0.0, 0.03)),
        factor_at_10_c=draw(within(1.0, 1.6)),
        factor_at_40_c=draw(within(0.7, 1.0)),
    )


balancers = st.one_of(
    st.none(),
    st.builds(
        Balancer, st.sampled_from(["passive", "active"]), within(0.01, 2.0), within(0.001, 0.02),
        within(0.0, 3.4), within(0.5, 1.0),
    ),
)  # fmt: skip


@st.composite
def banks(draw: st.DrawFn, *, plain: bool = False) -> PlantSpec:
    """A bank of one to five packs; a plain one keeps all charge in its cells."""
    curve = draw(st.sampled_from([naumann2018(), lead_acid(), LINE]))
    count = draw(st.integers(1, 6))
    size = draw(st.integers(1, 5))
    packs = []
    for _ in range(size):
        odd = [] if plain else draw(st.lists(st.builds(
            OddCell, st.integers(0, count - 1), within(0.7, 1.2), within(-0.1, 0.1), within(0.5, 3.0),
        ), max_size=1))  # fmt: skip
        packs.append(
            Pack(
                draw(cells(curve, plain=plain)),
                count,
                draw(within(0.15, 0.9)),
                Spread(draw(within(0.0, 0.05)), draw(within(0.0, 0.03)), draw(within(0.0, 0.2)), 7),
                tuple(odd),
                0.0 if plain else draw(within(0.0, 0.2)),
                None if plain else draw(balancers),
            )
        )
    leads = [draw(within(0.0, 0.02)) for _ in packs]
    return PlantSpec(packs, leads, draw(within(0.0, 0.02)), resolved=draw(st.booleans()))


class Hour(NamedTuple):
    """What is asked of the bank for a while."""

    steps: int
    dt_s: float
    limits: ChargerLimits
    load_a: float
    switches: list[int]
    temp_c: float


@st.composite
def hours(draw: st.DrawFn, spec: PlantSpec) -> list[Hour]:
    """A few whiles, with currents that suit the capacity and voltages that suit the cells."""
    least_ah = min(pack.cell.capacity_ah for pack in spec.packs)
    count = spec.packs[0].count
    drawn = []
    for _ in range(draw(st.integers(1, 6))):
        voltage_v = count * draw(within(2.0, 3.55))
        limits = ChargerLimits(
            voltage_v,
            draw(st.one_of(st.just(0.0), within(0.0, 0.8 * least_ah))),
            draw(st.one_of(st.just(float("inf")), within(0.0, voltage_v * least_ah))),
            draw(st.sampled_from([0.0, spec.main_ohm])),
        )
        switch = st.sampled_from([Switch.CLOSED] * 3 + [Switch.OPEN, Switch.CHARGE_BLOCKED])
        drawn.append(
            Hour(
                draw(st.integers(1, 30)),
                draw(st.sampled_from([0.1, 1.0, 5.0, 30.0])),
                limits,
                draw(st.one_of(st.just(0.0), within(0.0, 0.4 * least_ah))),
                [int(draw(switch)) for _ in spec.packs],
                draw(within(-15.0, 50.0)),
            )
        )
    return drawn
