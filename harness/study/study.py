"""A study: which banks, in which arms, measured by which bounds.

An arm is a reset rule, a bank policy and a point of the grid of settings. Every bank is run once in
every arm: the same packs, meters, weather, loads and noise, so that arms differ in pairs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache, cached_property
from itertools import product
from pathlib import Path
from typing import Any

import attrs
from attrs import field, frozen

import ctrl
from ctrl.bank import POLICIES
from ctrl.errors import SettingsError, nearest
from ctrl.resets import ResetRule
from ctrl.settings import SETTING_NAMES
from harness.attach.reset_rules import named_rule, rule_source
from harness.errors import InputError
from harness.study.population import Entry, bank_table, farthest_tables
from harness.world.bank import World
from harness.world.checks import number_within, whole_within
from harness.world.scenario import world_of
from harness.world.tables import ScenarioTable

# A setting of the bank that a grid may vary beside those of the packs.
BANK_WAIT = "bank_wait_s"
MOST_ARMS = 1000
DAY_H = 24.0
# So many pack-steps take some tenths of a second: shorter items cost more to hand out, longer ones to lose.
STEPS_AN_ITEM = 5_000_000
MOST_BANKS_AN_ITEM = 256
# The worlds of so many banks are made before the first one runs, to find what does not fit.
BANKS_TRIED = 2000


@frozen
class Arm:
    """What a bank is run with.

    Attributes:
        rule: name of the reset rule, as the study names it.
        policy: bank policy.
        settings: changes to the settings of every pack, name by name; `bank_wait_s` is the bank's.
    """

    rule: str
    policy: str
    settings: tuple[tuple[str, Any], ...] = ()

    @property
    def label(self) -> str:
        """The arm in one line."""
        return ", ".join([self.rule, self.policy, *(f"{k} = {v}" for k, v in self.settings)])


@frozen(eq=False)
class Study:
    """A study as it is to be run.

    Attributes:
        name: what it is called: a slug.
        title: what it asks, in a few words.
        shows: what there is to learn from it.
        source: where its numbers come from.
        scenario: what its banks have in common.
        rules: names of the reset rules, or `py:module:NAME`.
        policies: bank policies.
        grid: values of settings, name by name; arms take every combination.
        population: in what banks differ.
        banks: how many.
        days: how long each is run.
        seed: of everything that is drawn.
        false_full_below_soc: a full reset below this true SoC is false.
        truly_full_soc: a pack with this true SoC is full.
        folder: what relative paths in it are seen from.
        content: the file with everything that it refers to, as JSON; a worker needs no more.
    """

    name: str
    title: str
    shows: str
    source: str
    scenario: ScenarioTable
    rules: tuple[str, ...]
    policies: tuple[str, ...]
    grid: tuple[tuple[str, tuple[Any, ...]], ...]
    population: tuple[Entry, ...]
    banks: int = field(validator=whole_within(1, 100_000_000, "banks"))
    days: int = field(validator=whole_within(1, 36_500, "days"))
    seed: int = field(validator=whole_within(0, 2**53))
    false_full_below_soc: float = field(validator=number_within(0.0, 1.0, "", above_low=True))
    truly_full_soc: float = field(validator=number_within(0.0, 1.0, "", above_low=True))
    folder: Path
    content: str = field(repr=False)

    def __attrs_post_init__(self) -> None:
        for name, values in (("rules", self.rules), ("policies", self.policies), *self.grid):
            path = name if name in ("rules", "policies") else f"grid.{name}"
            if not values:
                raise InputError("it is empty", column=path, hint="one value at least")
            twice = [value for k, value in enumerate(values) if value in values[:k]]
            if twice:
                raise InputError(f"{twice[0]!r} is there twice", column=path, hint="once each")
        if self.false_full_below_soc > self.truly_full_soc:
            raise InputError(
                f"false_full_below_soc {self.false_full_below_soc:g} above truly_full_soc "
                f"{self.truly_full_soc:g}",
                column="false_full_below_soc",
                hint="a full reset of a truly full pack cannot be false",
            )
        for k, policy in enumerate(self.policies):
            if policy not in POLICIES:
                raise InputError(
                    f"there is no bank policy {policy!r}",
                    column=f"policies[{k}]",
                    hint=nearest(policy, POLICIES),
                )
        known = (*SETTING_NAMES, BANK_WAIT)
        for name, _ in self.grid:
            if name not in known:
                raise InputError(
                    f"there is no setting {name!r}",
                    column=f"grid.{name}",
                    hint=nearest(name, known),
                )
        count = len(self.arms)
        if count > MOST_ARMS:
            raise InputError(f"there are {count} arms", column="grid", hint=f"at most {MOST_ARMS}")

    @cached_property
    def arms(self) -> tuple[Arm, ...]:
        """All of them, in the order of rules, policies and grid."""
        names = [name for name, _ in self.grid]
        points = list(product(*(values for _, values in self.grid)))
        return tuple(
            Arm(rule, policy, tuple(zip(names, point, strict=True)))
            for rule in self.rules
            for policy in self.policies
            for point in points
        )

    @cached_property
    def reset_rules(self) -> Mapping[str, ResetRule]:
        """The reset rules by the names that the study gives them.

        Raises:
            InputError: there is no such rule.
        """
        found: dict[str, ResetRule] = {}
        for k, name in enumerate(self.rules):
            try:
                found[name] = named_rule(name, self.folder)
            except InputError as error:
                raise InputError(error.message, column=f"rules[{k}]", hint=error.hint) from None
        return found

    @property
    def arm_rules(self) -> tuple[ResetRule, ...]:
        """The reset rule of each arm."""
        return tuple(self.reset_rules[arm.rule] for arm in self.arms)

    def bank_world(self, bank: int) -> World:
        """The world of a bank, before an arm says how it is controlled.

        Raises:
            InputError: what was drawn makes no world.
        """
        table = bank_table(self.scenario, self.population, self.seed, bank)
        return self._world(table, f"{self.name}-{bank}")

    def arm_worlds(self, world: World) -> list[World]:
        """The world of a bank in every arm.

        Raises:
            InputError: settings of an arm that contradict each other.
        """
        return [self._in_arm(world, arm) for arm in self.arms]

    def refuse_impossible(self) -> None:
        """Find out before the first bank runs whether every bank can.

        Raises:
            InputError: it cannot; with the field, and the bank where it takes a certain one.
        """
        _ = self.reset_rules
        plain = self._world(self.scenario, self.name)
        self.arm_worlds(plain)
        for k, table in farthest_tables(self.scenario, self.population):
            try:
                self.arm_worlds(self._world(table, self.name))
            except InputError as error:
                raise InputError(
                    f"at an end of its law: {error.column}: {error.message}",
                    column=f"population[{k}]",
                    hint=error.hint,
                ) from None
        parts = [effect.part for entry in self.population for effect in entry.effects]
        settings_differ = any(".settings." in part for part in parts)
        for bank in range(min(self.banks, BANKS_TRIED)):
            try:
                world = self.bank_world(bank)
                if settings_differ:
                    self.arm_worlds(world)
            except InputError as error:
                raise InputError(
                    f"bank {bank}: {error.message}", column=error.column, hint=error.hint
                ) from None

    @property
    def steps_a_bank(self) -> int:
        """Steps of a pack that one bank takes in all arms together."""
        steps = self.days * DAY_H * 3600.0 / self.scenario.run.interval_s
        return int(steps) * len(self.scenario.pack) * len(self.arms)

    @property
    def banks_an_item(self) -> int:
        """How many banks are handed out together."""
        return max(1, min(MOST_BANKS_AN_ITEM, self.banks, STEPS_AN_ITEM // self.steps_a_bank))

    @property
    def items(self) -> int:
        """How many pieces of work there are."""
        return -(-self.banks // self.banks_an_item)

    def banks_of_item(self, item: int) -> range:
        """The banks of a piece of work."""
        first = item * self.banks_an_item
        return range(first, min(first + self.banks_an_item, self.banks))

    @cached_property
    def fingerprint(self) -> str:
        """Equal where the results are: of the content, the rules' files and the code that runs it."""
        told = hashlib.sha256(self.content.encode())
        told.update(code_fingerprint().encode())
        for name in self.rules:
            told.update(rule_source(name, self.folder))
        return told.hexdigest()[:32]

    def _world(self, table: ScenarioTable, name: str) -> World:
        run = attrs.evolve(table.run, hours=self.days * DAY_H, kept_every_s=None)
        try:
            return world_of(attrs.evolve(table, run=run), name)
        except InputError as error:
            raise InputError(
                error.message, column=f"scenario.{error.column}", hint=error.hint
            ) from None

    def _in_arm(self, world: World, arm: Arm) -> World:
        changes = dict(arm.settings)
        of_bank: dict[str, Any] = {"policy": arm.policy}
        if BANK_WAIT in changes:
            of_bank[BANK_WAIT] = changes.pop(BANK_WAIT)
        try:
            bank = attrs.evolve(world.bank, **of_bank)
            packs = world.packs
            if changes:
                packs = tuple(
                    attrs.evolve(branch, settings=branch.settings.changed(**changes))
                    for branch in packs
                )
        except SettingsError as error:
            message = str(error).removesuffix(f"; {error.hint}")
            raise InputError(
                f"with {arm.label}: {message}", column="grid", hint=error.hint
            ) from None
        return attrs.evolve(world, bank=bank, packs=packs)


@cache
def code_fingerprint() -> str:
    """Of all the code that works out a row: another code, other rows."""
    here = Path(__file__).parent
    told = hashlib.sha256()
    for folder in (Path(ctrl.__file__).parent, here.parent / "world", here):
        for path in sorted(folder.glob("*.py")):
            told.update(path.name.encode() + path.read_bytes())
    return told.hexdigest()
