"""The vectors on the reference and on the two examples, as shipped and for fixed settings."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ctrl import Settings, SettingsError
from ctrl.vocabulary import Stage
from harness.attach import attach
from harness.attach.drive import drive
from harness.cases import Vector, rendered_for, shipped
from harness.cases.builder import NotApplicableError
from harness.cases.lint import check_vectors
from harness.cases.margins import stages_of
from harness.cases.recipes import all_recipes
from harness.cases.render import render
from harness.judge import judge

EXAMPLES = Path(__file__).resolve().parents[2] / "harness" / "examples"
# The voltages of the pack on the ferry pier with timers as they are used, not as they are shown.
PIER = Settings.for_cells(
    8, capacity_ah=200, hold_s=1800, float_s=28_800, return_soc=0.85, on_unconfirmed="float"
)


@pytest.fixture(scope="module")
def controllers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """How each controller is attached, by name."""
    specs = {
        "reference": "ref",
        "python": f"exec:{sys.executable} {EXAMPLES / 'python' / 'controller.py'}",
    }
    if compiler := shutil.which("cc"):
        program = tmp_path_factory.mktemp("example") / "controller"
        source = EXAMPLES / "c" / "controller.c"
        subprocess.run([compiler, "-O2", "-o", program, source, "-lm"], check=True)
        specs["c"] = f"exec:{program}"
    return specs


def disagreements(spec: str, vectors: tuple[Vector, ...]) -> list[str]:
    """Where a controller leaves what the vectors expect, sample by sample."""
    found: list[str] = []
    with attach(spec) as attachment:
        for each in vectors:
            answers = drive(attachment, each.case).answers
            stages = [Stage(code).word for code in answers.stage.tolist()]
            if stages != stages_of(each.case):
                found.append(f"{each.id}: stages")
            assert answers.full_reset is not None
            resets = each.trace.t[np.flatnonzero(answers.full_reset)].tolist()
            if resets != list(each.expected.resets):
                found.append(f"{each.id}: full resets at {resets}")
            assert answers.soc is not None
            for t, soc, tolerance in each.expected.soc:
                counted = answers.soc[np.flatnonzero(each.trace.t == t)[0]]
                if abs(counted - soc) > tolerance + 1e-9:
                    found.append(f"{each.id}: a count of {counted} at {t} s")
    return found


@pytest.mark.parametrize("name", ["reference", "python", "c"])
def test_every_expectation_is_met(controllers: dict[str, str], name: str) -> None:
    if name not in controllers:
        pytest.skip("there is no C compiler")
    assert disagreements(controllers[name], shipped()) == []


@pytest.mark.parametrize("name", ["reference", "python", "c"])
def test_every_expectation_is_met_for_fixed_settings(
    controllers: dict[str, str], name: str
) -> None:
    if name not in controllers:
        pytest.skip("there is no C compiler")
    vectors, reasons = rendered_for(PIER)
    assert len(vectors) > 100
    assert len(vectors) + len(reasons) == len(shipped())
    assert {each.settings for each in vectors} == {PIER}
    assert disagreements(controllers[name], vectors) == []


def test_every_requirement_that_a_vector_names_is_put_to_the_test() -> None:
    """What must happen does happen; of what must not, nothing is left to see in a good run."""
    with attach("ref") as attachment:
        for each in shipped():
            exercised = judge(drive(attachment, each.case)).exercised
            for name in each.requirements:
                if name not in each.negative and not name.startswith("LINK."):
                    assert exercised.get(name, 0) > 0, (each.id, name)


def test_what_cannot_be_rendered_says_why() -> None:
    _, reasons = rendered_for(PIER)
    assert reasons["hold/sag-pauses"] == "on_sag must be pause, it is run"
    assert reasons["full/confirmed"] == "confirm_s must be more than 0 s, it is 0 s"
    assert reasons["full/taper-reached"] == "taper_a must be more than 0 A, it is none"
    assert reasons["float/stays"] == "float_s must be none, it is 28800.0"
    assert reasons["published/lfp-cccv-16s"] == "the trace is one of 16 cells, cells is 8"
    narrow, reasons = rendered_for(PIER.changed(full_v=PIER.entry_v))
    assert reasons["hold/sag-at-the-end-runs-on"] == (
        "there is no voltage between full_v 27.9 V and entry_v 27.9 V that is more than 5 mV from both"
    )
    assert {each.id for each in narrow}.isdisjoint(reasons)


def test_settings_that_push_a_vector_onto_an_edge_rule_it_out() -> None:
    # 3.9 V, which blocks nothing where the limit is off, would be within 2 mV of the release.
    _, reasons = rendered_for(PIER.changed(cell_limit_v=None, cell_release_v=3.901))
    assert reasons["protect/cell-limit-is-off"] == (
        "with these settings cell_max_v 3.9 V at t 0 s is less than 0.002 V from cell_release_v "
        "(3.901 V)"
    )


def test_timers_of_days_rule_out_what_would_be_too_long() -> None:
    slow = PIER.changed(hold_s=86_400, max_gap_s=2)
    recipes = {each.id: each for each in all_recipes()}
    with pytest.raises(NotApplicableError, match="more than 20000 samples would be needed"):
        render(recipes["hold/full-length"], slow)
    assert len(render(recipes["entry/too-short"], slow).trace) < 100


@st.composite
def possible_settings(draw: st.DrawFn) -> Settings:
    """Settings over the whole range of what is legal, sensible or not."""
    cells = draw(st.sampled_from([4, 8, 15, 16, 24]))
    top = round(cells * draw(st.floats(3.4, 3.6)), 4)
    entry = round(top - draw(st.sampled_from([0, 0.05, 0.2, 0.5])), 4)
    full = round(entry - draw(st.sampled_from([0, 0.02, 0.3, 1.0])), 4)
    floating = round(top - draw(st.sampled_from([0.1, 1.0, 2.0])), 4)
    changes: dict[str, Any] = {
        "absorption_v": top,
        "entry_v": entry,
        "full_v": full,
        "float_v": floating,
        "return_v": round(floating - draw(st.sampled_from([0.3, 1.0, 2.0])), 4),
        "entry_dwell_s": draw(st.sampled_from([0, 1, 3, 2.5, 60])),
        "hold_s": draw(st.sampled_from([0.5, 30, 777.7, 3600])),
        "sag_v": draw(st.sampled_from([None, round(entry - 0.4, 4)])),
        "on_sag": draw(st.sampled_from(["run", "pause", "restart"])),
        "confirm_s": draw(st.sampled_from([0, 5, 60.5])),
        "taper_a": draw(st.sampled_from([None, 0, 5, 14])),
        "on_unconfirmed": draw(st.sampled_from(["float", "bulk", "wait"])),
        "wait_limit_s": draw(st.sampled_from([60, 600, 3600])),
        "float_s": draw(st.sampled_from([None, 60, 1000, 86400])),
        "return_dwell_s": draw(st.sampled_from([0, 1, 20, 60])),
        "return_soc": draw(st.sampled_from([None, 0.5, 0.9, 0.995])),
        "capacity_ah": draw(st.sampled_from([20, 280, 1000])),
        "charge_efficiency": draw(st.sampled_from([0.5, 0.95, 1])),
        "soc_ceiling": draw(st.sampled_from([0.8, 0.99, 1])),
        "empty_dwell_s": draw(st.sampled_from([0, 10, 100])),
        "cell_limit_v": draw(st.sampled_from([None, 3.65])),
        "charge_min_c": draw(st.sampled_from([None, 0, 5])),
        "temp_band_c": draw(st.sampled_from([0, 3])),
        "trip_dwell_s": draw(st.sampled_from([0, 1, 20])),
        "release_dwell_s": draw(st.sampled_from([0, 10, 60])),
        "max_gap_s": draw(st.sampled_from([2, 30, 600])),
        "compensation_v_per_c": draw(st.sampled_from([0, -0.03, 0.01])),
    }
    if draw(st.booleans()):
        changes["empty_v"] = None
    try:
        return Settings.for_cells(cells, **changes)
    except SettingsError:
        assume(False)
        raise


@given(possible_settings())
@settings(max_examples=12)
def test_whatever_can_be_rendered_is_right(fixed: Settings) -> None:
    vectors, _ = rendered_for(fixed)
    assert [str(each) for each in check_vectors(vectors, coverage=False)] == []
