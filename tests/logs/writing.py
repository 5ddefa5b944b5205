"""Small logs as text, for reading: a day in a few lines."""

from __future__ import annotations

from pathlib import Path

HEADER = "t,v,i,stage\n"
ROWS = "0,53.0,20,bulk\n1,53.1,20,bulk\n2,53.2,20.5,bulk\n"


def log_file(folder: Path, text: str | bytes, name: str = "pack.csv") -> Path:
    """A log of that text."""
    file = folder / name
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def mapping_file(folder: Path, text: str) -> Path:
    """A mapping of that text."""
    file = folder / "map.toml"
    file.write_text(text, encoding="utf-8")
    return file


def charge(hold_s: int = 3600, interval_s: int = 1, then_s: int = 300) -> str:
    """A charge from bulk over a hold to float, one row an interval, in our own names."""
    lines = ["t,v,i,stage,soc,full_reset"]
    soc = 0.5
    for t in range(0, 600 + hold_s + then_s, interval_s):
        stage = "bulk" if t < 600 else "absorption" if t < 600 + hold_s else "float"
        v = 53.0 if t < 590 else 56.0 if t < 600 + hold_s else 54.0
        reset = 600 + hold_s <= t < 600 + hold_s + interval_s
        soc = 1.0 if reset else soc
        lines.append(f"{t},{v if not reset else 56.0},0,{stage},{soc},{int(reset)}")
    return "\n".join(lines) + "\n"
