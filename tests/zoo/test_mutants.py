"""The mutants are made at every place that their operators fit, and each is one change of the reference."""

from __future__ import annotations

import inspect
import re
from collections import Counter

import pytest
from attrs import evolve

from ctrl import limits, stages
from ctrl.settings import SETTING_NAMES, Settings
from ctrl.state import Sample
from ctrl.transitions import TRANSITIONS
from ctrl.vocabulary import Stage
from harness.attach import LinkFault, attach, drive
from harness.rules import REQUIREMENTS
from harness.run import Case
from harness.zoo.faults import C_FAULTS, FAULTS
from harness.zoo.matrix import answers_to, same
from harness.zoo.mutants import Mutant, mutants
from harness.zoo.mutants.attachment import MutantAttachment
from harness.zoo.mutants.binding import FUNCTIONS, BoundController, bound
from harness.zoo.mutants.equivalents import reason
from harness.zoo.mutants.guards import WHERE
from harness.zoo.mutants.operators import BY_HAND, OPERATORS
from harness.zoo.mutants.syntax import compiled, tree_of
from harness.zoo.variants import VARIANTS

BY_NAME = {mutant.name: mutant for mutant in mutants()}
# Functions of the rules that decide nothing in the reference as it is delivered: other reset rules,
# words for events, and the small steps around `decide`.
DECIDE_NOTHING = {
    *("high", "at_once", "tapered", "high_and_tapered", "not_ever", "proves", "numbered"),
    *("events_of", "start", "power_cycle", "request_equalisation", "step", "limits_of", "_off"),
}


def word(name: str) -> str:
    return name.lower().replace("_", "-")


def test_there_are_enough_and_every_operator_makes_some() -> None:
    made = Counter(mutant.operator.name for mutant in mutants())
    assert sum(made.values()) >= 200
    assert set(made) == {operator.name for operator in OPERATORS} - {BY_HAND.name}


def test_names_are_slugs_and_used_once() -> None:
    others = [fault.name for fault in FAULTS + C_FAULTS + VARIANTS]
    names = Counter([*(mutant.name for mutant in mutants()), *others])
    assert [name for name, times in names.items() if times > 1] == []
    assert [name for name in BY_NAME if not re.fullmatch(r"[a-z]+(-[a-z0-9]+)+", name)] == []
    assert max(map(len, BY_NAME)) <= 80


def test_each_says_what_it_does_and_which_requirements_it_may_break() -> None:
    known = {requirement.id for requirement in REQUIREMENTS}
    known |= {requirement.group for requirement in REQUIREMENTS}
    for mutant in mutants():
        assert mutant.title
        assert not mutant.title.endswith(".")
        assert mutant.subject
        assert mutant.breaks or reason(mutant) is not None, mutant.name
        assert mutant.breaks <= known, mutant.name


def test_every_row_leads_elsewhere_and_is_missing_in_each_of_its_stages() -> None:
    for stage, rows in TRANSITIONS.items():
        for row in rows:
            assert f"source-{word(row.way.name)}-missing-in-{stage.word}" in BY_NAME
            for other in set(Stage) - {row.to}:
                assert f"target-{word(row.way.name)}-to-{other.word}" in BY_NAME
    for stage in Stage:
        assert f"sink-{stage.word}" in BY_NAME


def test_every_setting_has_mutants_and_every_number_goes_both_ways() -> None:
    read = inspect.getsource(limits.limits_of)
    for setting in SETTING_NAMES:
        about = [m for m in mutants() if setting in m.subject.split(", ")]
        if setting == "cells":
            # No rule reads it: pack voltages are set as they are.
            assert f"settings.{setting}" not in read
            continue
        assert about, setting
        shifted = [m.name for m in about if m.operator.name in ("shift", "time")]
        if isinstance(getattr(Settings(), setting), str):
            assert any(m.operator.name == "swap" for m in about)
            continue
        assert any(name.endswith(("-lower", "-shorter")) for name in shifted), setting
        assert any(name.endswith(("-higher", "-longer")) for name in shifted), setting


