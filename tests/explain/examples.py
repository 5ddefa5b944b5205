"""The two shipped logs that `fullproof explain` is shown on; `python -m tests.explain.examples`.

They are planted causes, thinned to a row every ten seconds and packed.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np

import harness
from ctrl.settings_text import to_toml
from ctrl.vocabulary import Stage
from harness.logs.log import PackLog
from tests.explain.planted import log_of, planted

FOLDER = Path(harness.__file__).parent / "explain" / "examples"
# Name of the folder, cause and number.
SHIPPED = {"hut": ("meter_offset", 0), "pier": ("wiring", 2)}
EVERY = 10
_MAPPING = """# How the columns of these files are to be read.
[columns]
v = "Voltage (V)"
i = "Current (A)"
cell_max_v = "Highest cell (V)"
stage = "Stage"
soc = {{ column = "Charge (%)", unit = "%" }}
full_reset = "Full reset"
charger_v = "Charger (V)"

[time]
column = "Time (s)"

{packs}"""


def files(name: str) -> dict[str, bytes]:
    """The files of one example, by their names."""
    cause, number = SHIPPED[name]
    plant = planted(cause, number)
    log = log_of(plant)
    found = {}
    for pack, settings in zip(log.packs, plant.told, strict=True):
        # The moment of packing must not change the file.
        found[f"{pack.name}.csv.gz"] = gzip.compress(_csv(pack).encode(), mtime=0)
        found[f"{pack.name}.toml"] = to_toml(settings).encode()
    packs = "\n".join(
        f'[[pack]]\nname = "{pack.name}"\nfile = "{pack.name}.csv.gz"\n' for pack in log.packs
    )
    found["mapping.toml"] = _MAPPING.format(packs=packs).encode()
    return found


def _csv(pack: PackLog) -> str:
    assert pack.stage is not None
    assert pack.soc is not None
    assert pack.full_reset is not None
    assert pack.charger_v is not None
    assert pack.trace.cell_max_v is not None
    lines = [
        "Time (s),Voltage (V),Current (A),Highest cell (V),Stage,Charge (%),Full reset,Charger (V)"
    ]
    resets = np.flatnonzero(pack.full_reset)
    for k in range(0, len(pack), EVERY):
        reset = bool(np.any((resets > k - EVERY) & (resets <= k)))
        lines.append(
            f"{pack.trace.t[k]:.0f},{pack.trace.v[k]:.2f},{pack.trace.i[k]:.2f},"
            f"{pack.trace.cell_max_v[k]:.3f},{Stage(int(pack.stage[k])).word},"
            f"{100 * pack.soc[k]:.1f},{int(reset)},{pack.charger_v[k]:.2f}"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Write them."""
    for name in SHIPPED:
        folder = FOLDER / name
        folder.mkdir(parents=True, exist_ok=True)
        for file, content in files(name).items():
            (folder / file).write_bytes(content)
            print(f"{folder / file}: {len(content):,} bytes")


if __name__ == "__main__":
    main()
