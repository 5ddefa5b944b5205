"""The JSON of a vector, its schema, and the CSV beside it."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ctrl.settings import SETTING_NAMES, Settings
from harness.cases import shipped, vector_named
from harness.cases.folder import vectors_folder
from harness.cases.recipe import SOURCES, TAGS
from harness.cases.recipes import all_recipes
from harness.cases.render import render, write
from harness.cases.vector import read_vector, to_json
from harness.errors import InputError
from harness.run import FEATURES, OPTIONAL_COLUMNS

SCHEMA = json.loads((vectors_folder() / "vector.schema.json").read_text())


def test_there_are_enough_vectors_and_they_stay_small() -> None:
    assert len(shipped()) >= 60
    assert sum(len(each.trace) for each in shipped()) < 60_000


def test_the_files_hold_what_the_recipes_render_to() -> None:
    rendered = {each.id: render(each) for each in all_recipes()}
    assert [each.id for each in shipped()] == sorted(rendered)
    for read in shipped():
        assert to_json(read) == to_json(rendered[read.id])
        assert read.settings == rendered[read.id].settings
        assert read.trace.columns == rendered[read.id].trace.columns
        for name in read.trace.columns:
            one, two = read.trace.column(name), rendered[read.id].trace.column(name)
            assert np.array_equal(one, two, equal_nan=True)


def test_writing_again_changes_nothing(tmp_path: Path) -> None:
    vectors = [vector_named("hold/sag-runs-on"), vector_named("time/stamp-is-missing")]
    assert len(write(tmp_path, vectors)) == 6
    assert write(tmp_path, vectors) == ()
    for name in ("hold/sag-runs-on.csv", "time/stamp-is-missing.expected.csv"):
        assert (tmp_path / name).read_bytes() == (vectors_folder() / name).read_bytes()
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="cannot be written"):
        write(tmp_path / "file", vectors)


def test_the_json_is_plain_json_that_any_reader_takes() -> None:
    content = json.loads((vectors_folder() / "hold" / "sag-runs-on.json").read_text())
    assert content["format"] == 1
    assert content["columns"] == ["t", "v", "i"]
    assert content["rows"][:3] == [[0, 54.3, 2.8], [0.5, 54.3, 2.8], [1.5, 54.3, 2.8]]
    assert content["settings"]["sag_v"] is None
    assert content["expected"] == {
        "stages": [[0, "bulk"], [8.5, "absorption"], [129, "float"]],
        "resets": [129],
        "soc": [[129, 1, 0]],
    }


def test_the_tables_stand_line_for_line_beside_each_other() -> None:
    for each in shipped():
        place = vectors_folder() / f"{each.id}.csv"
        with place.open(newline="") as file:
            readings = list(csv.DictReader(file))
        with place.with_suffix(".expected.csv").open(newline="") as file:
            expected = list(csv.DictReader(file))
        assert [row["t"] for row in readings] == [row["t"] for row in expected]
        resets = [float(row["t"]) for row in expected if row["full_reset"] == "1"]
        assert resets == list(each.expected.resets)
        changes = [
            (float(row["t"]), row["stage"])
            for before, row in zip([{"stage": ""}, *expected], expected, strict=False)
            if row["stage"] != before["stage"]
        ]
        assert changes == list(each.expected.stages)


def test_the_schema_knows_every_name() -> None:
    properties: dict[str, Any] = SCHEMA["properties"]
    assert tuple(properties["settings"]["required"]) == SETTING_NAMES
    assert tuple(properties["settings"]["properties"]) == SETTING_NAMES
    assert tuple(properties["features"]["items"]["enum"]) == FEATURES
    assert properties["tags"]["items"]["enum"] == list(TAGS)
    assert tuple(properties["source"]["enum"]) == SOURCES
    assert tuple(properties["columns"]["items"]["enum"]) == OPTIONAL_COLUMNS


def rewritten(tmp_path: Path, **members: Any) -> Path:
    content = json.loads((vectors_folder() / "hold" / "sag-runs-on.json").read_text())
    path = tmp_path / "changed.json"
    path.write_text(json.dumps({**content, **members}))
    return path


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_vector(path)
    return str(caught.value).replace(f"{path.parent}/", "")


BAD_MEMBERS: dict[str, tuple[dict[str, Any], str]] = {
    "another format": ({"format": 2}, "changed.json: format: there is 2; it must be 1"),
    "a position for an id": ({"id": "hold/7 sag"}, "changed.json: id: 'hold/7 sag' does not match"),
    "an unknown member": ({"colour": 1}, "changed.json: there is no member 'colour'"),
    "an unknown feature": (
        {"features": ["esp"]},
        "changed.json: features[0]: there is 'esp'; it must be one of",
    ),
    "a stage that is none": (
        {"expected": {"stages": [[0, "boost"]], "resets": [], "soc": []}},
        "changed.json: expected.stages[0][1]: there is 'boost'; it must be one of",
    ),
    "settings that are not whole": (
        {"settings": {}},
        "changed.json: settings: the member cells is missing",
    ),
    "a count above 1": ({"soc": 50}, "changed.json: soc: 50 is greater than the maximum of 1"),
    "uneven rows": (
        {"rows": [[0, 55, 1], [1, 55]]},
        "changed.json: rows[1]: there is 2 readings; a row has 3 readings",
    ),
    "contradicting settings": (
        {"settings": {**Settings().to_mapping(), "full_v": 57.0}},
        "changed.json: settings: full_v 57.0 and entry_v 55.8",
    ),
}


@pytest.mark.parametrize("name", BAD_MEMBERS)
def test_a_file_that_is_no_vector_is_refused_with_its_member(name: str, tmp_path: Path) -> None:
    members, message = BAD_MEMBERS[name]
    assert refusal(rewritten(tmp_path, **members)).startswith(message)


def test_a_vector_of_ones_own_is_read(tmp_path: Path) -> None:
    found = read_vector(rewritten(tmp_path, id="own/one", title="One of my own"))
    assert (found.id, found.title, found.group) == ("own/one", "One of my own", "own")
    assert found.case.id == "own/one"
    assert found.case.settings.hold_s == 120
    assert found.case.expected is found.expected


def test_an_unknown_id_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match=r"no vector 'hold/sag-run-on'.*'hold/sag-runs-on'"):
        vector_named("hold/sag-run-on")
