"""How current shares itself out between packs, loads and charger: Kirchhoff's rules, solved exactly.

At any instant a pack is a voltage behind a resistance. In the star every pack has a branch of its
own to the bus, the loads draw from the bus, and the charger feeds it through the main cable:

    bus = (Σ rest/ohm + charger - load) / Σ 1/ohm          current of a pack = (bus - rest) / ohm

The charger gives the least of what its limits allow: its current limit, its power limit at its own
terminals, and what brings the regulated point to its voltage. It never takes current back. A pack
whose switch blocks charging alone conducts only while the bus lies below its rest voltage.

The ladder, where the packs hang on the rungs of two rails, is solved for given rest voltages alone.
"""

from __future__ import annotations

from enum import IntEnum
from math import inf, sqrt
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from harness.errors import InputError
from harness.world import rows
from harness.world.compiling import aside, part
from harness.world.rows import Floats, State


class Switch(IntEnum):
    """What a pack's switch lets through."""

    CLOSED = 0
    OPEN = 1
    CHARGE_BLOCKED = 2


class Bound(IntEnum):
    """What bounds the charger's current."""

    OFF = 0  # the regulated point is at or above the charger's voltage
    VOLTAGE = 1
    CURRENT = 2
    POWER = 3
    DARK = 4  # no pack is connected and the charger alone cannot carry the load: the bus is dead


class ChargerLimits(NamedTuple):
    """What the charger must not exceed.

    Attributes:
        voltage_v: voltage of the regulated point, V. A correction that the charger makes (remote
            sense by messages, the error of its meter) is added or taken off by the caller.
        current_a: current, A; infinity for none.
        power_w: power at its own terminals, W; infinity for none.
        regulated_ohm: resistance between the bus and the regulated point, Ω: that of the main cable
            for the charger's own terminals, 0 for the bus.
    """

    voltage_v: float
    current_a: float
    power_w: float = inf
    regulated_ohm: float = 0.0


# Compiled code takes plain numbers.
CLOSED, OPEN, CHARGE_BLOCKED = (int(switch) for switch in Switch)
OFF, VOLTAGE, CURRENT, POWER, DARK = (int(bound) for bound in Bound)
# The bound takes the lowest three bits of a network's state, each pack that conducts one above.
BOUND_BITS = 7
PACK_SHIFT = 3
MOST_PACKS = 60


class Source(NamedTuple):
    """Packs that together are one source.

    Attributes:
        rest_v: their voltage without current at the bus, V; NaN where none conducts.
        ohm: their resistance, Ω; infinite where none conducts.
        share: current that the charger gives per V at the regulated point, A/V.
    """

    rest_v: float
    ohm: float
    share: float


@part
def alone(rest_v: float, ohm: float, regulated_ohm: float) -> Source:
    """One pack, of its rest voltage (V) and resistance (Ω)."""
    return Source(rest_v, ohm, 1.0 / (ohm + regulated_ohm))


@part
def together(strength_a: float, siemens: float, regulated_ohm: float) -> Source:
    """Packs that conduct, of the sums of rest voltage over resistance (A) and of one over resistance.

    Written so that no division waits for another, nor for the packs' voltages.
    """
    ohm = 1.0 / siemens
    return Source(strength_a * ohm, ohm, siemens * (1.0 / (1.0 + regulated_ohm * siemens)))


