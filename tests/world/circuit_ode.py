"""The circuit of a bank once more, for a tight general solver: what the plant is compared with.

Written from the circuit alone, with nothing of the package in it: one mean cell a pack, one or two
pairs, a star of leads, a main cable, and a charger that gives the least of what current, power and
voltage allow. A stretch runs from one change of what bounds the charger to the next, so that the
solver meets smooth equations only.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.integrate import solve_ivp

Floats = npt.NDArray[np.float64]


def naumann_v(soc: Floats) -> Floats:
    """Naumann, PhD thesis, TU München 2018, as coded in SimSES 1.3.12."""
    s = soc
    return np.asarray(
        2.0020
        - 3.3160 / (1 + np.exp(-116.2064 * (s + 0.1572)))
        + 4.9996 / (1 + np.exp(-22.4512 * (s + 0.0944)))
        - 0.4574 / (1 + np.exp(358.9072 * (s - 1)))
        - 1.3646 / (1 + np.exp(499.9994 * s))
        + 0.1251 * s
    )


class Circuit(NamedTuple):
    """A bank; arrays of shape (packs,), resistances of whole packs, pairs of shape (pairs, packs)."""

    cells: int
    capacity_ah: Floats
    series_ohm: Floats
    pair_ohm: Floats
    pair_s: Floats
    lead_ohm: Floats
    main_ohm: float
    open_v: Callable[[Floats], Floats] = naumann_v


class Asked(NamedTuple):
    """What the charger must not exceed at its terminals, and the load at the bus."""

    voltage_v: float
    current_a: float
    power_w: float
    load_a: float


class Moment(NamedTuple):
    """What flows at an instant."""

    bus_v: float
    charger_a: float
    pack_a: Floats
    terminal_v: Floats


OFF, VOLTAGE, CURRENT, POWER = range(4)
# Bounds that lie closer together than this do not take turns.
SLACK_A = 1e-9


def wishes(circuit: Circuit, asked: Asked, y: Floats) -> tuple[Floats, float, float, Floats]:
    """Charger current by each bound, bus voltage without charger, bus resistance, pack voltages."""
    packs = len(circuit.capacity_ah)
    emf = circuit.cells * circuit.open_v(y[:packs]) + y[packs:].reshape(-1, packs).sum(axis=0)
    siemens = 1.0 / (circuit.series_ohm + circuit.lead_ohm)
    ohm = 1.0 / siemens.sum()
    rest_v = ((siemens * emf).sum() - asked.load_a) * ohm
    terminal_ohm = ohm + circuit.main_ohm
    by_voltage = (asked.voltage_v - rest_v) / terminal_ohm
    by_power = np.inf
    if np.isfinite(asked.power_w):
        root = np.sqrt(rest_v**2 + 4.0 * terminal_ohm * asked.power_w)
        by_power = (root - rest_v) / (2.0 * terminal_ohm)
    return np.array([0.0, by_voltage, asked.current_a, by_power]), rest_v, ohm, emf


def bound_now(circuit: Circuit, asked: Asked, y: Floats) -> int:
    """What bounds the charger."""
    wished, _, _, _ = wishes(circuit, asked, y)
    return OFF if wished[VOLTAGE] <= 0.0 else int(np.argmin(wished[1:])) + 1


def moment(circuit: Circuit, asked: Asked, y: Floats, bound: int | None = None) -> Moment:
    """Solve the star for the state `y`: SoC of each pack, then the voltages of its pairs."""
    wished, rest_v, ohm, emf = wishes(circuit, asked, y)
    charger_a = wished[bound_now(circuit, asked, y) if bound is None else bound]
    bus_v = rest_v + ohm * charger_a
    pack_a = (bus_v - emf) / (circuit.series_ohm + circuit.lead_ohm)
    return Moment(bus_v, charger_a, pack_a, bus_v - circuit.lead_ohm * pack_a)


def solve(
    circuit: Circuit, asked: Asked, y: Floats, until_s: float, at_s: Floats, tight: float = 1e-11
) -> tuple[Floats, Floats, list[tuple[float, int]]]:
    """Solve from 0 to `until_s`.

    Returns:
        The states at `at_s` as columns, the state at the end, and each time (s) from which another
        bound held, with that bound.
    """
    packs = len(circuit.capacity_ah)
    columns = np.empty((len(y), len(at_s)))
    bound = bound_now(circuit, asked, y)
    now_s, changes = 0.0, [(0.0, bound)]

    def slopes(_: float, state: Floats, held: int) -> Floats:
        flows = moment(circuit, asked, state, held).pack_a
        pairs_v = state[packs:].reshape(-1, packs)
        pairs = (circuit.pair_ohm * flows - pairs_v) / circuit.pair_s
        return np.concatenate([flows / (3600.0 * circuit.capacity_ah), pairs.ravel()])

    def rival(other: int) -> Callable[[float, Floats, int], float]:
        def margin(_: float, state: Floats, held: int) -> float:
            wished = wishes(circuit, asked, state)[0]
            if held == OFF:
                return float(SLACK_A - wished[VOLTAGE])
            # Off is a rival of every bound, once nothing would flow.
            left_a = wished[held] if other == OFF else wished[other] - wished[held]
            return float(SLACK_A + left_a)

        margin.terminal = True  # type: ignore[attr-defined]
        margin.direction = -1.0  # type: ignore[attr-defined]
        return margin

    while now_s < until_s:
        finite = np.isfinite(wishes(circuit, asked, y)[0])
        rivals = [VOLTAGE] if bound == OFF else [k for k in range(4) if k != bound and finite[k]]
        inside = np.flatnonzero((at_s >= now_s) & (at_s <= until_s))
        found = solve_ivp(
            slopes, (now_s, until_s), y, method="DOP853", rtol=tight, atol=1e-13,
            args=(bound,), dense_output=True, events=[rival(k) for k in rivals],
        )  # fmt: skip
        assert found.success, found.message
        reached = inside[at_s[inside] <= found.t[-1]]
        if len(reached):
            columns[:, reached] = found.sol(at_s[reached])
        y, now_s = found.y[:, -1], float(found.t[-1])
        if found.status == 1:
            bound = next(k for k, when in zip(rivals, found.t_events, strict=True) if len(when))
            changes.append((now_s, bound))
    return columns, y, changes
