"""The physics of a bank of packs in parallel, one step after the other.

**The circuit.** Cell c of pack p carries `i = I_p - own - drain`: the pack's current less what the
pack's electronics and its balancer draw. Its voltage is

    V = U(z) + H·h + u1 + u2 + R·i

with its state of charge z, the open-circuit voltage U, the share h of the hysteresis H, and the
voltages of up to two pairs:

    dz/dt = eta·i / 3600 Q - leak        eta: coulombic efficiency, 1 while discharging
    du/dt = (R_pair·i - u) / tau
    dh/dz = ±rate·(1 - ±h)               + while charging, - while discharging (Plett, J. Power
                                         Sources 134, 2004; the form is from memory)

All resistances of a pack grow by one factor with the cold. A cell that gasses (lead-acid) has a
branch beside all that (`harness.world.gassing_step`). Cells are in series, packs hang on the
bus behind their leads, and the charger feeds the bus through the main cable (`harness.world.network`).

**A step.** Within a step every pack's current runs along a straight line from I0 to I1 (first-order
hold). For a straight line the equations of z and u are solved exactly; U is taken along its tangent
at a SoC ẑ near the one where the step will end. All that is linear in I1, so at the end of the step
a pack is a source behind a resistance,

    V_p = E_p + R_p·I1     E_p = Σ [U(ẑ) + U'(ẑ)·(z + k·I0/2 - ẑ) + e^(-dt/tau)·u + w0·I0]
                           R_p = Σ [R + w1 + U'(ẑ)·k/2]

with the weights w0, w1 of the pairs and k = eta·dt/3600Q. The network of these sources is solved
exactly and gives every I1. ẑ is where the current of the step before would lead; where the SoC
comes out more than 1e-5 from it, the tangent is laid there and the network solved again.

**Jumps.** I0 is not the I1 before it where a load, a limit or a switch has changed: the network is
solved at the start of such a step with z and u as they are (`harness.world.moment`).

**Bends.** The charger gives the least that its current, power and voltage allow, and never takes
current; a pack whose charging is blocked conducts one way. When what bounds the charger, or who
conducts, is not the same at both ends of a step, the moment of the change is found to a millionth of
what is left of the step, and the step is taken in two pieces. A change and its
undoing within one step go unnoticed. Where no pack is connected and the charger cannot carry the
load, the bus is dark: all is 0 V and the load gets nothing.

**What it is good for.** Pairs and leads with time constants well above the step: with tau of 30 s
and steps of 1 s a pack of 16 cells stays within 0.01 mV of a tight solver. Balancers, own
consumption and the charger's limits hold still during a step. Temperature is given, not computed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import inf, nan
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from harness.errors import InputError
from harness.world import (
    bend,
    cell,
    cell_step,
    compiling,
    curves,
    gassing_step,
    lane_numbers,
    moment,
    network,
    rows,
    step,
)
from harness.world.assembly import assembled, drawn_cells
from harness.world.compiling import kernel
from harness.world.gassing import gas_course
from harness.world.network import Bound, ChargerLimits, Switch
from harness.world.pack import Pack
from harness.world.rows import Code, Flags, Floats, Spec, State
from harness.world.step import advance
from harness.world.warmth import factor_course

# Whatever is compiled into a kernel that calls `advance`: to be handed to `kernel` with its own file.
SOURCES = (
    bend, cell, cell_step, compiling, curves, gassing_step, lane_numbers, moment, network, rows, step,
)  # fmt: skip

__all__ = [
    "SOURCES", "Bound", "ChargerLimits", "Code", "Plant", "PlantError", "PlantSpec", "PlantState",
    "Settled", "Spec", "State", "Switch", "advance", "advance_once",
]  # fmt: skip


@kernel(*SOURCES, __file__)
def advance_once(
    spec: Spec, state: State, dt_s: float, limits: ChargerLimits, load_a: float, switches: Flags
) -> tuple[int, float, float, float]:
    """`harness.world.step.advance` for a caller that is not compiled."""
    return advance(spec, state, dt_s, limits, load_a, switches)


def _resistance(_: object, __: object, value: float) -> None:
    if not 0.0 <= value < inf:
        raise InputError(
            f"a main cable of {value!r} Ω", column="main_ohm", hint="0 Ω or more, and finite"
        )


def _all_packs(packs: Iterable[Pack]) -> tuple[Pack, ...]:
    return tuple(packs)


def _all_ohms(ohms: Iterable[float]) -> tuple[float, ...]:
    return tuple(ohms)


@frozen(eq=False)
class PlantSpec:
    """A bank: its packs and the resistances between them and the charger.

    Attributes:
        packs: the packs, all with cells of the same open-circuit voltage curve.
        lead_ohm: resistance of each pack's lead with its contacts, Ω.
        main_ohm: resistance of the main cable from the bus to the charger, Ω.
        resolved: whether every cell is followed on its own; otherwise each pack is one mean cell
            times their number, several times faster, without spread and balancers.
        arrays: the same as the compiled functions take it.

    Raises:
        InputError: no pack or more than 60, packs that do not fit together, a resistance that
            cannot be.
    """

    packs: tuple[Pack, ...] = field(converter=_all_packs)
    lead_ohm: tuple[float, ...] = field(converter=_all_ohms)
    main_ohm: float = field(default=0.0, validator=_resistance)
    resolved: bool = True
    arrays: Spec = field(init=False, repr=False)

    @lead_ohm.validator
    def _one_each(self, _: object, value: tuple[float, ...]) -> None:
        if len(value) != len(self.packs) or not all(0.0 <= ohm < inf for ohm in value):
            raise InputError(
                f"leads of {list(value)} Ω for {len(self.packs)} packs",
                column="lead_ohm",
                hint="one of 0 Ω or more for each pack",
            )

    @arrays.default
    def _built(self) -> Spec:
        return assembled(self.packs, self.lead_ohm, self.main_ohm, self.resolved)

    @property
    def inhibited_switches(self) -> Flags:
        """What the switch of each pack does when its controller inhibits; shape (packs,)."""
        return np.array([int(pack.inhibited_switch) for pack in self.packs], np.int64)

    def resistance_factors(self, temp_c: float | Sequence[float]) -> Floats:
        """Resistances at a temperature over those at 25 degrees C; shape (packs,)."""
        temps = np.broadcast_to(np.asarray(temp_c, float), (len(self.packs),))
        pairs = zip(self.packs, temps, strict=True)
        return np.array([pack.cell.resistance_factor(float(temp)) for pack, temp in pairs])

    def resistance_course(self, air_c: Floats, warmer_c: Floats) -> Floats:
        """The same for each temperature of the air; shape (intervals, packs).

        Args:
            air_c: temperatures, degrees C.
            warmer_c: how much warmer than the air each pack is, K.
        """
        factors = np.empty((len(air_c), len(self.packs)))
        logs = np.array([pack.cell.resistance_logs for pack in self.packs])
        factor_course(air_c, warmer_c, logs, factors)
        return factors

    def gas_factors(self, temp_c: float | Sequence[float]) -> Floats:
        """What temperatures make of gassing, over that at 25 degrees C; shape (packs,)."""
        temps = np.broadcast_to(np.asarray(temp_c, float), (len(self.packs),))
        course = self.gas_course(np.zeros(1), temps)
        return course[0] if len(course) else np.ones(len(self.packs))

    def gas_course(self, air_c: Floats, warmer_c: Floats) -> Floats:
        """The same for each temperature of the air; as `resistance_course`, empty if none gasses."""
        return gas_course([pack.cell.gassing for pack in self.packs], air_c, warmer_c)

    def start(self, temp_c: float | Sequence[float] = 25.0) -> PlantState:
        """The bank at rest at its starting SoC, nothing connected yet."""
        return PlantState.at_rest(self, temp_c)


@frozen(eq=False)
class PlantState:
    """How a bank is at an instant: views into the arrays that the compiled functions change.

    Attributes:
        arrays: the arrays.
    """

    arrays: State

    @classmethod
    def at_rest(cls, spec: PlantSpec, temp_c: float | Sequence[float]) -> PlantState:
        """At the starting SoC, without current; the first step lets the currents jump."""
        packs, count, _ = spec.arrays.cells.shape
        cells = np.zeros((packs, count, rows.STATE_CELL_ROWS))
        for p, (_, soc, _) in enumerate(drawn_cells(spec.packs, spec.resolved)):
            cells[p, :, rows.SOC] = soc
        cells[:, :, rows.OPEN_V] = spec.packs[0].cell.curve.voltage_v(cells[:, :, rows.SOC])
        cells[:, :, rows.CELL_V] = cells[:, :, rows.OPEN_V]
        cells[:, :, rows.OUT_A] = spec.arrays.packs[:, rows.OWN_A, None]
        per_pack = np.zeros((packs, rows.STATE_PACK_ROWS))
        per_pack[:, rows.FACTOR] = spec.resistance_factors(temp_c)
        per_pack[:, rows.GAS_FACTOR] = spec.gas_factors(temp_c)
        per_pack[:, rows.TERMINAL_V] = (
            cells[:, :, rows.OPEN_V].sum(axis=1) * spec.arrays.packs[:, rows.SERIES]
        )
        per_pack[:, rows.CELL_MAX_V] = cells[:, :, rows.OPEN_V].max(axis=1)
        per_pack[:, [rows.SEEN_FACTOR, rows.SEEN_SWITCH]] = nan
        per_pack[:, rows.HELD_LEAD_OHM] = spec.arrays.packs[:, rows.LEAD_OHM]
        per_pack[:, rows.HELD_SERIES] = spec.arrays.packs[:, rows.SERIES]
        bank = np.zeros(rows.STATE_BANK_ENTRIES)
        bank[rows.SEEN_VOLTAGE] = nan
        bank[rows.HELD_MAIN_OHM] = spec.arrays.bank[rows.MAIN_OHM]
        bank[rows.HELD_BALANCING] = spec.arrays.bank[rows.BALANCING]
        gas = np.zeros((*spec.arrays.gas.shape[:2], rows.STATE_GAS_ROWS))
        return cls(State(cells, per_pack, bank, gas))

    def copy(self) -> PlantState:
        """The same, in arrays of its own."""
        return PlantState(State(*(array.copy() for array in self.arrays)))

    @property
    def soc(self) -> Floats:
        """True SoC of every cell; shape (packs, cells). A view."""
        return self.arrays.cells[:, :, rows.SOC]

    @property
    def cell_v(self) -> Floats:
        """Voltage of every cell, V; shape (packs, cells). A view."""
        return self.arrays.cells[:, :, rows.CELL_V]

    @property
    def out_a(self) -> Floats:
        """What electronics and balancer draw from every cell, A; shape (packs, cells). A view."""
        return self.arrays.cells[:, :, rows.OUT_A]

    @property
    def pack_a(self) -> Floats:
        """Current of each pack, A; shape (packs,). A view."""
        return self.arrays.packs[:, rows.PACK_A]

    @property
    def terminal_v(self) -> Floats:
        """Voltage at each pack's own terminals, before its lead, V; shape (packs,). A view.

        Of an open pack: on the side of its cells.
        """
        return self.arrays.packs[:, rows.TERMINAL_V]

    @property
    def cell_max_v(self) -> Floats:
        """Highest cell voltage of each pack, V; shape (packs,). A view."""
        return self.arrays.packs[:, rows.CELL_MAX_V]

    @property
    def resistance_factor(self) -> Floats:
        """Factor on all resistances of each pack; shape (packs,). A view: set it to warm or cool."""
        return self.arrays.packs[:, rows.FACTOR]

    @property
    def gas_factor(self) -> Floats:
        """What its temperature makes of the gassing of each pack; shape (packs,). A view: set it."""
        return self.arrays.packs[:, rows.GAS_FACTOR]

    @property
    def gassed_ah(self) -> Floats:
        """Charge that went into gas, Ah; shape (packs, cells), or (0, 0) where no cell gasses."""
        return self.arrays.gas[:, :, rows.GASSED_AS] / 3600.0

    @property
    def bound(self) -> Bound:
        """What bounds the charger's current."""
        return Bound(int(self.arrays.bank[rows.NETWORK]) & network.BOUND_BITS)

    @property
    def charger_wh(self) -> float:
        """Energy that the charger gave at its own terminals, Wh."""
        return float(self.arrays.bank[rows.CHARGER_J]) / 3600.0

    @property
    def load_wh(self) -> float:
        """Energy that the loads took at the bus, Wh."""
        return float(self.arrays.bank[rows.LOAD_J]) / 3600.0