@part
def charge(
    packs: Source, limits: ChargerLimits, load_a: float, main_ohm: float
) -> tuple[float, float, int]:
    """Bus voltage, charger current and what bounds it.

    Args:
        packs: that conduct.
        limits: of the charger.
        load_a: current of the loads, A.
        main_ohm: of the main cable, Ω.
    """
    ohm = packs.ohm
    if ohm == inf:
        bus_v = limits.voltage_v - limits.regulated_ohm * load_a
        power_w = (bus_v + main_ohm * load_a) * load_a
        if load_a > limits.current_a or power_w > limits.power_w or bus_v <= 0.0:
            return 0.0, 0.0, DARK
        return bus_v, load_a, VOLTAGE
    loaded_v = packs.rest_v - ohm * load_a
    charger_a = (limits.voltage_v - loaded_v) * packs.share
    if charger_a <= 0.0:
        return loaded_v, 0.0, OFF
    bound = VOLTAGE
    if limits.current_a < charger_a:
        charger_a, bound = limits.current_a, CURRENT
    terminal_ohm = ohm + main_ohm
    if charger_a * (loaded_v + terminal_ohm * charger_a) > limits.power_w:
        root = sqrt(loaded_v * loaded_v + 4.0 * terminal_ohm * limits.power_w)
        charger_a, bound = 2.0 * limits.power_w / (loaded_v + root), POWER
    return loaded_v + ohm * charger_a, charger_a, bound


@aside
def charger_by(
    bound: int,
    strength_a: float,
    siemens: float,
    limits: ChargerLimits,
    load_a: float,
    main_ohm: float,
) -> float:
    """What the charger would give if nothing but `bound` bounded it, A; the rest as in `charge`."""
    rest_a = strength_a - load_a
    if bound == VOLTAGE:
        return (limits.voltage_v * siemens - rest_a) / (1.0 + limits.regulated_ohm * siemens)
    if bound == CURRENT:
        return limits.current_a
    if bound == POWER:
        rest_v, ohm = rest_a / siemens, 1.0 / siemens + main_ohm
        root = sqrt(rest_v * rest_v + 4.0 * ohm * limits.power_w)
        return 2.0 * limits.power_w / (rest_v + root)
    return 0.0


@aside
def let_through(
    packs: Floats,
    strength_a: float,
    total: float,
    limits: ChargerLimits,
    load_a: float,
    main_ohm: float,
) -> tuple[float, float, int]:
    """`charge` where the switches of some packs block charging: who of them conducts.

    Those with the highest rest voltage come first; each pulls the bus up, but never above its own
    rest voltage, so none that conducts is ever shut again.

    Args:
        packs: `State.packs`; SIEMENS is set for those that conduct.
        strength_a: of the packs that are closed, as in `charge`.
        total: their siemens.
        limits: of the charger.
        load_a: current of the loads, A.
        main_ohm: of the main cable, Ω.
    """
    source = together(strength_a, total, limits.regulated_ohm)
    bus_v, charger_a, bound = charge(source, limits, load_a, main_ohm)
    conducting = 0
    for _ in range(packs.shape[0]):
        highest = -1
        for p in range(packs.shape[0]):
            waits = packs[p, rows.SEEN_SWITCH] == CHARGE_BLOCKED and not conducting >> p & 1
            if waits and (highest < 0 or packs[p, rows.REST_V] > packs[highest, rows.REST_V]):
                highest = p
        if highest < 0 or (bound != DARK and packs[highest, rows.REST_V] <= bus_v):
            break
        conducting |= 1 << highest
        packs[highest, rows.SIEMENS] = 1.0 / packs[highest, rows.BRANCH_OHM]
        strength_a += packs[highest, rows.SIEMENS] * packs[highest, rows.REST_V]
        total += packs[highest, rows.SIEMENS]
        source = together(strength_a, total, limits.regulated_ohm)
        was_dark = bound == DARK
        bus_v, charger_a, bound = charge(source, limits, load_a, main_ohm)
        if was_dark and bound == POWER and bus_v > packs[highest, rows.REST_V]:
            # The charger alone carries the loads, at the voltage at which its power is enough.
            packs[highest, rows.SIEMENS] = 0.0
            conducting &= ~(1 << highest)
            bus_v, charger_a = limits.power_w / load_a - main_ohm * load_a, load_a
            break
    return bus_v, charger_a, bound | conducting << PACK_SHIFT