def test_every_function_that_decides_is_mutated() -> None:
    assert set(WHERE) | DECIDE_NOTHING == set(FUNCTIONS)
    mutated = {mutant.tree.name for mutant in mutants() if mutant.tree is not None}
    assert set(WHERE) - mutated == set()


def test_no_two_change_the_source_alike() -> None:
    codes = Counter(mutant.code for mutant in mutants() if mutant.code)
    assert [code for code, times in codes.items() if times > 1] == []


def test_the_reference_bound_anew_is_the_reference(cases: tuple[Case, ...]) -> None:
    with attach("ref") as reference, MutantAttachment(None) as again:
        right, other = answers_to(reference, cases), answers_to(again, cases)
    assert all(same(right[case.id], other[case.id]) for case in cases)
    assert None not in right.values()


def test_functions_compiled_from_their_trees_are_the_functions(cases: tuple[Case, ...]) -> None:
    def all_of_them(names: dict[str, object]) -> None:
        for function in WHERE:
            compiled(tree_of(function))(names)

    whole = Mutant("x", OPERATORS[0], "x", "x", frozenset(), all_of_them)
    with MutantAttachment(None) as reference, MutantAttachment(whole) as again:
        right, other = answers_to(reference, cases), answers_to(again, cases)
    assert all(same(right[case.id], other[case.id]) for case in cases)


def test_a_change_stays_where_it_was_made() -> None:
    changed = bound(BY_NAME["boundary-bulk-level-v-ge-entry-v"].change)
    sample = Sample(0.0, Settings().entry_v, 0.0)
    settings = Settings(entry_dwell_s=0.0)
    mutant = BoundController(changed, settings, 0.5)
    assert mutant.step(sample).stage is Stage.BULK
    assert BoundController(bound(), settings, 0.5).step(sample).stage is Stage.ABSORPTION
    assert stages.bulk is FUNCTIONS["bulk"]
    assert changed["bulk"] is not stages.bulk


def test_two_controllers_of_one_mutant_share_nothing_over_a_start(cases: tuple[Case, ...]) -> None:
    names = ("memory-cell-max-v-held-where-missing", "extra-full-reset-said-again")
    for mutant in (BY_NAME[name] for name in names):
        with MutantAttachment(mutant) as attachment:
            once = answers_to(attachment, cases)
            again = answers_to(attachment, cases[::-1])
        assert all(same(once[case.id], again[case.id]) for case in cases)


def test_a_request_before_the_start_is_the_mistake_of_the_caller() -> None:
    with (
        MutantAttachment(None) as attachment,
        pytest.raises(RuntimeError, match="has not been started"),
    ):
        attachment.request_equalisation()


def test_a_mutant_that_fails_at_a_request_is_no_longer_alive() -> None:
    def failing(names: dict[str, object]) -> None:
        names["with_request"] = lambda *_: 1 / 0

    broken = Mutant("x", OPERATORS[0], "x", "x", frozenset(), failing)
    with MutantAttachment(broken) as attachment:
        attachment.start(Settings(), 0.5)
        with pytest.raises(LinkFault, match=r"request_equalisation\(\) raised ZeroDivisionError"):
            attachment.request_equalisation()


def test_a_request_reaches_the_mutants(cases: tuple[Case, ...]) -> None:
    case = next(case for case in cases if case.id == "equalise/on-request")
    unasked = evolve(case, equalise_requests=())
    with MutantAttachment(None) as attachment:
        assert Stage.EQUALISATION in drive(attachment, case).answers.stage
        assert Stage.EQUALISATION not in drive(attachment, unasked).answers.stage


@pytest.mark.parametrize("name", ["shift-entry-v-5mv-higher", "target-confirmed-to-bulk"])
def test_what_changes_no_source_has_none_to_show(name: str) -> None:
    assert BY_NAME[name].code == ""


def test_a_changed_source_differs_from_the_right_one() -> None:
    for mutant in mutants():
        if mutant.tree is not None:
            assert mutant.code != inspect.getsource(FUNCTIONS[mutant.tree.name])
