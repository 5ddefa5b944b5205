"""The physics of many banks over a whole day or longer, compiled, on all cores."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from harness.errors import InputError
from harness.world import rows, single
from harness.world.compiling import kernel
from harness.world.network import ChargerLimits
from harness.world.plant import SOURCES, Code, PlantSpec, PlantState, advance
from harness.world.rows import Flags, Floats, Spec, State
from harness.world.single import PAUSE_STEPS, goes_on, is_single, run_single


@kernel(*SOURCES, single, __file__)
def run_stretch(
    spec: Spec,
    state: State,
    dt_s: float,
    limits: ChargerLimits,
    load_a: Floats,
    power_w: Floats,
    switches: Flags,
    every: int,
    bank_rows: Floats,
    pack_rows: Floats,
) -> int:
    """Take one bank a step on for each entry of `load_a`; returns the steps that went well.

    Args:
        spec: what the bank is.
        state: how it is; changed in place.
        dt_s: length of a step, s.
        limits: of the charger; the lower of its power and `power_w` holds.
        load_a: current of the loads in each step, A.
        power_w: power of the charger's source in each step, W; empty for no bound.
        switches: of each pack.
        every: steps between two kept ones.
        bank_rows: kept bus voltage, charger voltage and current; shape (3, kept).
        pack_rows: kept current, terminal voltage, highest cell voltage; shape (3, packs, kept).
    """
    alone = is_single(spec, switches) and dt_s > 0.0
    kept, k, single_from = 0, 0, 0
    while k < len(load_a):
        held_w = min(limits.power_w, power_w[k]) if len(power_w) > 0 else limits.power_w
        now = ChargerLimits(limits.voltage_v, limits.current_a, held_w, limits.regulated_ohm)
        code, bus_v, charger_v, charger_a = advance(spec, state, dt_s, now, load_a[k], switches)
        if code != rows.OK:
            return k
        if kept < bank_rows.shape[1] and (k + 1) % every == 0:
            bank_rows[0, kept], bank_rows[1, kept], bank_rows[2, kept] = bus_v, charger_v, charger_a
            for p in range(pack_rows.shape[1]):
                pack_rows[0, p, kept] = state.packs[p, rows.PACK_A]
                pack_rows[1, p, kept] = state.packs[p, rows.TERMINAL_V]
                pack_rows[2, p, kept] = state.packs[p, rows.CELL_MAX_V]
            kept += 1
        k += 1
        # A step in pieces leaves the length of the last of them.
        fitted = state.bank[rows.FITTED_S] == dt_s
        if alone and fitted and k >= single_from and goes_on(load_a, power_w, k):
            first = k
            k, kept = run_single(
                spec, state, now, load_a, power_w, first, every, kept, bank_rows, pack_rows
            )
            single_from = first + PAUSE_STEPS if k == first else k
    return len(load_a)


@frozen(eq=False)
class PhysicsRun:
    """What came of one bank; a kept column is the end of every `every`-th step.

    Attributes:
        state: how the bank was at the end; spoiled unless `code` is OK.
        steps: steps that went well.
        code: why it stopped, or OK.
        dt_s: length of a step, s.
        every: steps between two kept ones; 0 for none kept.
        bus: bus voltage (V), charger voltage (V), charger current (A); shape (3, kept).
        packs: current (A), terminal voltage (V), highest cell voltage (V); shape (3, packs, kept).
    """

    state: PlantState
    steps: int
    code: Code
    dt_s: float
    every: int
    bus: Floats = field(repr=False)
    packs: Floats = field(repr=False)

    @property
    def time_s(self) -> Floats:
        """When each kept column was, s from the start of the run."""
        return self.dt_s * self.every * np.arange(1, self.bus.shape[1] + 1)


def run_physics(
    specs: Sequence[PlantSpec],
    dt_s: float,
    limits: ChargerLimits,
    load_a: npt.ArrayLike,
    *,
    power_w: npt.ArrayLike = (),
    states: Sequence[PlantState] | None = None,
    every: int = 0,
    threads: int | None = None,
) -> list[PhysicsRun]:
    """Run banks on their own, all under the same limits, with all switches closed.

    Args:
        specs: the banks.
        dt_s: length of a step, s.
        limits: of every charger.
        load_a: loads of each step, A; shape (steps,) for all alike, or (banks, steps).
        power_w: what the source of the charger can give in each step, W; shapes as `load_a`, or
            empty for no bound.
        states: where each bank goes on from; not changed. None for its start.
        every: keep the end of every so-manieth step; 0 keeps none.
        threads: None for one a core.

    Returns:
        One entry a bank; a bank that could not go on is kept up to there.

    Raises:
        InputError: shapes that do not fit, or a limit, load or step that cannot be.
    """
    if not specs:
        return []
    loads = _each(load_a, len(specs), "load_a")
    powers = _each(power_w, len(specs), "power_w")
    if powers.shape[1] not in (0, loads.shape[1]):
        raise InputError(
            f"power_w of {powers.shape[1]} steps", column="power_w", hint=f"{loads.shape[1]} steps"
        )
    held = ChargerLimits(*map(float, limits))
    from_ = [s.start() for s in specs] if states is None else [s.copy() for s in states]
    if len(from_) != len(specs):
        raise InputError(f"{len(from_)} states", column="states", hint=f"{len(specs)} of them")

    def run(b: int) -> PhysicsRun:
        spec, state = specs[b].arrays, from_[b]
        packs = spec.cells.shape[0]
        kept = loads.shape[1] // every if every > 0 else 0
        bus, per_pack = np.empty((3, kept)), np.empty((3, packs, kept))
        switches = np.zeros(packs, np.int64)
        steps = run_stretch(
            spec, state.arrays, float(dt_s), held, loads[b], powers[b], switches,
            max(every, 1), bus, per_pack,
        )  # fmt: skip
        code = Code(int(state.arrays.bank[rows.CODE]))
        if code == Code.OK and steps < loads.shape[1]:
            raise InputError(
                f"step {steps} of bank {b}: {dt_s!r} s under {limits!r}, load {loads[b, steps]!r} A",
                hint="numbers of 0 or more; step, load and regulated_ohm finite",
            )
        whole = steps // max(every, 1) if every > 0 else 0
        return PhysicsRun(state, steps, code, dt_s, every, bus[:, :whole], per_pack[:, :, :whole])

    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        return list(pool.map(run, range(len(specs))))


def _each(values: npt.ArrayLike, banks: int, name: str) -> Floats:
    """One contiguous row a bank; a row that all share is not copied."""
    array = np.ascontiguousarray(values, np.float64)
    if array.ndim == 1:
        return np.broadcast_to(array, (banks, len(array)))
    if array.ndim != 2 or len(array) != banks:
        raise InputError(
            f"{name} of shape {array.shape}", column=name, hint=f"(steps,) or ({banks}, steps)"
        )
    return array