class Settled(NamedTuple):
    """What the bank as a whole does at the end of a step: V, V, A."""

    bus_v: float
    charger_v: float
    charger_a: float


_SWITCHES = frozenset(map(int, Switch))

_SAYS: dict[Code, str] = {
    Code.BUS_VOLTAGE: "the bus voltage is not above zero, or not finite: the load is more than "
    "the packs can carry",
    Code.SOC: f"a cell's SoC left {cell_step.LEAST_SOC:g} to {cell_step.MOST_SOC:g}, or is not finite",
    Code.NOT_CONVERGED: "the end of the step was not found: take shorter steps",
    Code.RESTLESS: f"charger or switches changed more than {step.MOST_PIECES} times in a step",
}


class PlantError(Exception):
    """The bank cannot go on: its state diverged, or the circuit has no solution.

    Attributes:
        code: what happened.
        step: number of the step, from 0.
        time_s: when the step began, s.
        inputs: what the step was asked for, by name.
    """

    def __init__(
        self, code: Code, step_number: int, time_s: float, inputs: dict[str, object]
    ) -> None:
        given = ", ".join(f"{name} {value}" for name, value in inputs.items())
        super().__init__(f"step {step_number} at {time_s:g} s ({given}): {_SAYS[code]}")
        self.code, self.step, self.time_s, self.inputs = code, step_number, time_s, inputs


