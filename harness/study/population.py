"""How the banks of a study differ: parts of its scenario, drawn bank by bank or pack by pack.

What is drawn for a bank depends on the seed of the study, the number of the bank and the name of the
entry alone: not on the other banks, nor on the arm in which the bank is run.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, Literal
from zlib import crc32

import attrs
import numpy as np
from attrs import frozen

from ctrl.errors import SettingsError, nearest
from harness.errors import InputError
from harness.study.laws import LAWS, Law
from harness.world.chance import stream_generator, stream_key
from harness.world.scenario_file import structured
from harness.world.tables import PackTable, ScenarioTable

POPULATION_STREAM, SEED_STREAM, CELLS_STREAM = 6, 7, 8
Each = Literal["bank", "pack"]
How = Literal["set", "add", "times"]
_PACK = "pack."
_SETTINGS = "pack.settings."
_STEP = re.compile(r"(\w+)((?:\[\d+\])*)")


@frozen(kw_only=True)
class Effect:
    """What a drawn number does to a part of the scenario.

    Attributes:
        part: path of the part, such as `pack.meter.voltage_offset_v` or `sun.peak_w`.
        how: whether the number is put in its place, added to it, or multiplies it.
        per_unit: the number is taken times this first; with `times` the part is then multiplied by
            one more than that. Left out: the number is taken as it is.
    """

    part: str
    how: How = "set"
    per_unit: float | None = None

    def __attrs_post_init__(self) -> None:
        if self.how == "set" and self.per_unit is not None:
            raise InputError(
                "per_unit with how = 'set'", column="per_unit", hint="how = 'add' or 'times'"
            )

    def applied(self, to: Any, number: Any) -> Any:
        """The part after it.

        Raises:
            InputError: a part that is no number is to be added to, or multiplied.
        """
        if self.how == "set":
            return number
        for one in (to, number):
            if isinstance(one, bool) or not isinstance(one, int | float):
                raise InputError(
                    f"{self.part} cannot be changed by {self.how!r}: there is {one!r}",
                    column="how",
                    hint="how = 'set', or a number in the scenario",
                )
        if self.how == "add":
            return to + number * (1.0 if self.per_unit is None else self.per_unit)
        return to * (number if self.per_unit is None else 1.0 + number * self.per_unit)


@frozen(kw_only=True)
class Entry:
    """One thing in which banks differ.

    Attributes:
        name: what it is called; the numbers that are drawn hang on it.
        law: by which it is drawn.
        each: whether every pack draws its own, or the bank draws one for all.
        effects: what it does.
        source: where the law comes from.
    """

    name: str
    law: Law
    each: Each
    effects: tuple[Effect, ...]
    source: str = ""

    def drawn(self, seed: int, bank: int, packs: int) -> list[Any]:
        """The numbers of one bank: one for each pack, or one for all of them."""
        generator = stream_generator(seed, POPULATION_STREAM, crc32(self.name.encode()), bank)
        return [self.law.draw(generator) for _ in range(packs if self.each == "pack" else 1)]


def entry_of(table: Mapping[str, Any]) -> Entry:
    """The entry that a table of a study file describes.

    Raises:
        InputError: it describes none; `column` is the field.
    """
    rest = dict(table)
    word = rest.pop("law", None)
    if not isinstance(word, str) or word not in LAWS:
        hint = nearest(word, LAWS) if isinstance(word, str) else f"one of {', '.join(LAWS)}"
        raise InputError(_found(word), column="law", hint=hint)
    own = {name: rest.pop(name) for name in ("name", "each", "effects", "source") if name in rest}
    if "part" in rest:
        simple = {name: rest.pop(name) for name in ("part", "how", "per_unit") if name in rest}
        if "effects" in own:
            raise InputError("part beside effects", column="part", hint="one of the two")
        own["effects"] = [simple]
    effects = structured({"effects": own.get("effects", [])}, _Effects).effects
    if not effects:
        raise InputError("it is missing", column="part", hint="the part of the scenario it changes")
    of_packs = all(effect.part.startswith(_PACK) for effect in effects)
    told = structured({name: own[name] for name in own if name != "effects"}, _Told)
    usual: Each = "pack" if of_packs else "bank"
    each = told.each or usual
    if each == "pack" and not of_packs:
        raise InputError(
            "each = 'pack' for a part that is no pack's", column="each", hint="each = 'bank'"
        )
    return Entry(
        name=told.name or effects[0].part,
        law=structured(rest, LAWS[word]),
        each=each,
        effects=effects,
        source=told.source,
    )


@frozen(kw_only=True)
class _Effects:
    effects: tuple[Effect, ...]


@frozen(kw_only=True)
class _Told:
    name: str = ""
    each: Each | None = None
    source: str = ""


def bank_table(
    scenario: ScenarioTable, population: tuple[Entry, ...], seed: int, bank: int
) -> ScenarioTable:
    """The scenario of one bank.

    Args:
        scenario: what the banks have in common.
        population: in what they differ.
        seed: of the study.
        bank: number of the bank, from 0.

    Raises:
        InputError: a part that there is not, or a number that it cannot be; `column` is
            `population[k]`, counted from 0, with the field.
    """
    drawn = [entry.drawn(seed, bank, len(scenario.pack)) for entry in population]
    table = changed_by(scenario, population, drawn)
    packs = tuple(
        attrs.evolve(
            pack, spread=attrs.evolve(pack.spread, seed=_seed(seed, CELLS_STREAM, bank, p))
        )
        for p, pack in enumerate(table.pack)
    )
    run = attrs.evolve(table.run, seed=_seed(seed, SEED_STREAM, bank))
    return attrs.evolve(table, pack=packs, run=run)


def farthest_tables(
    scenario: ScenarioTable, population: tuple[Entry, ...]
) -> list[tuple[int, ScenarioTable]]:
    """The scenario with one entry at an end of its law each time, and the number of that entry.

    Raises:
        InputError: as of `bank_table`.
    """
    tables = []
    for k, entry in enumerate(population):
        count = len(scenario.pack) if entry.each == "pack" else 1
        for end in entry.law.ends():
            drawn: list[list[Any]] = [[] for _ in population]
            drawn[k] = [end] * count
            tables.append((k, changed_by(scenario, population, drawn)))
    return tables


def changed_by(
    scenario: ScenarioTable, population: tuple[Entry, ...], drawn: list[list[Any]]
) -> ScenarioTable:
    """The scenario with these numbers of each entry; an entry without numbers changes nothing.

    Raises:
        InputError: as of `bank_table`.
    """
    table = scenario
    for k, (entry, numbers) in enumerate(zip(population, drawn, strict=True)):
        if not numbers:
            continue
        try:
            table = _changed(table, entry, numbers)
        except InputError as error:
            place = f"population[{k}]" + (f".{error.column}" if error.column else "")
            raise InputError(error.message, column=place, hint=error.hint) from None
    return table


def _changed(table: ScenarioTable, entry: Entry, numbers: list[Any]) -> ScenarioTable:
    for effect in entry.effects:
        if not effect.part.startswith(_PACK):
            change = partial(_applied, effect, number=numbers[0])
            table = _replaced(table, effect.part, effect.part, change)
    packs = tuple(
        _changed_pack(pack, entry, numbers[p % len(numbers)]) for p, pack in enumerate(table.pack)
    )
    return attrs.evolve(table, pack=packs)


def _changed_pack(pack: PackTable, entry: Entry, number: Any) -> PackTable:
    settings: dict[str, Any] = {}
    for effect in entry.effects:
        if effect.part.startswith(_SETTINGS):
            name = effect.part.removeprefix(_SETTINGS)
            settings[name] = effect.applied(getattr(pack.settings, name, None), number)
        elif effect.part.startswith(_PACK):
            change = partial(_applied, effect, number=number)
            pack = _replaced(pack, effect.part.removeprefix(_PACK), effect.part, change)
    if settings:
        # At once: on the way from one to the other they might contradict each other.
        try:
            pack = attrs.evolve(pack, settings=pack.settings.changed(**settings))
        except SettingsError as error:
            message = str(error).removesuffix(f"; {error.hint}")
            raise InputError(message, column="part", hint=error.hint) from None
    return pack


def _applied(effect: Effect, to: Any, number: Any) -> Any:
    return effect.applied(to, number)


def _replaced(value: Any, path: str, whole: str, change: Callable[[Any], Any]) -> Any:
    """A copy in which the part at the end of the path is changed."""
    if not path:
        if attrs.has(type(value)) or isinstance(value, tuple):
            raise InputError(f"{whole} is no single value", column="part", hint="a part of it")
        return change(value)
    head, _, rest = path.partition(".")
    step = _STEP.fullmatch(head)
    names = [a.name for a in attrs.fields(type(value)) if a.init] if attrs.has(type(value)) else []
    if step is None or step[1] not in names:
        near = nearest(step[1] if step else head, names) if names else "a part of the scenario"
        said = f"there is no {whole}" if value is not None else f"the scenario has no {whole}"
        raise InputError(said, column="part", hint=near)
    name, indices = step[1], [int(k) for k in re.findall(r"\d+", step[2])]
    inner = _indexed(
        getattr(value, name), indices, whole, lambda one: _replaced(one, rest, whole, change)
    )
    try:
        return attrs.evolve(value, **{name: inner})
    except InputError as error:
        raise InputError(f"{whole}: {error.message}", column="part", hint=error.hint) from None


def _indexed(value: Any, indices: list[int], whole: str, change: Callable[[Any], Any]) -> Any:
    if not indices:
        return change(value)
    k = indices[0]
    if not isinstance(value, tuple) or k >= len(value):
        raise InputError(
            f"there is no {whole} in the scenario", column="part", hint="an index that there is"
        )
    return (*value[:k], _indexed(value[k], indices[1:], whole, change), *value[k + 1 :])


def _seed(seed: int, *purpose: int) -> int:
    # Seeds of worlds and cells are whole numbers that fit into 63 bits.
    return int(stream_key(seed, *purpose) >> np.uint64(1))


def _found(value: Any) -> str:
    return "it is missing" if value is None else f"there is {value!r:.60}"
