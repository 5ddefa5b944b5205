"""What the reports of a study tell of it: its facts in words, and what its model leaves out."""

from __future__ import annotations

from collections.abc import Mapping

import orjson

from harness.study.laws import Choice, Law, LogNormal, Normal, Uniform, Whole
from harness.study.population import Entry
from harness.study.results import ArmName, Facts
from harness.study.study import Study

# What a reader has to bear in mind before what was found in simulated banks is said of real ones.
LIMITS = (
    "The banks are simulated: equivalent circuits with one open-circuit voltage curve, resistances "
    "that depend on temperature but not on the state of charge, and no model of how cells age.",
    "A pack ages by its starting point, not within a run.",
    "Cells are as warm as the air with a fixed difference; their own heat is left out.",
    "Loads, weather, meters and wiring are drawn from laws that were chosen, not measured. Other laws "
    "give other numbers.",
    "Controllers see one sample a step; what happens within a step they do not see.",
    "Intervals and tests say how sure the difference is for banks of this population, not how well "
    "the population stands for real banks.",
)
_WITHOUT_CELLS = (
    "A pack is one mean cell times their number: how its cells differ is left out, and so are "
    "balancers and the highest cell of a pack."
)


def facts_of(study: Study, failed: Mapping[int, str] | None = None) -> Facts:
    """The facts of a study.

    Args:
        study: the study.
        failed: why pieces of its work could not be done, by their number.
    """
    banks = [
        (bank, reason)
        for item, reason in sorted((failed or {}).items())
        for bank in study.banks_of_item(item)
    ]
    limits = LIMITS if study.scenario.run.each_cell else (_WITHOUT_CELLS, *LIMITS)
    return Facts(
        title=study.title,
        question=" ".join(study.shows.split()),
        arms=tuple(ArmName(arm.rule, arm.policy, arm.settings) for arm in study.arms),
        banks=study.banks,
        days=study.days,
        seed=study.seed,
        fingerprint=study.fingerprint,
        false_full_below_soc=study.false_full_below_soc,
        truly_full_soc=study.truly_full_soc,
        settings=tuple(_settings(study)),
        limits=limits,
        failed=tuple(banks),
    )


def study_text(study: Study) -> str:
    """What the folder of a study keeps of it, as JSON."""
    told = {"fingerprint": study.fingerprint, "study": orjson.loads(study.content)}
    return orjson.dumps(told, option=orjson.OPT_INDENT_2 | orjson.OPT_SORT_KEYS).decode()


def _settings(study: Study) -> list[tuple[str, str]]:
    table = study.scenario
    packs = len(table.pack)
    told = [
        ("scenario", table.title),
        ("bank", f"{packs} pack{'s' * (packs > 1)} of {table.bank.cells} cells"),
        ("step", f"{table.run.interval_s:g} s"),
        ("a day of a bank starts at", table.run.start_at),
    ]
    if study.source:
        told.append(("source", " ".join(study.source.split())))
    return told + [(entry.name, entry_words(entry)) for entry in study.population]


def entry_words(entry: Entry) -> str:
    """A law of a population in words."""
    parts = ", ".join(
        f"{effect.part} ({effect.how}"
        + (f" {effect.per_unit:g} each" if effect.per_unit is not None else "")
        + ")"
        for effect in entry.effects
    )
    source = f"; {entry.source}" if entry.source else ""
    return f"{law_words(entry.law)}, drawn for each {entry.each}: {parts}{source}"


def law_words(law: Law) -> str:
    """A law in words."""
    match law:
        case Normal():
            low, high = law.ends()
            return f"normal, mean {law.mean:g}, deviation {law.deviation:g}, {low:g} to {high:g}"
        case Uniform():
            return f"even from {law.low:g} to {law.high:g}"
        case LogNormal():
            return f"lognormal, median {law.median:g}, factor {law.factor:g}"
        case Whole():
            return f"a whole number from {law.low} to {law.high}"
        case Choice():
            weights = law.weights or (1.0,) * len(law.values)
            pairs = zip(law.values, weights, strict=True)
            return "one of " + ", ".join(f"{value} (weight {weight:g})" for value, weight in pairs)
    raise AssertionError(law)
