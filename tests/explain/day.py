"""The log that `fullproof new log` writes, as the hut's logger would; `python -m tests.explain.day`.

It is a simulated day in the form that a logger gives it: all packs in one file, local time, decimal
commas, discharge positive, some rows and some cells missing.
"""

from __future__ import annotations

import csv
import gzip
import random
import subprocess
import sys
import tempfile
from datetime import datetime, timedelta
from pathlib import Path

import harness

SCENARIO = Path(__file__).parent / "day_at_the_hut.toml"
PLACE = Path(harness.__file__).parent / "starters" / "log" / "2026-06-21.csv.gz"
HEADER = "Time;Pack;Voltage [V];Current [A];Highest cell [mV];Charger [V];Charge [%];Mode"
START = datetime(2026, 6, 21, 6)
EVERY_S = 30
# Rows that the logger lost, in minutes from its start, and of which cells so many in a thousand are blank.
LOST_MIN = ((101, 104), (602, 609))
BLANK = 0.003
WORDS = {"bulk": "charging", "absorption": "holding", "float": "resting", "inhibited": "blocked"}


def log_text(folder: Path) -> str:
    """The log, from the files that `fullproof simulate --csv` has written."""
    draw = random.Random(5)
    rows: list[tuple[float, str, list[str]]] = []
    for file in sorted(folder.iterdir()):
        with file.open(encoding="utf-8", newline="") as lines:
            for row in csv.DictReader(lines):
                t = float(row["Clock / s"])
                if t % EVERY_S or any(a <= t / 60 < b for a, b in LOST_MIN):
                    continue
                cells = [
                    f"{float(row['Voltage / V']):.2f}",
                    f"{-float(row['Current / A']):.1f}",
                    f"{1e3 * float(row['Highest Cell Voltage / V']):.0f}",
                    f"{float(row['Charger Voltage / V']):.2f}",
                    f"{float(row['Counted State of Charge / %']):.0f}",
                ]
                cells = ["" if draw.random() < BLANK else cell for cell in cells]
                cells = [cell.replace(".", ",") for cell in cells]
                name = file.stem.replace("-", " ").capitalize()
                rows.append((t, name, [*cells, WORDS[row["Stage"]]]))
    rows.sort(key=lambda row: row[:2])
    told = [
        ";".join([f"{START + timedelta(seconds=t):%d.%m.%Y %H:%M:%S}", pack, *cells])
        for t, pack, cells in rows
    ]
    return "\n".join([HEADER, *told]) + "\n"


def main() -> None:
    """Simulate the day, and write the log."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "harness.cli.main", "simulate", str(SCENARIO)]
        subprocess.run([*command, "--csv", folder], check=True, stdout=subprocess.DEVNULL)
        text = log_text(Path(folder))
    PLACE.parent.mkdir(parents=True, exist_ok=True)
    # The moment of packing must not change the file.
    PLACE.write_bytes(gzip.compress(text.encode(), mtime=0))
    print(f"{PLACE}: {len(text):,} bytes, {PLACE.stat().st_size:,} packed")


if __name__ == "__main__":
    main()
