"""The shipped vectors pass the lint, and every rule of the lint refuses a bad example."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from attrs import evolve

from harness.cases import vector_named
from harness.cases.folder import vectors_folder
from harness.cases.lint import Problem, check, check_vectors, known_requirements
from harness.cases.vector import Vector
from harness.run import Expected, Trace

MATRIX = {
    "ENTRY": "held-long-enough not-late from-bulk-only",
    "HOLD": "full-length ends sag-runs-on sag-pauses sag-restarts",
    "FULL": "voltage confirmed taper at-hold-end granted denied wait sets-one",
    "FLOAT": "stays timer-full-length timer-ends",
    "RETURN": "low-voltage voltage-held low-soc to-bulk",
    "SOC": "starts counts efficiency ceiling bounds no-jump empty",
    "REQUEST": "voltage current never-above compensated",
    "EQUALISE": "allowed from-float due starts cool current heat loss break time whole after retry "
    "no-reset asks remembered",
    "COMPENSATE": "before-first bounded missing frozen jump found-again",
    "PROTECT": "cell-trips cell-held temperature-trips temperature-held no-reading releases "
    "release-held to-bulk blocks-full",
    "TIME": "gap-abandons-hold gap-restarts-dwell gap-adds-nothing backward-step "
    "float-timer-runs-on invalid-skipped",
    "POWER": "starts-in-bulk keeps-soc forgets",
    "LINK": "cuts fresh-start",
}


def of_one(changed: Vector) -> list[str]:
    """The sentences of all problems of one vector."""
    return [each.sentence for each in check_vectors([changed], coverage=False)]


def with_rows(base: Vector, *rows: tuple[float, float, float], expected: Expected) -> Vector:
    t, v, i = np.array(rows).T
    return evolve(base, trace=Trace(t, v, i), expected=expected, tags=(), negative=())


@pytest.fixture
def plain() -> Vector:
    return vector_named("entry/after-dwell")


def test_the_shipped_vectors_have_no_problem() -> None:
    assert check() == ()


def test_every_requirement_that_a_vector_can_exercise_is_known() -> None:
    names = [f"{group}.{slug}" for group, slugs in MATRIX.items() for slug in slugs.split()]
    assert sorted(known_requirements()) == sorted(names)


def test_an_unchanged_vector_has_no_problem(plain: Vector) -> None:
    assert of_one(plain) == []


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"id": "entry/After_Dwell"},
            "the id 'entry/After_Dwell' is no slug of the form group/some-name",
        ),
        ({"requirements": ("ENTRY.sooner",)}, "there is no requirement 'ENTRY.sooner'"),
        (
            {"negative": ("HOLD.ends",)},
            "HOLD.ends is negative, but not among the requirements",
        ),
        ({"features": ("telepathy",)}, "there is no feature 'telepathy'; known are soc"),
        ({"tags": ("flaky",)}, "there is no tag 'flaky'; known are boundary"),
        ({"source": "hearsay"}, "there is no source 'hearsay'; known are analytic"),
        ({"title": ""}, "the title is empty"),
        ({"why": ""}, "the why is empty"),
        ({"catches": ()}, "the catches is empty"),
        ({"requirements": ()}, "the requirements is empty"),
        ({"tags": ("backward",)}, "the tag backward is set, but time never steps back"),
        ({"cuts": (5, 5)}, "cuts are no indices of samples in order, after the first"),
        ({"power_cycles": (0,)}, "power_cycles are no indices of samples in order"),
        (
            {"expected": Expected(stages=((0.0, "bulk"), (23.4, "absorption")))},
            "no sample fits the expected stage (23.4, 'absorption')",
        ),
        (
            {"expected": Expected(stages=((1.0, "bulk"),))},
            "no sample fits the expected stage (1.0, 'bulk')",
        ),
        (
            {"expected": Expected(((0.0, "bulk"), (23.5, "absorption")), resets=(24.0,))},
            "the full reset at t 24 s is not on a sample that goes into float",
        ),
        (
            {"expected": Expected(((0.0, "bulk"), (23.5, "absorption")), soc=((7.0, 0.5, 0.0),))},
            "0 samples have the stamp 7 s at which something is expected",
        ),
        (
            {"expected": Expected(stages=((0.0, "bulk"), (24.0, "absorption")))},
            "at t 23.5 s bulk is expected, the reference is in absorption",
        ),
        (
            {"expected": Expected(((0.0, "bulk"), (23.5, "absorption")), soc=((23.5, 0.6, 0.01),))},
            "at t 23.5 s a count of 0.6 is expected, the reference has 0.5000",
        ),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else "",
)
def test_a_changed_member_is_refused(plain: Vector, changes: dict[str, Any], sentence: str) -> None:
    found = of_one(evolve(plain, **changes))
    assert any(each.startswith(sentence) for each in found), found


def test_a_reset_that_the_reference_does_not_make_is_refused() -> None:
    base = vector_named("full/denied")
    at = base.expected.stages[2][0]
    found = of_one(evolve(base, expected=evolve(base.expected, resets=(at,))))
    assert found == [f"full resets are expected at ({at},), the reference has []"]


BULK = Expected(stages=((0.0, "bulk"),))


@pytest.mark.parametrize(
    ("volts", "sentence"),
    [
        (55.797, "v 55.797 V at t 1 s is less than 0.005 V from entry_v (55.8 V)"),
        (55.604, "v 55.604 V at t 1 s is less than 0.005 V from full_v (55.6 V)"),
        (16.0, "v 16 V at t 1 s is less than 0.005 V from plausible_v (16 V)"),
    ],
)
def test_a_voltage_within_the_margin_is_refused(plain: Vector, volts: float, sentence: str) -> None:
    changed = with_rows(plain, (0, 54, 1), (1, volts, 1), (2, 54, 1), expected=BULK)
    assert of_one(changed) == [sentence]
    assert of_one(evolve(changed, tags=("boundary",))) == []


def test_the_margin_itself_is_kept(plain: Vector) -> None:
    changed = with_rows(plain, (0, 54, 1), (1, 55.795, 1), (2, 54, 1), expected=BULK)
    assert of_one(changed) == []


def test_readings_of_every_kind_keep_their_margin(plain: Vector) -> None:
    t, v, i = np.array([[0.0, 54, 1], [1, 54, 1], [2, 54, 1]]).T
    settings = plain.settings.changed(taper_a=10)
    for column, value, said in (
        ("i", 10.3, "i 10.3 A at t 1 s is less than 0.5 A from taper_a (10 A)"),
        ("i", -499.8, "i -499.8 A at t 1 s is less than 0.5 A from plausible_i (-500 A)"),
        ("cell_max_v", 3.649, "less than 0.002 V from cell_limit_v (3.65 V)"),
        ("cell_max_v", 3.501, "less than 0.002 V from cell_release_v (3.5 V)"),
        ("temp_c", 0.4, "less than 0.5 degrees C from charge_min_c (0 degrees C)"),
        ("temp_c", 3.3, "less than 0.5 degrees C from charge_min_c and temp_band_c (3 degrees C)"),
        ("temp_c", 44.8, "less than 0.5 degrees C from charge_max_c (45 degrees C)"),
        ("temp_max_c", 42.2, "less than 0.5 degrees C from charge_max_c and temp_band_c (42 "),
    ):
        columns = {"t": t, "v": v, "i": i, column: np.array([1.0, value, 1.0])}
        if column.startswith("temp"):
            columns = {**columns, column: np.array([20.0, value, 20.0])}
        changed = evolve(plain, trace=Trace(**columns), expected=BULK, settings=settings)
        found = [each for each in of_one(changed) if said in each]
        assert found, (column, value, of_one(changed))


def test_thresholds_are_compensated_before_they_are_compared() -> None:
    base = vector_named("request/compensated-cold")
    t, v, i = np.array([[0.0, 50, 1], [1, 58.92, 1], [2, 50, 1]]).T
    trace = Trace(t, v, i, temp_c=np.zeros(3))
    # 24 cells: 55.92 V, and at 0 degrees C 3 V more.
    assert of_one(evolve(base, trace=trace, expected=BULK)) == [
        "v 58.92 V at t 1 s is less than 0.005 V from entry_v (58.92 V)"
    ]


@pytest.mark.parametrize(
    ("stamps", "sentence"),
    [
        (
            (0, 1, 2.3, 4),
            "entry_dwell_s ends at 4 s, too near to one of the samples at 2.3 s and 4 s",
        ),
        (
            (0, 1, 3, 4.3),
            "entry_dwell_s ends at 4 s, too near to one of the samples at 3 s and 4.3 s",
        ),
    ],
)
def test_a_dwell_that_ends_near_a_sample_is_refused(
    plain: Vector, stamps: tuple[float, ...], sentence: str
) -> None:
    rows = [(t, 54.0 if t == 0 else 55.9, 1.0) for t in (*stamps, 5, 6, 7)]
    expected = Expected(stages=((0.0, "bulk"), (stamps[-1], "absorption")))
    assert of_one(with_rows(plain, *rows, expected=expected)) == [sentence]


def test_a_dwell_broken_off_shortly_before_its_end_is_refused(plain: Vector) -> None:
    rows = [(0, 54, 1), (1, 55.9, 1), (2, 55.9, 1), (3.5, 55.9, 1), (4.5, 54, 1)]
    assert of_one(with_rows(plain, *rows, expected=BULK)) == [
        "entry_dwell_s 3 s, begun at t 1 s, is broken off at t 4.5 s, too shortly before its end "
        "at 4 s"
    ]


ENTERED = Expected(stages=((0.0, "bulk"), (4.6, "absorption")))


@pytest.mark.parametrize(
    ("behind", "sentence"),
    [
        (
            [(5.6, 55.9, 1), (6.6, 54, 1), (7.6, 54, 1)],
            "the decision at t 4.6 s is less than 2 samples before another v at t 6.6 s",
        ),
        (
            [(5.6, 55.9, 2), (6.6, 55.9, 2), (7.6, 55.9, 2)],
            "the decision at t 4.6 s is less than 2 samples before another i at t 5.6 s",
        ),
        (
            [(5.6, 55.9, 1), (6.6, 55.9, 1)],
            "the decision at t 4.6 s is less than 3 samples before the end of the trace",
        ),
    ],
)
def test_a_decision_without_time_to_settle_is_refused(
    plain: Vector, behind: list[tuple[float, float, float]], sentence: str
) -> None:
    rows = [(0, 54, 1), (1, 55.9, 1), (2, 55.9, 1), (3.4, 55.9, 1), (4.6, 55.9, 1), *behind]
    changed = with_rows(plain, *rows, expected=ENTERED)
    assert of_one(changed) == [sentence]
    assert of_one(evolve(changed, tags=("boundary",))) == []


def test_power_that_is_lost_right_after_a_decision_is_refused() -> None:
    base = vector_named("power/keeps-a-full-count")
    at = base.trace.t.tolist().index(base.expected.resets[0])
    assert base.power_cycles == (at + 3,)
    said = (
        f"the decision at t {base.expected.resets[0]:g} s is less than 2 samples before a loss of"
    )
    found = of_one(evolve(base, power_cycles=(at + 1,)))
    assert any(each.startswith(said) for each in found), found


def test_a_count_set_to_zero_needs_time_to_settle_too() -> None:
    base = vector_named("soc/exactly-empty")
    at_s = base.expected.soc[0][0]
    stop = base.trace.t.tolist().index(at_s) + 3
    cut = evolve(base, trace=base.trace.part(0, stop), tags=())
    said = f"the decision at t {at_s:g} s is less than 3 samples before the end of the trace"
    assert said not in of_one(evolve(base, tags=()))
    assert said in of_one(cut)


def with_a_sample_sooner(name: str, at_s: float) -> list[str]:
    """The problems of a shipped vector in which all from one sample on comes a bit sooner.

    The sample was half an interval after the end of a timer, now it is a tenth of one after it.
    """
    base = vector_named(name)
    at = base.trace.t.tolist().index(at_s)
    t = base.trace.t.copy()
    t[at:] -= 0.4 * (t[at] - t[at - 1])
    moved = dict(zip(base.trace.t.tolist(), t.tolist(), strict=True))
    expected = Expected(
        stages=tuple((moved[s], word) for s, word in base.expected.stages),
        resets=tuple(moved[s] for s in base.expected.resets),
        soc=tuple((moved[s], soc, 1.0) for s, soc, _ in base.expected.soc),
    )
    return of_one(evolve(base, trace=evolve(base.trace, t=t), expected=expected))


@pytest.mark.parametrize(
    ("name", "timer"),
    [
        ("hold/full-length", "hold_s"),
        ("hold/sag-pauses", "hold_s"),
        ("hold/sag-restarts", "hold_s"),
        ("full/confirmed", "confirm_s"),
        ("full/wait-ends", "wait_limit_s"),
        ("float/timer-ends", "float_s"),
        ("return/low-voltage", "return_dwell_s"),
        ("soc/empty", "empty_dwell_s"),
        ("protect/cell-in-float", "trip_dwell_s"),
        ("protect/hot", "trip_dwell_s"),
        ("protect/inside-the-band", "release_dwell_s"),
        ("protect/cell", "release_dwell_s"),
        ("time/step-back-restarts-the-float-timer", "float_s"),
        ("power/forgets-the-dwell", "entry_dwell_s"),
    ],
)
def test_every_timer_keeps_its_end_away_from_samples(name: str, timer: str) -> None:
    expected = vector_named(name).expected
    decisions = [at_s for at_s, _ in expected.stages[1:]] or [expected.soc[0][0]]
    found = [each for at_s in decisions for each in with_a_sample_sooner(name, at_s)]
    assert any(each.startswith(f"{timer} ends at ") for each in found), found


def test_a_gap_of_about_max_gap_is_refused(plain: Vector) -> None:
    rows = [(0, 54, 1), (1, 54, 1), (32, 54, 1), (33, 54, 1)]
    assert of_one(with_rows(plain, *rows, expected=BULK)) == [
        "at t 32 s the last valid sample is about max_gap_s 30 s back"
    ]


def test_missing_readings_for_about_max_gap_are_refused(plain: Vector) -> None:
    nan = float("nan")
    rows = [
        (0, 54, 1),
        *[(20 + k, nan, 1) for k in range(10)],
        *[(30.1 + k, nan, 1) for k in range(4)],
    ]
    expected = Expected(stages=((0.0, "bulk"), (30.1, "inhibited")))
    assert of_one(with_rows(plain, *rows, expected=expected)) == [
        "at t 30.1 s the last valid sample is about max_gap_s 30 s back"
    ]


def test_stamps_that_step_back_or_repeat_need_their_tag(plain: Vector) -> None:
    back = with_rows(plain, (5, 54, 1), (6, 54, 1), (2, 54, 1), expected=Expected(((5.0, "bulk"),)))
    assert of_one(back) == ["time steps back after t 6 s, and the tag backward is missing"]
    assert of_one(evolve(back, tags=("backward",))) == []
    same = with_rows(plain, (0, 54, 1), (1, 54, 1), (1, 54, 1), expected=BULK)
    assert of_one(same) == ["two samples have the stamp 1 s, and the tag boundary is missing"]


def test_two_vectors_of_one_id_are_refused(plain: Vector) -> None:
    assert list(check_vectors([plain, plain], coverage=False)) == [
        Problem("entry/after-dwell", "duplicates", "2 vectors have this id")
    ]


def test_requirements_without_vectors_or_without_a_negative_one_are_refused(plain: Vector) -> None:
    found = {(each.where, each.sentence) for each in check_vectors([plain])}
    assert ("HOLD.ends", "0 vectors exercise it, 2 are due") in found
    assert ("ENTRY.not-late", "1 vectors exercise it, 2 are due") in found
    assert ("ENTRY.not-late", "no vector exercises it by what must not happen") in found
    negative = evolve(plain, negative=plain.requirements)
    found = {(each.where, each.sentence) for each in check_vectors([negative])}
    assert ("ENTRY.not-late", "no vector exercises it by what must happen") in found


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(vectors_folder(), tmp_path / "vectors"))


def test_files_that_differ_are_missing_or_have_no_recipe_are_refused(copied: Path) -> None:
    edited = copied / "hold" / "sag-runs-on.json"
    edited.write_text(edited.read_text().replace('"soc": 0.5', '"soc": 0.6'))
    (copied / "hold" / "sag-pauses.expected.csv").unlink()
    (copied / "hold" / "forgotten.csv").write_text("t,v,i\n0,55,1\n")
    (copied / "entry" / "too-short.csv").write_bytes(
        (copied / "entry" / "too-short.csv").read_bytes().replace(b"\n", b"\r\n")
    )
    assert [str(each) for each in check(copied)] == [
        "entry/too-short.csv: the file differs from its recipe; render the vectors again (files)",
        "hold/sag-pauses.expected.csv: the file is missing; render the vectors again (files)",
        "hold/sag-runs-on.json: the file differs from its recipe; render the vectors again (files)",
        "hold/forgotten.csv: there is no recipe for this file (files)",
    ]
