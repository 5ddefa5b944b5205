"""What a study would run, before it runs."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from harness.report.console import paragraph
from harness.report.words import count
from harness.study.space import MOST_COLUMNS, needed_bytes
from harness.study.study import Study
from harness.study.told import law_words

_MB = 1e6


def show_plan(console: Console, study: Study) -> None:
    """Tell what a study compares, on which banks, and how much work that is."""
    paragraph(console, study.title, style="bold")
    arms, packs = len(study.arms), len(study.scenario.pack)
    years = study.banks * study.days / 365.0
    rows = study.banks_an_item * arms
    needed_mb = needed_bytes(study.items, rows, MOST_COLUMNS) / _MB
    facts = Table.grid(padding=(0, 2))
    for name, value in (
        ("rules", ", ".join(study.rules)),
        ("policies", ", ".join(study.policies)),
        *((f"grid: {name}", ", ".join(map(str, values))) for name, values in study.grid),
        ("arms", str(arms)),
        ("banks", f"{study.banks:,} of {count(packs, 'pack')}, {count(study.days, 'day')} each"),
        ("bank-years", f"{years:,.4g} in each arm, {years * arms:,.4g} in all"),
        (
            "work",
            f"{study.steps_a_bank * study.banks:,.4g} steps of a pack and its controller, "
            f"{study.scenario.run.interval_s:g} s each, in {count(study.items, 'item')}",
        ),
        ("disk", f"{needed_mb:,.3g} MB at most"),
        ("fingerprint", study.fingerprint),
    ):
        facts.add_row(name, value)
    console.print(facts)
    if not study.population:
        paragraph(console, "Banks differ in their weather, loads and noise alone: no population.")
        return
    differs = Table(box=None, pad_edge=False, show_edge=False)
    for heading in ("in what banks differ", "law", "each"):
        differs.add_column(heading, overflow="fold")
    for entry in study.population:
        differs.add_row(entry.name, law_words(entry.law), entry.each)
    console.print(differs)
