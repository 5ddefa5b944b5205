"""Logs of simulated banks explained, and one of packs with hostile names."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from attrs import evolve

from ctrl.settings import Settings
from harness.explain.explained import FINE, Explained, explain
from harness.explain.fixes import fixes
from harness.logs.log import Log, PackLog
from harness.report.explained import Story
from harness.run import Trace
from harness.world.loop import simulate
from harness.world.scenario import shipped
from tests.report.made import HOSTILE


def hut_log() -> tuple[Log, dict[str, Settings]]:
    """Three days of the hut's bank in which the lead pack finishes first, and its settings."""
    result = simulate(shipped("lead-finishes-first").world)
    packs = []
    for pack in result.packs:
        assert pack.samples is not None
        seen, said = pack.samples.trace, pack.samples.answers
        packs.append(
            PackLog(
                name=pack.name,
                file=Path(f"{pack.name}.csv"),
                trace=seen,
                stage=said.stage,
                soc=said.soc,
                full_reset=said.full_reset,
                charger_v=np.interp(pack.samples.true_t, result.bank.t, result.bank.charger_v),
            )
        )
    settings = {p.name: b.settings for p, b in zip(result.packs, result.world.packs, strict=True)}
    start = datetime(2031, 2, 3, 4, 30, tzinfo=UTC)
    return Log(Path("hut"), tuple(packs), start=start, complete=True, exact=True), settings


def told(explained: Explained) -> Story:
    """What is told of a log, with what would help."""
    found = {
        pack.name: tuple(fixes(explained, explained.main(pack.name)))
        for pack in explained.packs
        if explained.main(pack.name).cause not in FINE
    }
    return Story(explained, found)


def hut_story() -> Story:
    """What is told of the hut."""
    return told(explain(*hut_log()))


def hostile_story(story: Story) -> Story:
    """The same, where every name is an attack on whoever shows it."""
    log = story.explained.log
    names = {pack.name: f"{HOSTILE}{k}" for k, pack in enumerate(log.packs)}
    packs = tuple(evolve(pack, name=names[pack.name]) for pack in log.packs)
    settings = {names[pack.name]: pack.settings for pack in story.explained.packs}
    return told(explain(evolve(log, packs=packs, path=Path(HOSTILE)), settings))


def restless_log(packs: int, rows: int) -> tuple[Log, dict[str, Settings]]:
    """A log in which every reading is another number of many digits, and everything changes."""
    chance = np.random.default_rng(3)
    settings = Settings(hold_s=60.0, entry_dwell_s=1.0)
    made = []
    for number in range(packs):
        t = np.arange(float(rows))
        v = 55.0 + 1.4 * np.sin(t / 900.0) + chance.normal(0.0, 0.05, rows)
        i = chance.normal(10.0, 30.0, rows)
        made.append(
            PackLog(
                name=f"pack {number}",
                file=Path("one.csv"),
                trace=Trace(t, v, i),
                stage=chance.integers(0, 3, rows).astype(np.int8),
                charger_v=v + 0.02 * i + chance.normal(0.0, 0.01, rows),
            )
        )
    log = Log(Path("one.csv"), tuple(made))
    return log, {pack.name: settings for pack in made}
