"""The published charge, replayed: stages and counts where its provenance says that they are.

The trace is solved by PyBaMM from published parameters (`vectors/published/README.md`); nothing of
this project had a part in it.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from ctrl.compiled import replay
from ctrl.controller import Output, start, step
from ctrl.settings import Settings
from ctrl.state import Sample

TRACE = Path(__file__).parents[2] / "vectors" / "published" / "lfp-cccv-16s.bdf.csv"


def columns() -> list[npt.NDArray[np.float64]]:
    with TRACE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert rows[0][:3] == ["Test Time / s", "Voltage / V", "Current / A"]
    return [np.array([float(row[k]) for row in rows[1:]]) for k in range(3)]


@pytest.fixture(scope="module")
def stepped() -> dict[float, Output]:
    """The reference with its defaults, by the stamp of the sample."""
    state = start(0.2)
    said: dict[float, Output] = {}
    for t, v, i in zip(*(column.tolist() for column in columns()), strict=True):
        state, said[t] = step(Settings(), state, Sample(t, v, i))
    return said


def test_hold_starts_expires_and_is_confirmed_on_the_stated_samples(
    stepped: dict[float, Output],
) -> None:
    events = [
        (t, event.name, event.from_stage.word, event.to_stage.word)
        for t, output in stepped.items()
        for event in output.events
    ]
    assert events == [
        (5810.0, "hold_started", "bulk", "absorption"),
        (9410.0, "hold_expired", "absorption", "float"),
        (9410.0, "full_reset", "absorption", "float"),
    ]


def test_pack_stays_in_float_to_the_end(stepped: dict[float, Output]) -> None:
    assert {output.stage.word for t, output in stepped.items() if t >= 9410.0} == {"float"}
    assert {output.stage.word for t, output in stepped.items() if t < 5810.0} == {"bulk"}


def test_counts_are_those_of_the_provenance(stepped: dict[float, Output]) -> None:
    # The model's own state of charge at the end of the constant current is 0.988485, at 5802.09 s.
    assert stepped[5800.0].soc == pytest.approx(0.988485 - 140 * 2.09 / 1_008_000, abs=1e-4)
    # Counting stops at the ceiling, the reset sets 1, and a load takes some of it out again.
    assert stepped[9400.0].soc == 0.99
    assert stepped[9410.0].soc == 1.0
    assert stepped[14280.0].soc == pytest.approx(0.989238, abs=1e-4)


def test_requests_follow_the_stages(stepped: dict[float, Output]) -> None:
    asked = {
        t: (output.voltage_request_v, output.current_request_a) for t, output in stepped.items()
    }
    assert (asked[9400.0], asked[9410.0]) == ((56.0, 100.0), (54.0, 100.0))


def test_compiled_rules_say_the_same(stepped: dict[float, Output]) -> None:
    said = replay(Settings(), start(0.2), *columns())
    assert said.stage.tolist() == [int(output.stage) for output in stepped.values()]
    assert said.soc.tolist() == [output.soc for output in stepped.values()]
    assert said.news.tolist() == [output.news for output in stepped.values()]
    assert np.flatnonzero(said.full_reset).tolist() == [941]
