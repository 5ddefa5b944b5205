"""A scenario: a world to run, what it shows, and what must come of it.

On disk it is a TOML file whose tables are those of `harness.world.tables`; a name without a folder
is that of a shipped one.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import attrs
from attrs import frozen

from ctrl.bank import BankSettings
from ctrl.errors import SettingsError, nearest
from harness.errors import InputError
from harness.world.bank import Branch, Recording, World
from harness.world.expectation import Expectation, refuse_pointless
from harness.world.pack import Pack
from harness.world.tables import BankTable, PackTable, RunTable, ScenarioTable, WiringTable

FOLDER = Path(__file__).parent / "scenarios"
SUFFIX = ".toml"
# Some 100 bytes are kept of each: more would not fit into the memory of a small computer.
MOST_SAMPLES = 20_000_000
# The fields of a world that have another name or place in a file.
_PLACES = {
    "duration_s": "run.hours",
    "interval_s": "run.interval_s",
    "start_at": "run.start_at",
    "seed": "run.seed",
    "resolved": "run.each_cell",
    "recording.interval_s": "run.kept_every_s",
    "main_contact_ohm": "wiring.main_contact_ohm",
    "packs": "pack",
}


@frozen(eq=False)
class Scenario:
    """A world with its story.

    Attributes:
        name: what it is called: a slug.
        title: what happens, in a few words.
        shows: what there is to learn from it.
        source: where its numbers come from.
        world: what is run.
        expectations: what must come of it when every pack has the reference controller.
    """

    name: str
    title: str
    shows: str
    source: str
    world: World
    expectations: tuple[Expectation, ...]


def scenario_of(table: ScenarioTable, name: str) -> Scenario:
    """The scenario that the tables of a file describe.

    Raises:
        InputError: tables that do not fit together; `column` is the path of the field.
    """
    world = world_of(table, name)
    _refuse_endless(world)
    names = [pack.name for pack in table.pack]
    for k, expectation in enumerate(table.expect):
        refuse_pointless(expectation, names, f"expect[{k}]")
    return Scenario(name, table.title, table.shows, table.source, world, table.expect)


def world_of(table: ScenarioTable, name: str) -> World:
    """The world that the tables of a file describe, however long it runs.

    Raises:
        InputError: tables that do not fit together; `column` is the path of the field.
    """
    names = [pack.name for pack in table.pack]
    try:
        return World(
            name=name,
            packs=tuple(_branch(pack, table.bank, k) for k, pack in enumerate(table.pack)),
            duration_s=table.run.hours * 3600.0,
            main=table.wiring.main,
            main_contact_ohm=table.wiring.main_contact_ohm,
            charger=table.charger,
            bank=_bank(table.bank, names),
            sun=table.sun,
            loads=table.loads,
            ambient=table.ambient,
            start_at=table.run.start_at,
            interval_s=table.run.interval_s,
            seed=table.run.seed,
            resolved=table.run.each_cell,
            recording=Recording(interval_s=table.run.kept_every_s),
        )
    except InputError as error:
        raise InputError(error.message, column=_place(error.column), hint=error.hint) from None


def table_of(scenario: Scenario) -> ScenarioTable:
    """The tables of the file that describes a scenario."""
    world = scenario.world
    return ScenarioTable(
        title=scenario.title,
        shows=scenario.shows,
        source=scenario.source,
        run=RunTable(
            hours=world.duration_s / 3600.0,
            start_at=world.start_at,
            interval_s=world.interval_s,
            seed=world.seed,
            each_cell=world.resolved,
            kept_every_s=world.recording.interval_s,
        ),
        bank=BankTable(
            cells=world.packs[0].pack.count,
            policy=world.bank.policy,
            lead=world.packs[world.bank.lead].name,
            bank_wait_s=world.bank.bank_wait_s,
        ),
        pack=tuple(map(_pack_table, world.packs)),
        wiring=WiringTable(main=world.main, main_contact_ohm=world.main_contact_ohm),
        charger=world.charger,
        sun=world.sun,
        loads=world.loads,
        ambient=world.ambient,
        expect=scenario.expectations,
    )


def changed(scenario: Scenario, *, hours: float | None = None, seed: int | None = None) -> Scenario:
    """The scenario with another length or other random numbers.

    Raises:
        InputError: a length or a seed that cannot be.
    """
    world = scenario.world
    world = attrs.evolve(
        world,
        duration_s=world.duration_s if hours is None else 3600.0 * hours,
        seed=world.seed if seed is None else seed,
    )
    _refuse_endless(world)
    return attrs.evolve(scenario, world=world)


def shipped_names() -> tuple[str, ...]:
    """The names of the shipped scenarios."""
    return tuple(sorted(path.stem for path in FOLDER.glob(f"*{SUFFIX}")))


@cache
def shipped(name: str) -> Scenario:
    """A shipped scenario.

    Raises:
        InputError: there is none of this name.
    """
    from harness.world.scenario_file import read

    if name not in shipped_names():
        raise InputError(
            f"there is no file and no scenario {name!r}", hint=nearest(name, shipped_names())
        )
    return read(FOLDER / f"{name}{SUFFIX}")


def _bank(table: BankTable, names: list[str]) -> BankSettings:
    lead = table.lead if table.lead is not None else names[0] if names else ""
    if names and lead not in names:
        raise InputError(
            f"there is no pack {lead!r}", column="bank.lead", hint=nearest(lead, names)
        )
    try:
        return BankSettings(
            policy=table.policy,
            lead=names.index(lead) if names else 0,
            bank_wait_s=table.bank_wait_s,
        )
    except SettingsError as error:
        message = str(error).removesuffix(f"; {error.hint}")
        field = error.fields[0] if error.fields else ""
        raise InputError(message, column=f"bank.{field}", hint=error.hint) from None


def _branch(table: PackTable, bank: BankTable, k: int) -> Branch:
    try:
        return Branch(
            name=table.name,
            pack=Pack(
                cell=table.cell,
                count=bank.cells,
                soc=table.soc,
                spread=table.spread,
                odd_cells=table.odd_cells,
                own_consumption_a=table.own_consumption_a,
                balancer=table.balancer,
                inhibited=table.inhibited,
            ),
            lead=table.lead,
            contact_ohm=table.contact_ohm,
            meter=table.meter,
            settings=table.settings,
            counted_soc=table.counted_soc,
            warmer_c=table.warmer_c,
            temperature_spread_c=table.temperature_spread_c,
        )
    except InputError as error:
        path = "bank.cells" if error.column == "count" else f"pack[{k}].{error.column}"
        raise InputError(error.message, column=path, hint=error.hint) from None


def _pack_table(branch: Branch) -> PackTable:
    pack = branch.pack
    return PackTable(
        name=branch.name,
        soc=pack.soc,
        counted_soc=branch.counted_soc,
        cell=pack.cell,
        spread=pack.spread,
        odd_cells=pack.odd_cells,
        balancer=pack.balancer,
        own_consumption_a=pack.own_consumption_a,
        inhibited=pack.inhibited,
        lead=branch.lead,
        contact_ohm=branch.contact_ohm,
        meter=branch.meter,
        settings=branch.settings,
        warmer_c=branch.warmer_c,
        temperature_spread_c=branch.temperature_spread_c,
    )


def _refuse_endless(world: World) -> None:
    samples = sum(world.duration_s / branch.meter.interval_s for branch in world.packs)
    if max(samples, world.duration_s / world.interval_s) > MOST_SAMPLES:
        raise InputError(
            f"{world.duration_s / 3600.0:g} h are {samples:.3g} samples and "
            f"{world.duration_s / world.interval_s:.3g} steps",
            column="run.hours",
            hint=f"at most {MOST_SAMPLES:,}: fewer hours, or longer intervals",
        )


def _place(path: str) -> str:
    """Where a field of the world stands in a file."""
    path = path.replace(".pack.", ".").replace("packs[", "pack[")
    return _PLACES.get(path, path)
