"""The JSON of a vector for a charger, its schema, and the CSV beside it."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ctrl.charger import ChargerSettings, Conduct
from ctrl.charger.settings import CHARGER_SETTING_NAMES
from ctrl.vocabulary import Stage
from harness.cases import shipped
from harness.cases.folder import vectors_folder
from harness.charger.case import NO_STAGE, PACK_NUMBERS, ChargerTrace
from harness.charger.cases import charger_cases
from harness.charger.corridor import corridor
from harness.charger.expected import EXPECTED_COLUMNS, Corridor
from harness.charger.folder import charger_folder, shipped_charger_vectors
from harness.charger.recipe import CHARGER_SOURCES, CHARGER_TAGS, charger_recipes
from harness.charger.render import render, write
from harness.charger.vector import ChargerVector, read_charger_vector, to_json
from harness.errors import InputError

SCHEMA = json.loads((vectors_folder() / "charger-vector.schema.json").read_text())
ONE = "sense/thin-cable"


def file_of(name: str = ONE) -> Path:
    return charger_folder() / f"{name}.json"


def same_trace(one: ChargerTrace, two: ChargerTrace) -> bool:
    names = ("t", "own_v", "own_a", "stage", *PACK_NUMBERS)
    return all(
        np.array_equal(getattr(one, n), getattr(two, n), equal_nan=n != "stage") for n in names
    )


def test_there_are_enough_and_they_stay_small() -> None:
    assert len(shipped_charger_vectors()) >= 40
    assert sum(len(each.trace) for each in shipped_charger_vectors()) < 12_000


def test_no_id_is_that_of_a_vector_for_controllers() -> None:
    ids = {each.id for each in shipped_charger_vectors()}
    assert len(ids) == len(shipped_charger_vectors())
    assert ids & {each.id for each in shipped()} == set()


def test_the_cases_from_the_files_are_those_of_the_stories() -> None:
    told = [recipe.case() for recipe in charger_recipes()]
    assert [case.id for case in charger_cases()] == [case.id for case in told]
    for read, case in zip(charger_cases(), told, strict=True):
        assert same_trace(read.trace, case.trace), case.id
        assert read.settings == case.settings
        assert (read.power_cycles, read.cuts) == (case.power_cycles, case.cuts)
        assert (read.story, read.requirements) == (case.story, case.requirements)


def test_files_are_read_with_all_checks_and_written_the_same() -> None:
    for each in shipped_charger_vectors()[::4]:
        path = file_of(each.id)
        assert to_json(read_charger_vector(path)) == path.read_text(encoding="utf-8")


def test_writing_again_changes_nothing(tmp_path: Path) -> None:
    recipes = {recipe.id: recipe for recipe in charger_recipes()}
    vectors = [render(recipes[name]) for name in ("begin/stammer", "clock/no-stamp")]
    assert len(write(tmp_path, vectors)) == 6
    assert write(tmp_path, vectors) == ()
    for name in ("begin/stammer.json", "clock/no-stamp.csv", "clock/no-stamp.expected.csv"):
        assert (tmp_path / name).read_bytes() == (charger_folder() / name).read_bytes()
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="cannot be written"):
        write(tmp_path / "file", vectors)


def test_the_json_is_plain_json_that_any_reader_takes() -> None:
    content = json.loads(file_of("clock/no-stamp").read_text())
    assert (content["format"], content["role"]) == (1, "charger")
    assert content["columns"][:5] == ["t", "own_v", "own_a", "request_v_1", "request_a_1"]
    assert content["rows"][1] == [1, 53.35, 12, 56, 50, 53.2, 20.1, "bulk", 0.25]
    assert content["rows"][14][0] is None
    assert content["settings"]["plausible_v"] == [30, 70]
    assert content["expected"]["columns"] == list(EXPECTED_COLUMNS)
    assert content["expected"]["rows"][0] == ["stopped", "", None, 54, None, 0]
    assert len(content["expected"]["rows"]) == len(content["rows"])


def test_the_tables_stand_line_for_line_beside_each_other() -> None:
    for each in shipped_charger_vectors():
        place = charger_folder() / f"{each.id}.csv"
        with place.open(newline="") as file:
            samples = list(csv.reader(file))
        with place.with_suffix(".expected.csv").open(newline="") as file:
            expected = list(csv.reader(file))
        assert samples[0] == list(each.trace.columns)
        assert expected[0] == ["t", *EXPECTED_COLUMNS]
        assert [row[0] for row in samples] == ["t", *[row[0] for row in expected[1:]]]
        assert each.expected is not None
        for cells, row in zip(expected[1:], each.expected.rows(), strict=True):
            assert cells[1:3] == row[:2]
            numbers = [float(cell) if cell else None for cell in cells[3:]]
            assert numbers == row[2:]


def test_the_schema_knows_every_name() -> None:
    properties: dict[str, Any] = SCHEMA["properties"]
    assert tuple(properties["settings"]["required"]) == CHARGER_SETTING_NAMES
    assert tuple(properties["settings"]["properties"]) == CHARGER_SETTING_NAMES
    assert properties["tags"]["items"]["enum"] == list(CHARGER_TAGS)
    assert tuple(properties["source"]["enum"]) == CHARGER_SOURCES
    assert sorted(SCHEMA["required"]) == sorted(properties)


# -- what is no such file ------------------------------------------------------------------


def rewritten(tmp_path: Path, change: Any) -> Path:
    content = json.loads(file_of().read_text())
    change(content)
    path = tmp_path / "changed.json"
    path.write_text(json.dumps(content))
    return path


def put(*path: Any, to: Any) -> Any:
    def change(content: Any) -> None:
        for step in path[:-1]:
            content = content[step]
        content[path[-1]] = to

    return change


BAD = {
    "another role": (put("role", to="controller"), "role: this is no vector for a charger; the m"),
    "another format": (put("format", to=2), "format: there is 2; it must be 1"),
    "a position for an id": (put("id", to="sense/7 b"), "id: 'sense/7 b' does not match"),
    "a setting that is none": (
        put("settings", "colour", to=1),
        "settings: there is no member 'colour'",
    ),
    "settings against each other": (
        put("settings", "stale_s", to=90),
        "settings: stale_s 90.0 and silent_s 60.0",
    ),
    "more packs than columns": (
        put("settings", "packs", to=2),
        "columns: there is t, own_v, own_a",
    ),
    "a short row": (lambda c: c["rows"][3].pop(), "rows[3]: there are 8 cells; a row has 9"),
    "a word for a number": (
        put("rows", 2, 3, to="bulk"),
        "rows[2][3] (request_v_1): there is 'bulk'; it must be a number, or null",
    ),
    "a number for a stage": (
        put("rows", 2, 7, to=3),
        "rows[2][7] (stage_1): there is 3; it must be one of bulk, absorption, float, inhibited, "
        "equalisation, or null",
    ),
    "a power cycle outside": (
        put("power_cycles", to=[341]),
        "power_cycles[0]: there is 341; it must be the index of a sample, 1 to 340",
    ),
    "fewer expectations than samples": (
        lambda c: c["expected"]["rows"].pop(),
        "expected.rows: there are 340 rows; there must be 341",
    ),
    "a state that is none": (
        put("expected", "rows", 5, 0, to="waiting"),
        "expected.rows[5][0]: there is 'waiting'; it must be one of",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_no_vector_is_refused_with_its_member(name: str, tmp_path: Path) -> None:
    change, message = BAD[name]
    path = rewritten(tmp_path, change)
    with pytest.raises(InputError) as caught:
        read_charger_vector(path)
    assert str(caught.value).startswith(f"{path}: {message}")


@pytest.mark.parametrize(
    ("text", "message"),
    [("[]", "role: this is no vector for a charger"), ("{", "is no JSON"), ("", "is no JSON")],
)
def test_what_is_no_object_is_refused(text: str, message: str, tmp_path: Path) -> None:
    path = tmp_path / "odd.json"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read_charger_vector(path)


def test_a_vector_of_ones_own_may_expect_nothing(tmp_path: Path) -> None:
    path = rewritten(tmp_path, put("expected", to=None))
    read = read_charger_vector(path)
    assert read.expected is None
    assert read.case.id == ONE
    assert same_trace(read.trace, read_charger_vector(file_of()).trace)


# -- what is written is read back to the last bit ------------------------------------------

NUMBERS = st.one_of(st.floats(allow_infinity=False, width=64), st.sampled_from([-0.0, 1e300]))


@st.composite
def vectors(draw: st.DrawFn) -> ChargerVector:
    packs, count = draw(st.integers(1, 2)), draw(st.integers(1, 3))

    def column() -> Any:
        return np.array(draw(st.lists(NUMBERS, min_size=count, max_size=count)))

    def table() -> Any:
        return np.array([column() for _ in range(packs)]).T

    codes = st.sampled_from([NO_STAGE, *[int(stage) for stage in Stage]])
    stages = draw(st.lists(codes, min_size=count * packs, max_size=count * packs))
    trace = ChargerTrace(
        t=column(),
        own_v=column(),
        own_a=column(),
        **{name: table() for name in PACK_NUMBERS},
        stage=np.array(stages, dtype=np.int8).reshape(count, packs),
    )
    states = st.lists(st.sampled_from(list(Conduct)), min_size=count, max_size=count)
    also = draw(st.lists(st.booleans(), min_size=3 * count, max_size=3 * count))
    expected = Corridor(
        np.array([int(state) for state in draw(states)], dtype=np.int8),
        np.array(also).reshape(count, 3),
        *(column() for _ in range(4)),
    )
    inside = st.lists(st.integers(1, count - 1), unique=True) if count > 1 else st.just([])
    return ChargerVector(
        id="drawn/one",
        title=draw(st.text(min_size=1)),
        description="It is drawn.",
        why="Bits are bits.",
        settings=ChargerSettings(packs=packs, stale_s=draw(st.floats(0.001, 50.0))),
        trace=trace,
        expected=draw(st.sampled_from([expected, None])),
        requirements=("SENSE.reaches",),
        power_cycles=tuple(draw(inside)),
        cuts=tuple(draw(inside)),
    )


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(vectors())
def test_what_is_written_is_read_back_to_the_last_bit(
    tmp_path: Path, vector: ChargerVector
) -> None:
    path = tmp_path / "drawn.json"
    path.write_text(to_json(vector), encoding="utf-8")
    read = read_charger_vector(path)
    for name in ("t", "own_v", "own_a", *PACK_NUMBERS):
        one, two = getattr(vector.trace, name), getattr(read.trace, name)
        assert np.array_equal(np.isnan(one), np.isnan(two))
        assert one[~np.isnan(one)].tobytes() == two[~np.isnan(two)].tobytes()
    assert np.array_equal(read.trace.stage, vector.trace.stage)
    assert read.settings == vector.settings
    assert (read.title, read.power_cycles, read.cuts) == (
        vector.title,
        vector.power_cycles,
        vector.cuts,
    )
    assert (read.expected is None) is (vector.expected is None)
    assert to_json(read) == to_json(vector)
    if read.expected is not None and vector.expected is not None:
        assert list(read.expected.rows()) == list(vector.expected.rows())
        assert np.array_equal(read.expected.also, vector.expected.also)


def test_the_expectation_of_a_file_is_what_follows_from_its_inputs() -> None:
    for name in ("packs/one-silent", "restart/while-waiting"):
        read = read_charger_vector(file_of(name))
        assert read.expected is not None
        assert list(corridor(read.case).rows()) == list(read.expected.rows())
