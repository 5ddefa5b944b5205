"""The samples in a stored result: the same when read again, and refused where they are damaged."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from attrs import evolve
from jsonschema import Draft202012Validator

from harness.errors import InputError
from harness.report.result import Result
from harness.report.store import SCHEMA, from_json, read_result, to_json


def test_a_result_with_samples_is_the_same_after_writing_and_reading(broken: Result) -> None:
    text = to_json(broken)
    again = from_json(text)
    assert to_json(again) == text
    assert again.environment == broken.environment
    assert again.tried == broken.tried
    for one, other in zip(again.excerpts, broken.excerpts, strict=True):
        assert one.settings == other.settings
        for name, column in other.columns.items():
            assert np.array_equal(one.columns[name], column, equal_nan=True)
        assert one.stages is not None
        assert other.stages is not None
        assert one.stages.tolist() == other.stages.tolist()
        assert [c.setting for c in one.clocks] == [c.setting for c in other.clocks]


def test_limits_are_kept(broken: Result) -> None:
    again = from_json(to_json(evolve(broken, limit_s=2.5, tolerance_s=0.25)))
    assert (again.limit_s, again.tolerance_s) == (2.5, 0.25)


def test_the_schema_that_ships_fits_every_number_of_it(broken: Result) -> None:
    # Reading checks the long columns apart, so that the whole schema is tried here alone.
    validator = Draft202012Validator(json.loads(SCHEMA.read_text()))
    assert [error.message for error in validator.iter_errors(json.loads(to_json(broken)))] == []


def test_the_header_is_first_and_the_footer_last(broken: Result) -> None:
    members = list(json.loads(to_json(broken)))
    assert members[:2] == ["format", "version"]
    assert members[-1] == "end"
    end = json.loads(to_json(broken))["end"]
    assert end == {
        "results": len(broken.report.results),
        "findings": len(broken.report.findings),
        "excerpts": len(broken.excerpts),
        "complete": True,
    }


def test_one_that_is_cut_off_anywhere_is_refused(broken: Result) -> None:
    text = to_json(broken)
    for at in np.linspace(0, len(text.rstrip()) - 1, 60).astype(int).tolist():
        with pytest.raises(InputError, match="cut off"):
            from_json(text[:at], "result.json")


Change = Callable[[dict[str, Any]], Any]


def _set(*path: Any, to: Any) -> Change:
    def change(document: dict[str, Any]) -> None:
        member: Any = document
        for step in path[:-1]:
            member = member[step]
        member[path[-1]] = to

    return change


def _drop_excerpt(document: dict[str, Any]) -> None:
    del document["excerpts"][0]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (_drop_excerpt, r"end\.excerpts: it says 3, and there are 2.*cut off"),
        (_set("excerpts", 1, "columns", "v", 4, to="<b>"), r"excerpts\[1\]\.columns\.v: there is <b>"),
        (_set("excerpts", 1, "columns", "v", to=[1.0]), r"excerpts\[1\]\.columns\.v: it has 1 numbers"),
        (_set("excerpts", 0, "columns", "v", to=3), r"excerpts\[0\]\.columns\.v: 3 is not"),
        (_set("excerpts", 0, "columns", "w", to=[]), r"excerpts\[0\]\.columns"),
        (_set("excerpts", 0, "indices", 0, to=1.5), r"excerpts\[0\]\.indices: they must be whole"),
        (_set("excerpts", 0, "indices", 0, to=None), r"excerpts\[0\]\.indices: they must be whole"),
        (_set("excerpts", 0, "indices", to=[]), r"excerpts\[0\]\.indices: they must be whole"),
        (_set("excerpts", 0, "samples", to=3), r"excerpts\[0\]\.indices: .*less than samples \(3\)"),
        (_set("excerpts", 0, "stages", 0, to=[5, "bulk"]), r"excerpts\[0\]\.stages: there is position 5"),
        (_set("excerpts", 0, "stages", to=[]), r"excerpts\[0\]\.stages: there is no stage"),
        (_set("excerpts", 0, "stages", 0, to=[0, "boost"]), r"excerpts\[0\]\.stages"),
        (_set("excerpts", 0, "settings", "hold_s", to=-1), r"excerpts\[0\]\.settings: hold_s"),
        (_set("excerpts", 0, "settings", "hut", to=1), r"excerpts\[0\]\.settings"),
        (_set("excerpts", 0, "clocks", 0, "shows_s", 0, to=True), r"clocks\[0\]\.shows_s: there is True"),
        (_set("excerpts", 0, to=7), r"excerpts\[0\]: 7 is not"),
        (_set("results", 0, "requirement", to="HUT.warm"), r"results\[0\]\.requirement: .*HUT\.warm"),
        (_set("environment", to={}), "environment"),
        (_set("limit_s", to=0), "limit_s"),
        (_set("end", "complete", to=False), r"end\.complete"),
        (_set("version", to=1), r"version: there is 1, this fullproof reads 2 and 3; make the result again"),
        (_set("format", to="fullproof hunt"), r"format: there is 'fullproof hunt'"),
    ],
)  # fmt: skip
def test_what_is_damaged_is_named(broken: Result, change: Change, told: str) -> None:
    document = json.loads(to_json(broken))
    change(document)
    with pytest.raises(InputError, match=told):
        from_json(json.dumps(document), "result.json")


@pytest.mark.parametrize("text", ["[]", "7", '"hut"', "null", '{"a": 1}'])
def test_another_document_is_none(text: str) -> None:
    with pytest.raises(InputError, match=r"result\.json: is no stored result"):
        from_json(text, "result.json")


@pytest.mark.parametrize("text", [b"", b"\xff\xfe", b"{" * 5_000, b'{"format": NaN}'])
def test_what_is_no_json_is_told_with_its_line(text: bytes) -> None:
    with pytest.raises(InputError, match=r"result\.json:1: is no JSON"):
        from_json(text, "result.json")


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nowhere\.json: cannot be read: No such file"):
        read_result(tmp_path / "nowhere.json")
