"""The log of a planted cause: in memory, and as files that the command line reads."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ctrl.settings_text import to_toml
from ctrl.vocabulary import Stage
from harness.logs.log import Log, PackLog
from harness.run import Floats, Trace
from harness.world.result import Result
from tests.explain.planted.plant import Planted, Recorded, record

# What the charger's display does: common practice, no source.
CHARGER_NOISE_V = 0.002
CHARGER_STEPS_PER_V = 100.0
COLUMNS = ("t", "v", "i", "cell_max_v", "temp_c", "stage", "soc", "full_reset", "charger_v")
MAPPING = "mapping.toml"
_WORDS = tuple(stage.word for stage in Stage)


def log_of(planted: Planted, recorded: Recorded | None = None) -> Log:
    """The log of a planted cause.

    Args:
        planted: the cause.
        recorded: what came of it, where that is known already.
    """
    recorded = record(planted) if recorded is None else recorded
    shown_v = _charger_reading(recorded.result)
    packs = []
    for pack, samples in zip(recorded.result.packs, recorded.samples, strict=True):
        seen, said = samples.trace, samples.answers
        packs.append(
            PackLog(
                name=pack.name,
                file=Path(f"{pack.name}.csv"),
                trace=Trace(seen.t - seen.t[0], seen.v, seen.i, seen.cell_max_v, seen.temp_c),
                stage=said.stage,
                soc=said.soc,
                full_reset=said.full_reset,
                # A sample is taken at the end of a step, and so is the charger's reading.
                charger_v=shown_v[np.searchsorted(recorded.result.bank.t, samples.true_t)],
            )
        )
    return Log(
        path=Path(planted.name),
        packs=tuple(packs),
        complete=True,
        exact=True,
        from_power_up=True,
    )


def write(planted: Planted, folder: Path, recorded: Recorded | None = None) -> Log:
    """Write a log as a person would hand it in, and return it.

    There is a CSV file and a file of settings a pack, `east.csv` and `east.toml`, and the mapping
    that says what the columns are.
    """
    log = log_of(planted, recorded)
    folder.mkdir(parents=True, exist_ok=True)
    for pack, settings in zip(log.packs, planted.told, strict=True):
        (folder / pack.file).write_text(_csv(pack), encoding="utf-8")
        (folder / f"{pack.name}.toml").write_text(to_toml(settings), encoding="utf-8")
    (folder / MAPPING).write_text(_mapping(log), encoding="utf-8")
    return log


def _charger_reading(result: Result) -> Floats:
    """What the charger's own meter shows of its terminals at the end of each step, V."""
    charger, rows = result.world.charger, result.bank
    draw = np.random.default_rng([result.world.seed, 5])
    v = rows.charger_v * charger.meter_gain + charger.meter_offset_v
    v += draw.normal(0.0, CHARGER_NOISE_V, len(v))
    shown: Floats = np.round(v * CHARGER_STEPS_PER_V) / CHARGER_STEPS_PER_V
    return shown


def _csv(pack: PackLog) -> str:
    trace = pack.trace
    assert pack.stage is not None
    assert pack.full_reset is not None
    assert pack.soc is not None
    assert pack.charger_v is not None
    cells = [
        [_cell(value) for value in column.tolist()]
        for column in (*(trace.column(name) for name in COLUMNS[:5]), pack.soc, pack.charger_v)
    ]
    stages = [_WORDS[stage] for stage in pack.stage.tolist()]
    resets = ["1" if reset else "0" for reset in pack.full_reset.tolist()]
    rows = zip(*cells[:5], stages, cells[5], resets, cells[6], strict=True)
    return "\n".join([",".join(COLUMNS), *map(",".join, rows)]) + "\n"


def _cell(value: float) -> str:
    """The shortest number that is read back to the last bit; blank where there is none."""
    return repr(value) if value == value else ""


def _mapping(log: Log) -> str:
    lines = ["[log]", "complete = true", "exact = true", 'starts = "power_up"', "", "[columns]"]
    lines += [f'{name} = "{name}"' for name in COLUMNS[1:]]
    for pack in log.packs:
        lines += ["", "[[pack]]", f'name = "{pack.name}"', f'file = "{pack.file}"']
    return "\n".join(lines) + "\n"