@part
def star(
    state: State, strength_a: float, total: float, limits: ChargerLimits, load_a: float
) -> tuple[float, float, int]:
    """Bus voltage, charger current, and the state of the network: what bounds it, who conducts.

    Args:
        state: of the bank; `State.packs` with its columns REST_V (V), BRANCH_OHM and SIEMENS set.
        strength_a: sum of rest voltage times siemens over the packs that are closed, A.
        total: sum of their siemens.
        limits: of the charger.
        load_a: current of the loads, A.
    """
    main_ohm = state.bank[rows.HELD_MAIN_OHM]
    if state.bank[rows.BLOCKED] > 0.0:
        return let_through(state.packs, strength_a, total, limits, load_a, main_ohm)
    if state.packs.shape[0] == 1 and total > 0.0:
        pack = state.packs[0]
        source = alone(pack[rows.REST_V], pack[rows.BRANCH_OHM], limits.regulated_ohm)
    else:
        source = together(strength_a, total, limits.regulated_ohm)
    return charge(source, limits, load_a, main_ohm)


@part
def pack_current(state: State, p: int, bus_v: float, fed_a: float) -> float:
    """What flows into pack `p` at this bus voltage, A; all that is fed in where it is the only one.

    Args:
        state: of the bank, with REST_V and SIEMENS of its packs set.
        p: which pack.
        bus_v: of the bus, V.
        fed_a: what the charger gives less what the loads draw, A.
    """
    pack = state.packs[p]
    if state.packs.shape[0] == 1 and pack[rows.SIEMENS] > 0.0:
        return fed_a
    return float((bus_v - pack[rows.REST_V]) * pack[rows.SIEMENS])


def ladder_currents(
    rest_v: npt.ArrayLike,
    ohm: npt.ArrayLike,
    rail_ohm: float,
    current_a: float,
    *,
    fed: Literal["one end", "opposite ends"] = "one end",
) -> Floats:
    """Currents of packs that hang on the rungs between two rails, A; shape (packs,).

    Args:
        rest_v: voltage of each pack without current, V.
        ohm: resistance of each pack, Ω.
        rail_ohm: of each rail between two neighbours, Ω.
        current_a: what is fed in, A.
        fed: both rails at the first pack, or the positive at the first and the negative at the last.

    Raises:
        InputError: a resistance of zero, or a shape that does not fit.
    """
    rest, packs_ohm = np.atleast_1d(np.asarray(rest_v, float)), np.asarray(ohm, float)
    count = len(rest)
    if packs_ohm.shape != rest.shape or not np.all(packs_ohm > 0.0):
        raise InputError(
            f"resistances {packs_ohm.tolist()}", column="ohm", hint="one above 0 Ω for each pack"
        )
    if count > 1 and not rail_ohm > 0.0:
        raise InputError(f"rails of {rail_ohm!r} Ω", column="rail_ohm", hint="more than 0 Ω")
    # Nodes: the positive rail, then the negative one; the last node fed out of is the reference.
    nodal, fed_in = np.zeros((2 * count, 2 * count)), np.zeros(2 * count)

    def branch(a: int, b: int, siemens: float) -> None:
        nodal[a, a] += siemens
        nodal[b, b] += siemens
        nodal[a, b] -= siemens
        nodal[b, a] -= siemens

    for p in range(count):
        branch(p, count + p, 1.0 / packs_ohm[p])
        fed_in[p] += rest[p] / packs_ohm[p]
        fed_in[count + p] -= rest[p] / packs_ohm[p]
        if p + 1 < count:
            branch(p, p + 1, 1.0 / rail_ohm)
            branch(count + p, count + p + 1, 1.0 / rail_ohm)
    out = count if fed == "one end" else 2 * count - 1
    fed_in[0] += current_a
    fed_in[out] -= current_a
    kept = np.delete(np.arange(2 * count), out)
    node_v = np.zeros(2 * count)
    node_v[kept] = np.linalg.solve(nodal[np.ix_(kept, kept)], fed_in[kept])
    currents: Floats = (node_v[:count] - node_v[count:] - rest) / packs_ohm
    return currents
