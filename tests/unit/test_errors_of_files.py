"""What is said of files that cannot be read, of words that are not known, and of unfit documents."""

from __future__ import annotations

from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from ctrl.errors import nearest
from harness.cli.settings_file import line_of
from harness.errors import cannot_read
from harness.schema_words import said_of


def test_why_a_file_cannot_be_read_is_told_with_what_to_look_at(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError) as gone:
        (tmp_path / "gone").read_bytes()
    assert str(cannot_read("gone", gone.value)) == (
        f"gone: cannot be read: No such file or directory; seen from {Path.cwd()}"
    )
    with pytest.raises(IsADirectoryError) as folder:
        tmp_path.read_bytes()
    assert str(cannot_read("hut", folder.value)).endswith("Is a directory; name a file in it")
    denied = cannot_read("pier", PermissionError(13, "Permission denied"))
    assert str(denied).endswith("denied; whoever runs this must be allowed to read it")
    assert cannot_read("hut", OSError(5, "broken")).hint == "it must be a file that can be read"


def test_a_sentence_goes_on_after_the_nearest_word() -> None:
    assert nearest("tapr", ("taper", "hold_only"), "And so on") == "did you mean 'taper'? And so on"
    assert nearest("x", ("b", "a"), "And so on") == "known are a, b. And so on"
    assert nearest("x", ("b", "a")) == "known are a, b"


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ({}, ("the member kind is missing", "as usual")),
        ({"kind": "hut", "cels": 1}, ("there is no member 'cels'", "did you mean 'cells'?")),
        ({"kind": "pier"}, ("there is 'pier'", "it must be 'hut'")),
        ({"kind": "hut", "side": "up"}, ("there is 'up'", "it must be one of 'left', 'right'")),
        ({"kind": "hut", "cells": "x"}, ("'x' is not of type 'integer'", "as usual")),
    ],
)
def test_what_a_schema_finds_is_told_in_plain_words(
    document: dict[str, object], said: tuple[str, str]
) -> None:
    schema = {
        "required": ["kind"],
        "additionalProperties": False,
        "properties": {
            "kind": {"const": "hut"},
            "cells": {"type": "integer"},
            "side": {"enum": ["left", "right"]},
        },
    }
    (error,) = Draft202012Validator(schema).iter_errors(document)
    assert said_of(error, "as usual") == said


@pytest.mark.parametrize(
    ("text", "names", "line"),
    [
        ("cells = 16\nhold_s = 3\n", ("hold_s",), 2),
        ("# hold_s = 1\ncells = 16\nhold_s = 3\n", ("hold_s",), 3),
        ('{\n "cells": 16,\n "hold_s": 3\n}', ("hold_s",), 3),
        ('{"cells": 16,\n "hold_s": 3, "hold_s": 4}', ("hold_s",), 2),
        ("[pack]\nhold_s = 3\n", ("pack",), 1),
        ("cells = 16\nentry_v = 57\n", ("full_v", "entry_v"), 2),
        ("cells = 16\n", ("hold_s",), None),
        ("on_hold_s = 16\n", ("hold_s",), None),
    ],
)
def test_a_setting_has_its_line(
    tmp_path: Path, text: str, names: tuple[str, ...], line: int | None
) -> None:
    path = tmp_path / "pack"
    path.write_text(text)
    assert line_of(path, names) == line
