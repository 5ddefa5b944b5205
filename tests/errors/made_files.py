"""Files that are too long to be written down: good ones with one thing wrong in them."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from harness.report.store import to_json
from tests.report.made import cases, result_of
from tests.report.made_charger import deaf_result

VECTORS = Path(__file__).parents[2] / "vectors"


@cache
def _result() -> str:
    return to_json(result_of("ref:hold_only", cases("full/confirmation-broken")))


@cache
def _charger_result() -> str:
    return to_json(deaf_result())


def _with(text: str, change: Callable[[dict[str, Any]], object]) -> bytes:
    told = json.loads(text)
    change(told)
    return json.dumps(told).encode()


def _vector(change: Callable[[dict[str, Any]], object]) -> bytes:
    return _with((VECTORS / "hold/sag-runs-on.json").read_text(encoding="utf-8"), change)


def _found(told: dict[str, Any]) -> dict[str, Any]:
    """The requirement of a result that is broken."""
    return next(each for each in told["results"] if each["findings"])


KINDS: dict[str, Callable[[], bytes]] = {
    "result": lambda: _result().encode(),
    "result of a charger": lambda: _charger_result().encode(),
    "result that is cut off": lambda: _result().encode()[:-100],
    "result that lost a member": lambda: _with(_result(), lambda told: told.pop("tried")),
    "result that lost a finding": lambda: _with(
        _result(), lambda told: _found(told)["findings"].pop()
    ),
    "result with an unknown requirement": lambda: _with(
        _result(), lambda told: told["results"][0].update(requirement="HOLD.no-such")
    ),
    "vector of version 9": lambda: _vector(lambda told: told.update(format=9)),
    "vector with a misspelt member": lambda: _vector(
        lambda told: told.update(power_cycle=told.pop("power_cycles"))
    ),
    "vector with contradicting settings": lambda: _vector(
        lambda told: told["settings"].update(full_v=57.0)
    ),
    "vector with a late power loss": lambda: _vector(
        lambda told: told.update(power_cycles=[10**6])
    ),
    "settings nested without end": lambda: b"hold_s = " + b"[" * 3000,
    "mapping nested without end": lambda: b"columns = " + b"{v=" * 2000,
    "JSON nested without end": lambda: b"[" * 5000,
    "charger vector": lambda: (VECTORS / "charger/stale/wire-off.json").read_bytes(),
}


def make(kind: str, path: Path) -> None:
    """Write the file of a kind."""
    if kind == "empty archive":
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("readme.txt", "nothing of a model\n")
        return
    path.write_bytes(KINDS[kind]())
