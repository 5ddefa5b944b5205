"""A closed-loop run is a case: judged, saved and read again; a faulty controller is found in it."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

from harness.attach import Attachment, attach
from harness.attach.drive import drive
from harness.cases.vector import read_vector
from harness.cases.vector_files import files_of
from harness.errors import InputError
from harness.judge import judge
from harness.run import needed_features
from harness.verdict import CaseVerdict
from harness.world.as_case import as_case, as_run, as_vector, judge_pack
from harness.world.bank import Recording, World
from harness.world.charger import Charger
from harness.world.loop import simulate
from harness.world.result import Result
from harness.zoo.build import EXAMPLES, c_program, fault_named, source_with
from tests.world.small_worlds import ORDINARY, branch, settings, world

OWN = settings(hold_s=120.0, entry_dwell_s=3.0)
HUT = world(
    branch("east pack", 0.985, settings=OWN, meter=ORDINARY),
    branch("West", 0.98, settings=OWN, meter=ORDINARY),
    hours=0.25,
    charger=Charger(current_a=40.0),
)


def judged(result: Result) -> list[CaseVerdict]:
    return [judge_pack(result, pack) for pack in range(len(result.packs))]


def test_the_reference_conforms_in_closed_loop() -> None:
    result = simulate(HUT)
    for verdict in judged(result):
        assert verdict.findings == ()
        for requirement in ("ENTRY.held-long-enough", "HOLD.full-length", "FULL.granted"):
            assert verdict.exercised[requirement] >= 1
    assert judged(result)[0].case == "small/east-pack"


def test_a_run_holds_what_the_controller_saw_and_said() -> None:
    result = simulate(HUT)
    run = as_run(result, 1)
    assert run.case.id == "small/west"
    assert len(run.case.trace) == len(run.answers) == 900
    assert run.case.trace.columns == ("t", "v", "i", "cell_max_v", "temp_c", "temp_max_c")
    assert run.case.soc == 0.98
    # The same controller says the same when the trace is put to it again.
    again = drive(attach("ref"), run.case)
    assert np.array_equal(again.answers.stage, run.answers.stage)
    assert again.answers.soc == pytest.approx(run.answers.soc, abs=0.0)
    # What it saw is not what was true: quantised, and noisy.
    assert np.all(np.round(run.case.trace.v, 2) == run.case.trace.v)
    assert 0.002 < np.std(run.case.trace.v - result.packs[1].true_v) < 0.006


@pytest.mark.parametrize(
    ("fault", "requirement"),
    [
        ("hold-one-minute-short", "HOLD.full-length"),
        ("full-at-first-touch", "FULL.at-hold-end"),
        ("entry-at-first-touch", "ENTRY.held-long-enough"),
        ("reset-to-the-ceiling", "FULL.sets-one"),
    ],
)
def test_a_faulty_controller_in_the_loop_is_found(
    fault: str, requirement: str, tmp_path: Path
) -> None:
    source = tmp_path / "faulty.py"
    source.write_text(source_with(fault_named(fault)), encoding="utf-8")
    with attach(f"py:{source}:Controller") as faulty, attach("ref") as sound:
        result = simulate(HUT, [faulty, sound])
    assert result.stop is None
    found, clean = judged(result)
    assert requirement in {finding.requirement for finding in found.findings}
    # Its neighbour on the same bus is not blamed for it.
    assert clean.findings == ()


def test_a_short_hold_takes_the_voltage_away_earlier(tmp_path: Path) -> None:
    source = tmp_path / "faulty.py"
    source.write_text(source_with(fault_named("hold-one-minute-short")), encoding="utf-8")
    single = evolve(HUT, packs=HUT.packs[:1])
    with attach(f"py:{source}:Controller") as faulty:
        result = simulate(single, [faulty])
    by_reference = simulate(single)
    asked, asked_by_reference = (
        next(e.t for e in r.events if e.name == "bank_asks") for r in (result, by_reference)
    )
    assert asked_by_reference - asked == pytest.approx(60.0, abs=1.0)


def every_kind(folder: Path) -> dict[str, str]:
    python = EXAMPLES["Python"]
    kinds = {
        "reference": "ref",
        "python class": f"py:{python}:Controller",
        "python program": f"exec:{sys.executable} {python}",
    }
    if shutil.which("cc"):
        kinds["C program"] = f"exec:{c_program(folder)}"
    return kinds


def test_every_kind_of_controller_runs_in_the_loop_and_agrees(tmp_path: Path) -> None:
    short: World = evolve(HUT, duration_s=420.0)
    by_reference = simulate(short)
    assert any(event.name == "full_reset" for event in by_reference.events)
    for spec in every_kind(tmp_path).values():
        controllers: list[Attachment] = [attach(spec) for _ in short.packs]
        try:
            result = simulate(short, controllers)
        finally:
            for controller in controllers:
                controller.close()
        assert result.stop is None
        assert [(e.name, e.pack, e.t) for e in result.events] == [
            (e.name, e.pack, e.t) for e in by_reference.events
        ]
        assert all(verdict.findings == () for verdict in judged(result))
        for own, other in zip(result.packs, by_reference.packs, strict=True):
            assert np.array_equal(own.stage, other.stage)
            assert own.counted_soc == pytest.approx(other.counted_soc, abs=1e-9)


def test_a_run_is_saved_as_a_vector_and_read_again(tmp_path: Path) -> None:
    result = simulate(HUT)
    vector = as_vector(
        result,
        0,
        vector_id="bank/east-pack-reset",
        title="A pack of a bank has its full reset",
        description="The pack is charged with another one in parallel and held.",
        why="What a meter of the trade shows is not smooth.",
        catches=("calls the pack full at the first touch of the full voltage",),
    )
    for name, text in files_of(vector).items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    again = read_vector(tmp_path / "east-pack-reset.json")
    assert again.case.settings == OWN
    for column in vector.trace.columns:
        assert np.array_equal(again.trace.column(column), vector.trace.column(column))
    assert again.expected.resets == (result.summary.packs[0].resets[0].t,)
    assert [word for _, word in again.expected.stages] == ["bulk", "absorption", "float"]
    assert "FULL.granted" in again.requirements
    verdict = judge(drive(attach("ref"), again.case))
    assert verdict.findings == ()
    # Another reset rule is told from the reference by it.
    other = judge(drive(attach("ref:first_touch"), again.case))
    assert other.findings != ()


def test_the_features_that_settings_need() -> None:
    assert needed_features(OWN) == set()
    changed = settings(
        float_s=100.0,
        on_sag="pause",
        confirm_s=5.0,
        taper_a=3.0,
        on_unconfirmed="wait",
        compensation_v_per_c=-0.1,
    )
    assert needed_features(changed) == {
        "float_timer",
        "sag_pause",
        "confirm",
        "taper",
        "wait",
        "compensation",
    }


def test_what_cannot_be_a_case_is_refused() -> None:
    result = simulate(HUT)
    with pytest.raises(InputError, match="0 to 1"):
        as_case(result, 2)
    unkept = simulate(evolve(HUT, recording=Recording(samples=False)))
    with pytest.raises(InputError, match=r"recording\.samples.*were not kept"):
        as_case(unkept, 0)
    with pytest.raises(InputError, match="no id of a vector"):
        as_vector(
            result, 0, vector_id="Bank 1", title="", description="", why="", catches=("a fault",)
        )
    with pytest.raises(InputError, match="one fault or more"):
        as_vector(result, 0, vector_id="bank/one", title="", description="", why="", catches=())
