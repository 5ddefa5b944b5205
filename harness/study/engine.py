"""Banks in several arms, run to the end without the interpreter, and summed up.

The arms of a bank share its packs, its weather, its loads and the noise of its meters: they are
drawn once. What differs is what is set, on the packs' controllers and on the bank, and the rule that
decides a full reset.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import inf, nan

import numpy as np
from attrs import evolve, fields

from ctrl.bank import POLICIES
from ctrl.compiled import Condition
from ctrl.flat import (
    LIMITS_ENTRIES,
    RULE_ENTRIES,
    compiles,
    limits_row,
    own_conditions,
    rule_row,
    state_row,
)
from ctrl.limits import TIME_SLACK_S
from ctrl.resets import ResetRule
from ctrl.settings import Settings
from ctrl.state import NEVER
from harness.errors import InputError
from harness.study import lanes, tally
from harness.study.columns import columns_of
from harness.study.lane_control import POLICY_ENTRIES, Controls
from harness.study.lanes import lanes_of
from harness.study.lockstep import Ends, Supply, runner
from harness.study.tally import Tallied, Thresholds
from harness.world import charger, rows, turn
from harness.world.bank import Branch, World
from harness.world.charger import start_charger
from harness.world.lane_numbers import LANES
from harness.world.outcome import physics_stop
from harness.world.outcome import stored_wh as energy_wh
from harness.world.plant import PlantState
from harness.world.result import Stop
from harness.world.rows import Floats
from harness.world.turn import Rig, rigged, started

__all__ = ["Tallied", "Thresholds", "columns_of", "compile_for", "tally_bank"]

HOUR_S = 3600.0


def compile_for(rules: Sequence[ResetRule]) -> None:
    """Compile the conditions of these rules, and bind the loop to them; it is compiled when it runs.

    Args:
        rules: all rules of a study.

    Raises:
        InputError: a rule of one's own whose condition cannot be compiled.
    """
    _checked(tuple(rules))


def tally_bank(
    worlds: Sequence[World], rules: Sequence[ResetRule], truth: Thresholds
) -> list[Tallied]:
    """Run one bank in several arms.

    Args:
        worlds: the bank in each arm; they differ in `bank` and in the `settings` of the packs alone.
        rules: the reset rule of each arm; built in, or of one's own.
        truth: what is called false, and what is called full.

    Returns:
        The sums of each arm, in their order.

    Raises:
        InputError: worlds that differ in more, not one rule a world, or a rule of one's own whose
            condition cannot be compiled.
    """
    if len(worlds) != len(rules):
        raise InputError(f"{len(rules)} rules for {len(worlds)} worlds", hint="one for each")
    if not worlds:
        return []
    _same_bank(worlds)
    conditions = _checked(tuple(rules))
    return _Arms(worlds, [rule_row(rule, conditions) for rule in rules], truth).run(conditions)


class _Arms:
    """One bank in several arms, as arrays."""

    def __init__(self, worlds: Sequence[World], rules: Sequence[Floats], truth: Thresholds) -> None:
        self.worlds = worlds
        world, arms, packs = worlds[0], len(worlds), len(worlds[0].packs)
        spec = world.plant_spec()
        self.rig = rigged(world, spec)
        now = started(world, spec, self.rig)
        self.fitted, self.numbers = now.plant, now.meter
        self.start_soc = PlantState(now.plant).soc.copy()
        self.lanes = lanes_of(now.plant, arms)
        blocks, cells = len(self.lanes.rows), self.start_soc.shape[1]
        self.controls = _controls(worlds, rules, blocks)
        for arm, one in enumerate(worlds):
            b, a = divmod(arm, LANES)
            for p, branch in enumerate(one.packs):
                memory = self.lanes.packs[b, p, lanes.MEMORY : lanes.SUMS, a]
                memory[:] = state_row(branch.starting_soc)
        self.supply = _supply(world, self.rig, self.controls, truth)
        self.ends = Ends(
            np.zeros((blocks, LANES), np.int64),
            np.zeros((blocks, LANES), np.int64),
            np.zeros((blocks, LANES, lanes.BANK_ROWS)),
            np.zeros((blocks, LANES, packs, tally.PACK_ROWS)),
            np.zeros((blocks, LANES, packs, cells)),
            np.zeros((blocks, LANES, packs, 2)),
        )

    def run(self, conditions: tuple[Condition, ...]) -> list[Tallied]:
        runner(conditions)(
            self.rig, self.fitted, self.lanes, self.controls, self.supply, self.ends, self.numbers,
            self.worlds[0].steps,
        )  # fmt: skip
        return [self._tallied(arm) for arm in range(len(self.worlds))]

    def _tallied(self, arm: int) -> Tallied:
        b, a = divmod(arm, LANES)
        world, bank, steps = self.worlds[arm], self.ends.bank[b, a], int(self.ends.steps[b, a])
        return Tallied(
            packs=self.ends.packs[b, a],
            errors=self.lanes.errors[b, a],
            ran_s=steps * world.interval_s,
            step_s=world.interval_s,
            lead=world.bank.lead,
            available_j=float(bank[lanes.BANK_SUMS + tally.AVAILABLE_J]),
            charger_j=float(bank[rows.CHARGER_J]),
            load_j=float(bank[rows.LOAD_J]),
            stored_j=self._stored_j(self.ends.soc[b, a]),
            denied_j=float(bank[lanes.BANK_SUMS + tally.DENIED_J]),
            true_soc=self.ends.soc[b, a].mean(axis=1),
            counted_soc=self.ends.said[b, a, :, 0],
            terminal_v=self.ends.said[b, a, :, 1],
            stop=self._stop(b, a, steps) if self.ends.codes[b, a] != rows.OK else None,
        )

    def _stored_j(self, soc: Floats) -> float:
        """By how much the energy of the cells at rest has grown, J; shape of `soc` (packs, cells)."""
        stored_wh = 0.0
        for p, branch in enumerate(self.worlds[0].packs):
            capacity_as = self.rig.plant.cells[p, :, rows.CAPACITY_AS]
            gained_wh = energy_wh(branch.pack, capacity_as, soc[p])
            gained_wh -= energy_wh(branch.pack, capacity_as, self.start_soc[p])
            stored_wh += float(self.rig.plant.packs[p, rows.SERIES]) * gained_wh
        return HOUR_S * stored_wh

    def _stop(self, b: int, a: int, k: int) -> Stop:
        bank, rig = self.ends.bank[b, a], self.rig
        step_s, sun_w = self.worlds[0].interval_s, inf
        if len(rig.sun_w) > 0:
            interval = int(k * step_s / rig.numbers[turn.SUN_INTERVAL_S])
            sun_w = float(rig.sun_w[min(interval, len(rig.sun_w) - 1)])
        asked = {
            "charger_v": float(bank[lanes.LIMIT_V]),
            "charger_a": float(bank[lanes.LIMIT_A]),
            "load_a": float(bank[lanes.LOAD_A]),
            "sun_w": sun_w,
            "switches": self.lanes.switches[b, :, a].tolist(),
        }
        return physics_stop(int(self.ends.codes[b, a]), k, step_s, asked)


@lru_cache(maxsize=4096)
def _limits(settings: Settings) -> Floats:
    return limits_row(settings)


def _controls(worlds: Sequence[World], rules: Sequence[Floats], blocks: int) -> Controls:
    """Controllers and policies as they start; lanes without an arm have those of the first."""
    packs = len(worlds[0].packs)
    limits = np.empty((blocks, packs, LANES, LIMITS_ENTRIES))
    said, asked = np.empty((blocks, LANES, packs, 2)), np.empty((blocks, LANES, 2))
    policy, rule_rows = (np.empty((blocks, LANES, n)) for n in (POLICY_ENTRIES, RULE_ENTRIES))
    for b in range(blocks):
        for a in range(LANES):
            arm = b * LANES + a if b * LANES + a < len(worlds) else 0
            world, bank = worlds[arm], worlds[arm].bank
            for p, branch in enumerate(world.packs):
                limits[b, p, a] = _limits(branch.settings)
                said[b, a, p] = branch.settings.absorption_v, branch.settings.charge_current_a
            wait_s = bank.bank_wait_s - TIME_SLACK_S
            policy[b, a] = POLICIES.index(bank.policy), bank.lead, wait_s, NEVER
            asked[b, a] = said[b, a, :, 0].min(), said[b, a, :, 1].sum()
            rule_rows[b, a] = rules[arm]
    each = (blocks, LANES, packs)
    return Controls(
        limits=limits,
        rules=rule_rows,
        said=said,
        stages=np.zeros(each, np.int64),
        at_limit=np.zeros(each, np.int64),
        before=np.full(each, -1, np.int64),
        shown_v=np.full(each, nan),
        policy=policy,
        asked=asked,
    )


def _supply(world: World, rig: Rig, controls: Controls, truth: Thresholds) -> Supply:
    blocks = len(controls.asked)
    states = [
        [start_charger(world.charger, *controls.asked[b, a].tolist()) for a in range(LANES)]
        for b in range(blocks)
    ]
    return Supply(
        chargers=np.array([[state.entries for state in each] for each in states]),
        underway=np.array([[state.underway for state in each] for each in states]),
        asked=np.full(blocks, (1 << LANES) - 1, np.int64),
        numbers=np.array(
            (
                0.0, _is_steady(rig), world.start_s, truth.false_full_below_soc,
                truth.truly_full_soc,
            )
        ),
    )  # fmt: skip


def _is_steady(rig: Rig) -> bool:
    """Whether a charger that is asked for the same again does the same again."""
    entries = rig.charger.entries
    moving = (charger.DRIFT_V_PER_S, charger.NOISE_V, charger.DELAY_MESSAGES, charger.LOSS)
    return bool(
        np.all(entries[list(moving)] == 0.0)
        and entries[charger.SENSES] == 0.0
        and len(rig.charger.outages) == 0
    )


def _same_bank(worlds: Sequence[World]) -> None:
    first = worlds[0]
    for k, world in enumerate(worlds[1:], 1):
        if len(world.packs) != len(first.packs):
            raise InputError(
                f"world {k} has {len(world.packs)} packs, the first has {len(first.packs)}",
                column="packs",
                hint="one bank in several arms",
            )
        alike = tuple(
            evolve(branch, settings=other.settings)
            for branch, other in zip(world.packs, first.packs, strict=True)
        )
        for field in fields(World):
            if field.name in ("bank", "packs", "recording", "name"):
                continue
            if getattr(world, field.name) != getattr(first, field.name):
                raise InputError(
                    f"world {k} differs from the first in {field.name}",
                    column=field.name,
                    hint="arms of a bank differ in its policy and in the settings of its packs",
                )
        for p, (one, other) in enumerate(zip(alike, first.packs, strict=True)):
            if one != other:
                raise InputError(
                    f"pack {p} of world {k} differs from that of the first",
                    column=f"packs[{p}].{_first_difference(one, other)}",
                    hint="arms of a bank differ in its policy and in the settings of its packs",
                )


def _first_difference(one: Branch, other: Branch) -> str:
    names = (field.name for field in fields(Branch))
    return next(name for name in names if getattr(one, name) != getattr(other, name))


_COMPILED: list[tuple[Condition, ...]] = []


@lru_cache(maxsize=64)
def _checked(rules: tuple[ResetRule, ...]) -> tuple[Condition, ...]:
    """The conditions for which the loop is compiled, theirs among them; raises `InputError`."""
    conditions = own_conditions(rules)
    for condition in conditions:
        wrong = compiles(condition)
        if wrong:
            rule = next(rule for rule in rules if rule.condition is condition)
            raise InputError(
                f"the condition of the reset rule {rule.name!r} cannot be compiled: {wrong}",
                column="condition",
                hint="write it as a function (limits, level_v, i) that compares the two numbers "
                "with fields of limits and returns True or False, without objects or containers",
            )
    # Some of the rules of a study, or all in another order, are no reason to compile once more.
    for held in _COMPILED:
        if set(conditions) <= set(held) and bool(conditions) == bool(held):
            return held
    runner(conditions)
    _COMPILED.append(conditions)
    return conditions