class Plant:
    """A bank that moves, for callers in Python; each step costs some µs more than compiled.

    Attributes:
        spec: what it is.
        state: how it is; changed in place.
        time_s: time since the start, s.
        steps: steps taken.
    """

    def __init__(self, spec: PlantSpec, state: PlantState | None = None) -> None:
        self.spec = spec
        self.state = spec.start() if state is None else state
        self.time_s = 0.0
        self.steps = 0
        self._closed = np.zeros(len(spec.packs), np.int64)

    def advance(
        self,
        dt_s: float,
        limits: ChargerLimits,
        load_a: float = 0.0,
        switches: npt.ArrayLike | None = None,
    ) -> Settled:
        """Take one step; what each pack does is then in `state`.

        Args:
            dt_s: its length, s; 0 only lets the currents jump.
            limits: of the charger, during the whole step.
            load_a: current of the loads at the bus, A.
            switches: `Switch` of each pack; None for all closed.

        Raises:
            InputError: a step, limit, load or switch that cannot be; nothing was done.
            PlantError: the bank cannot go on; the state is spoiled.
        """
        held = self._closed if switches is None else self._checked(switches)
        numbers = ChargerLimits(*map(float, limits))
        code, *settled = advance_once(
            self.spec.arrays, self.state.arrays, float(dt_s), numbers, float(load_a), held
        )
        if code == Code.BAD_INPUT:
            raise InputError(
                f"a step of {dt_s!r} s under {limits!r} with a load of {load_a!r} A",
                hint="numbers of 0 or more; step, load and regulated_ohm finite",
            )
        if code != Code.OK:
            given: dict[str, object] = {"dt_s": dt_s, **limits._asdict(), "load_a": load_a}
            given["switches"] = held.tolist()
            raise PlantError(Code(code), self.steps, self.time_s, given)
        self.steps += 1
        self.time_s += dt_s
        return Settled(*settled)

    def _checked(self, switches: npt.ArrayLike) -> Flags:
        # The compiled code looks at no bounds.
        held: Flags = np.ascontiguousarray(switches, np.int64)
        if held.shape != self._closed.shape or not all(s in _SWITCHES for s in held.tolist()):
            raise InputError(
                f"switches {switches!r}", column="switches", hint="one `Switch` for each pack"
            )
        return held
