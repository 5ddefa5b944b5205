"""The stage diagram shows the table of transitions."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import pytest
from attrs import evolve

from ctrl.transitions import TRANSITIONS, Way
from ctrl.vocabulary import Stage


def test_stored_diagram_is_the_one_that_the_table_gives(stage_diagram: ModuleType) -> None:
    stored = Path(stage_diagram.PLACE).read_text(encoding="utf-8")
    assert stored == stage_diagram.drawn(), "run: python docs/hooks/stage_diagram.py"


def test_diagram_shows_every_stage_and_numbers_every_way_once(stage_diagram: ModuleType) -> None:
    tree = ElementTree.fromstring(stage_diagram.drawn())
    words = [text.text or "" for text in tree.iter("{http://www.w3.org/2000/svg}text")]
    assert {"bulk", "absorption", "float", "inhibited", "hold", "confirm"} <= set(words)
    numbers = sorted(int(text.split()[0]) for text in words if text[0].isdigit())
    ways = [way for way in Way if way is not Way.STAY]
    assert numbers == list(range(1, len(ways) + 1))
    assert {stage.word for stage in Stage} <= set(words)


def test_way_without_a_place_is_refused(
    stage_diagram: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    row = evolve(TRANSITIONS[Stage.INHIBITED][0], to=Stage.ABSORPTION)
    monkeypatch.setitem(TRANSITIONS, Stage.INHIBITED, (row,))
    with pytest.raises(KeyError):
        stage_diagram.drawn()


def test_trip_of_one_stage_only_needs_a_label_of_its_own(
    stage_diagram: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(TRANSITIONS, Stage.BULK, TRANSITIONS[Stage.BULK][1:])
    with pytest.raises(ValueError, match="the arrows to inhibited differ"):
        stage_diagram.drawn()
