"""Vectors for chargers with other settings, and what the check refuses."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

import harness.charger.lint
import harness.charger.render
from ctrl.charger import Charger, ChargerSettings
from harness.cases.builder import NotApplicableError
from harness.charger.attach import InProcessCharger, Stepper, drive_charger
from harness.charger.fit import Fit
from harness.charger.folder import charger_folder, charger_vectors_for, shipped_charger_vectors
from harness.charger.judge import judge_charger
from harness.charger.lint import check, check_vectors, known_requirements
from harness.charger.recipe import charger_recipes
from harness.charger.render import render
from harness.charger.scene import HUT, PACK
from harness.charger.variants import VARIANTS
from harness.charger.vector import ChargerVector
from harness.run import Finding

Made = Callable[[ChargerSettings], Stepper]
PIER = ChargerSettings.for_cells(8)
RECIPES = {recipe.id: recipe for recipe in charger_recipes()}
SHIPPED = {each.id: each for each in shipped_charger_vectors()}
QUICKER = ChargerSettings.for_cells(4, packs=3, stale_s=2.0, silent_s=30.0, steady_s=6.0)


def test_for_its_own_settings_a_story_is_what_is_shipped() -> None:
    for name in ("begin/first-messages", "packs/one-zero"):
        again = render(RECIPES[name], RECIPES[name].settings)
        assert np.array_equal(again.trace.request_v, SHIPPED[name].trace.request_v, equal_nan=True)
        assert again.case.settings == SHIPPED[name].settings


def test_numbers_are_moved_to_where_they_mean_the_same() -> None:
    fit = Fit(HUT, QUICKER)
    # 56 V is half way from fallback_v to highest_v, 58 V is highest_v, 75 V cannot be believed.
    assert [fit.volts(v) for v in (54.0, 56.0, 58.0, 75.0)] == pytest.approx(
        [13.5, 14.0, 14.5, 18.75]
    )
    # A reading lacks as many times `sense_error_v` as it did.
    assert fit.read_v(55.94, 56.0) == pytest.approx(13.94)
    # 8 s lie between `stale_s` and `steady_s`, 80 s beyond `silent_s`, 40 s are a gap.
    assert QUICKER.stale_s < fit.seconds(8.0) < QUICKER.steady_s
    assert fit.seconds(80.0) > QUICKER.silent_s
    assert QUICKER.max_gap_s < fit.gap_s(40.0) < QUICKER.silent_s
    assert fit.current_a(655.35) == pytest.approx(655.35)
    assert fit.current_a(3000.0) > QUICKER.plausible_a
    # What one pack asks for, three packs ask for together.
    assert [says.request_a for says in fit.shared([PACK])] == pytest.approx([50.0 / 3] * 3)


@pytest.mark.parametrize(
    ("name", "settings"),
    [
        ("sense/thin-cable", PIER),
        ("doubt/frozen-reading", PIER),
        ("packs/one-silent", QUICKER),
        ("follow/zero", QUICKER),
        ("clock/gap", QUICKER),
    ],
)
def test_a_story_for_other_settings_is_as_fair(name: str, settings: ChargerSettings) -> None:
    vector = render(RECIPES[name], settings)
    assert vector.settings == settings
    assert vector.trace.packs == settings.packs
    assert list(check_vectors([vector], coverage=False)) == []
    right: list[Made] = [Charger, *VARIANTS.values()]
    for made in right:
        run = drive_charger(InProcessCharger("x", made), vector.case)
        assert judge_charger(run).findings == ()
        assert vector.expected is not None
        assert vector.expected.outside(run.answers) is None


def test_a_story_for_other_settings_catches_the_same_fault() -> None:
    from harness.charger.faults import FAULTS

    def found(name: str, fault: str, settings: ChargerSettings) -> tuple[Finding, ...]:
        case = render(RECIPES[name], settings).case
        run = drive_charger(InProcessCharger("x", FAULTS[fault].made), case)
        return judge_charger(run).findings

    for name, fault, requirement in (
        ("sense/meter-reads-high", "only-upward", "SENSE.comes-down"),
        ("doubt/frozen-reading", "never-frozen", "DOUBT.frozen"),
        ("stale/short", "stops-at-once", "STALE.in-order"),
    ):
        findings = found(name, fault, PIER)
        assert requirement in {finding.requirement for finding in findings}


def test_what_cannot_be_rendered_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    some = ("packs/one-zero", "sense/thin-cable", "stale/low-request")
    monkeypatch.setattr(
        harness.charger.render, "charger_recipes", lambda: [RECIPES[name] for name in some]
    )
    vectors, reasons = charger_vectors_for(ChargerSettings(compensation_v=0.0, steady_s=0.0))
    assert reasons["packs/one-zero"] == "packs must be 2 or more, it is 1"
    assert reasons["sense/thin-cable"] == (
        "with these settings it does not put SENSE.reaches to the test"
    )
    assert [each.id for each in vectors] == ["stale/low-request"]
    assert set(reasons) == set(some[:2])
    with pytest.raises(NotApplicableError, match="max_gap_s must be 1 s or more"):
        render(RECIPES["stale/short"], ChargerSettings(max_gap_s=0.5))
    with pytest.raises(NotApplicableError, match="it would have more than 20000 samples"):
        render(RECIPES["begin/never-heard"], ChargerSettings(stale_s=0.01, silent_s=3600.0))


# -- what the check refuses ----------------------------------------------------------------


@pytest.fixture
def plain() -> ChargerVector:
    return SHIPPED["stale/low-request"]


def problems(vector: ChargerVector) -> list[str]:
    return [str(each) for each in check_vectors([vector], coverage=False)]


def test_a_shipped_vector_passes(plain: ChargerVector) -> None:
    assert problems(plain) == []


def test_each_rule_refuses_what_breaks_it(plain: ChargerVector) -> None:
    name = plain.id
    assert plain.expected is not None
    lower = evolve(plain.expected, limit_most_a=np.minimum(plain.expected.limit_most_a, 7.0))
    for changes, problem in (
        ({"id": "7/b c"}, "7/b c: the id '7/b c' is no slug of the form group/some-name (names)"),
        ({"tags": ("steep",)}, "there is no tag 'steep'; known are backward, common-practice"),
        ({"tags": ("backward",)}, "the tag backward is set, but time never steps back (order)"),
        ({"source": "told"}, "there is no source 'told'; known are analytic, reference (names)"),
        ({"negative": ("BEGIN.waits",)}, "BEGIN.waits is negative, but not among the requirements"),
        ({"requirements": ("STALE.soon",)}, "there is no requirement 'STALE.soon' (names)"),
        ({"requirements": ("PACKS.zero",)}, "it does not put PACKS.zero to the test (exercise)"),
        ({"why": ""}, "the why is empty (words)"),
        ({"power_cycles": (9, 4)}, "power_cycles are no indices of samples in order"),
        ({"expected": None}, "nothing is expected (corridor)"),
        ({"expected": lower}, "at sample 11 (limit_most_a) at most 7 A is expected, the refe"),
    ):
        found = problems(evolve(plain, **changes))
        assert [each for each in found if problem in each], (changes, found)
    back = evolve(SHIPPED["clock/set-back-while-silent"], tags=())
    assert "the tag backward is missing" in problems(back)[0]
    assert name == plain.id


def test_ids_that_are_there_twice_and_requirements_without_vectors(plain: ChargerVector) -> None:
    found = {str(each) for each in check_vectors([plain, plain])}
    assert f"{plain.id}: 2 vectors have this id (duplicates)" in found
    assert "PACKS.zero: no vector exercises it (coverage)" in found
    assert not any(each.startswith("STALE.obeys") for each in found)
    assert {n for each in SHIPPED.values() for n in each.requirements} == set(known_requirements())


def test_files_that_differ_are_missing_or_have_no_recipe_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    some = [RECIPES["follow/zero"], RECIPES["sense/cloud"]]
    monkeypatch.setattr(harness.charger.lint, "charger_recipes", lambda: some)
    copy = tmp_path / "charger"
    for recipe in some:
        for file in charger_folder().glob(f"{recipe.id}.*"):
            (copy / recipe.id).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(file, copy / recipe.id.partition("/")[0])
    assert [each for each in check(copy) if each.rule != "coverage"] == []
    edited = copy / "follow" / "zero.expected.csv"
    edited.write_text(edited.read_text().replace("50", "60", 1))
    (copy / "sense" / "cloud.csv").unlink()
    (copy / "sense" / "sun.csv").write_text("t\n0\n")
    assert [str(each) for each in check(copy) if each.rule != "coverage"] == [
        "follow/zero.expected.csv: the file differs from its recipe; render the vectors again (files)",
        "sense/cloud.csv: the file is missing; render the vectors again (files)",
        "sense/sun.csv: there is no recipe for this file (files)",
    ]
