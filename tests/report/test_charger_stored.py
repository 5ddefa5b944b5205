"""The result of a charger as it is stored, told, and read again; and results from before roles."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from attrs import evolve
from jsonschema import Draft202012Validator

from ctrl.charger import ChargerSettings, Conduct
from harness.charger.attach import InProcessCharger, drive_charger
from harness.errors import InputError
from harness.report.around import rows_around
from harness.report.baseline import changes_since
from harness.report.charger_excerpt import charger_excerpts_of
from harness.report.excerpt import MOST_SAMPLES, NEAR, Excerpt
from harness.report.markdown import to_markdown
from harness.report.panels import panels
from harness.report.result import Result
from harness.report.result_page import to_html
from harness.report.store import SCHEMA, from_json, to_json
from harness.report.words import changed_settings
from harness.run import Finding, Identity
from tests.report.made import cases as controller_cases
from tests.report.made import result_of
from tests.report.made_charger import cases, deaf_result


@pytest.fixture(scope="module")
def deaf() -> Result:
    return deaf_result()


@pytest.fixture(scope="module")
def right() -> Result:
    """The reference controller on one vector."""
    return result_of("ref", controller_cases("entry/after-dwell"))


def found(result: Result, requirement: str, case: str) -> tuple[Finding, Excerpt]:
    finding = next(
        f for f in result.report.findings if (f.requirement, f.case) == (requirement, case)
    )
    excerpt = result.excerpt(finding)
    assert excerpt is not None
    return finding, excerpt


def test_it_is_the_same_after_writing_and_reading(deaf: Result) -> None:
    text = to_json(deaf)
    again = from_json(text)
    assert again.report == deaf.report
    assert again.report.role == "charger"
    assert to_json(again) == text
    assert to_html(again) == to_html(deaf)
    assert to_markdown(again) == to_markdown(deaf)


def test_the_schema_that_ships_fits_every_number_of_it(deaf: Result) -> None:
    document = json.loads(to_json(deaf))
    validator = Draft202012Validator(json.loads(SCHEMA.read_text()))
    assert [error.message for error in validator.iter_errors(document)] == []
    assert document["version"] == 3
    assert document["charger"]["name"] == "deaf"
    assert "controller" not in document
    assert {each["requirement"] for each in document["results"]} >= {"SENSE.reaches", "LINK.cuts"}


def test_the_settings_that_it_was_built_with_come_back(deaf: Result) -> None:
    identity = Identity("deaf", "2", "C", frozenset(), ChargerSettings(packs=3, stale_s=2.0))
    fixed = evolve(deaf, report=evolve(deaf.report, identity=identity))
    assert from_json(to_json(fixed)).report.identity == identity
    assert "The charger was built with its settings: 3 packs, stale_s 2.0." in to_html(fixed)


def test_a_result_from_before_roles_is_that_of_a_controller(right: Result) -> None:
    document = json.loads(to_json(right))
    document["version"] = 2
    del document["role"]
    read = from_json(json.dumps(document))
    assert read.report == right.report
    assert read.report.role == "controller"
    assert to_json(read) == to_json(right)


Change = Callable[[dict[str, Any]], Any]


def _set(*path: Any, to: Any) -> Change:
    def change(document: dict[str, Any]) -> None:
        member: Any = document
        for step in path[:-1]:
            member = member[step]
        member[path[-1]] = to

    return change


def _called_controller(document: dict[str, Any]) -> None:
    document["controller"] = document.pop("charger")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (_set("role", to="pack"), r"role: there is 'pack'; it must be one of"),
        (_set("role", to="controller"), r"the member controller is missing"),
        (_called_controller, r"the member charger is missing|controller: "),
        (_set("version", to=2), r"the member controller is missing|charger: "),
        (_set("version", to=4), r"there is 4, this fullproof reads 2 and 3"),
        (_set("results", 0, "requirement", to="HOLD.ends"), r"no requirement 'HOLD.ends'"),
        (_set("excerpts", 0, "states", 0, to=[0, "bulk"]), r"excerpts\[0\]\.states"),
        (_set("excerpts", 0, "states", to=[]), r"excerpts\[0\]\.states: there is no state"),
        (_set("excerpts", 0, "stages", to=[]), r"excerpts\[0\]"),
        (_set("excerpts", 0, "columns", "v", to=[]), r"excerpts\[0\]\.columns"),
        (_set("excerpts", 0, "columns", "own_v", to=[1.0]), r"columns\.own_v: it has 1 numbers"),
        (_set("excerpts", 0, "settings", "stale_s", to=-1), r"excerpts\[0\]\.settings: stale_s"),
        (_set("charger", "fixed", to={"hold_s": 1}), r"charger\.fixed: .*hold_s"),
    ],
)
def test_what_is_damaged_is_named(deaf: Result, change: Change, told: str) -> None:
    document = json.loads(to_json(deaf))
    change(document)
    with pytest.raises(InputError, match=told):
        from_json(json.dumps(document), "result.json")


def test_results_of_two_roles_are_not_compared(deaf: Result, right: Result) -> None:
    with pytest.raises(
        InputError, match=r"old\.json: it holds a controller, and this is a charger"
    ):
        changes_since(right, deaf, "old.json")
    assert changes_since(deaf, deaf, "old.json").exit_code == 0


def test_charger_and_reference_part_where_the_finding_is(deaf: Result) -> None:
    finding, excerpt = found(deaf, "STALE.falls-back", "stale/wire-off")
    assert excerpt.stages is not None
    assert excerpt.reference_stages is not None
    at = excerpt.position(finding)
    assert Conduct(excerpt.stages[at]) is Conduct.FOLLOWING
    assert Conduct(excerpt.reference_stages[at]) is Conduct.FALLBACK
    columns = {name: float(values[at]) for name, values in excerpt.columns.items()}
    # The last message came 0.25 s old at 40 s, and the finding is at 46 s.
    assert columns["oldest_s"] == 6.25
    assert str(columns["fresh_s"]) == "nan"
    assert (columns["asked_v"], columns["asked_a"]) == (56.0, 50.0)
    assert (columns["set_point_v"], columns["reference_set_point_v"]) == (56.0, 54.0)
    assert (columns["limit_a"], columns["reference_limit_a"]) == (50.0, 20.0)


def test_a_loss_of_power_begins_anew_what_is_in_force(deaf: Result) -> None:
    _, excerpt = found(deaf, "RESTART.forgets", "restart/while-following")
    (lost,) = excerpt.power_cycles
    fresh_s = excerpt.columns["fresh_s"]
    assert fresh_s[lost - 1] == lost - 1
    assert fresh_s[lost] == 0.0


def test_pictures_show_what_the_charger_heard_and_gave(deaf: Result) -> None:
    _, excerpt = found(deaf, "PACKS.voltage", "packs/two-requests")
    voltage, current = panels(excerpt, "FOLLOW")
    assert [line.name for line in voltage.lines] == [
        *("own_v", "pack_v_1", "pack_v_2", "set_point_v", "asked_v")
    ]
    assert [line.name for line in current.lines] == ["own_a", "limit_a", "asked_a"]
    assert {level.text for level in voltage.levels} == {"fallback_v 54"}
    ages = panels(excerpt, "STALE")[-1]
    assert [line.name for line in ages.lines] == ["oldest_s", "fresh_s"]
    assert [level.text for level in ages.levels] == ["stale_s 5", "silent_s 60", "steady_s 10"]


def test_the_samples_around_a_finding_stand_in_rows(deaf: Result) -> None:
    finding, excerpt = found(deaf, "STALE.falls-back", "stale/wire-off")
    rows = rows_around(excerpt, finding)
    assert rows.heads == (
        *("sample", "t, s", "own_v, V", "own_a, A", "request_v_1, V", "request_a_1, A"),
        *("pack_v_1, V", "pack_a_1, A", "age_s_1, s", "set_point_v, V", "limit_a, A"),
        *("charger", "reference"),
    )
    assert rows.rows[rows.here][0] == "46"
    assert rows.rows[rows.here][-2:] == ("following", "fallback")


def test_the_page_speaks_of_a_charger(deaf: Result) -> None:
    page = to_html(deaf)
    assert "The check follows the state, set-point and limit that the charger itself" in page
    assert 'class="stage following"' in page
    assert 'class="stage fallback"' in page
    assert "fullproof replay --role charger py:pier.py:Deaf stale/wire-off" in page
    assert "How a charger answers." in page
    assert ">stale_s<" in page
    assert "no certificate of safety" in page
    assert "controller" not in page.partition("<main")[2].partition("<script")[0]


def test_a_long_case_is_thinned_and_keeps_what_is_near() -> None:
    (short,) = cases("stale/wire-off")
    trace, times = short.trace, 12
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(trace, name)] * times)
        for name in ("own_v", "own_a", "request_v", "request_a", "pack_v", "pack_a")
    }
    columns |= {name: np.concatenate([getattr(trace, name)] * times) for name in ("stage", "age_s")}
    columns["t"] = np.arange(len(trace) * times, dtype=np.float64)
    case = evolve(short, trace=type(trace)(**columns))
    run = drive_charger(InProcessCharger("ref"), case)
    finding = Finding("STALE.stops", case.id, 0.0, 1_500, "a", "b", 1.0, "s", "It came late.")
    (excerpt,) = charger_excerpts_of(case, run, [finding])
    assert len(excerpt.indices) <= MOST_SAMPLES < len(case.trace)
    kept = set(excerpt.indices.tolist())
    assert set(range(1_500 - NEAR, 1_500 + NEAR + 1)) <= kept
    (unanswered,) = charger_excerpts_of(case, None, [finding], compared=False)
    assert unanswered.stages is unanswered.reference_stages is None
    assert "set_point_v" not in unanswered.columns
    assert unanswered.columns["asked_v"][unanswered.position(finding)] == 56.0


def test_settings_are_told_by_what_is_changed() -> None:
    assert changed_settings(ChargerSettings()) == "1 pack, else the defaults"
    assert changed_settings(ChargerSettings(packs=2, zero_s=3.0)) == "2 packs, zero_s 3.0"
