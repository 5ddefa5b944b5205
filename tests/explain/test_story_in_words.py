"""What is told of a log in words: where log and rules part, what the wiring is, what came of a fix."""

from __future__ import annotations

from math import nan

import pytest
from attrs import evolve

from harness.explain.fix import Fix, How
from harness.explain.reason import Cause
from harness.report.explained import (
    Story,
    outcome_of,
    parted_in_words,
    told_stamp,
    wiring_in_words,
)
from harness.world.wiring import Lead
from tests.explain.test_blind import story


def test_a_controller_with_other_settings_parts_from_the_rules() -> None:
    _, explained = story("wrong_settings", 3)
    east = next(pack for pack in explained.packs if pack.name == "east")
    told = parted_in_words(explained, east)
    assert "the log says bulk, the rules say absorption" in told
    assert explained.main("east").cause is Cause.WRONG_SETTINGS
    for pack in explained.packs:
        if pack.name != "east":
            assert parted_in_words(explained, pack) == ""


def test_a_log_without_stages_parts_from_nothing() -> None:
    _, explained = story("healthy", 2)
    pack = explained.packs[0]
    blind = evolve(pack, log=evolve(pack.log, stage=None))
    assert parted_in_words(explained, blind) == ""


def test_wiring_is_told_beside_its_cable() -> None:
    _, explained = story("wiring", 2)
    (name,) = [pack.name for pack in explained.packs if pack.name == explained.top.pack]
    bare = wiring_in_words(Story(explained, {}), name)
    assert "mOhm" in bare
    assert "IEC 60228" not in bare
    thick = wiring_in_words(Story(explained, {}, {name: Lead(length_m=4.0, mm2=35.0)}), name)
    assert thick.startswith(bare)
    assert "more lie in joints, fuses and switches" in thick
    thin = wiring_in_words(Story(explained, {}, {name: Lead(length_m=40.0, mm2=16.0)}), name)
    assert thin.endswith("that fits")


def fix(**changes: object) -> Fix:
    plain = Fix("do it", How.REPLAYED, True, False, 2, 3, nan, nan, "", 0)
    return evolve(plain, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, "helps, replayed on the log: full on 2 of 3 days"),
        ({"helps": False, "days": 0}, "does not help, replayed on the log: full on 0 of 3 days"),
        (
            {"helps": None, "starts": True, "days": 0},
            "starts the hold; the log cannot show the rest, replayed on the log: full on 0 of 3 days",
        ),
        ({"how": How.NOT_TRIED}, "not tried: nothing in the log shows what it would do"),
        (
            {"how": How.SIMULATED, "highest_cell_v": 3.5, "above_float_h": 2.0},
            "helps, simulated in a bank fitted to the log; in a simulated bank the highest cell reaches"
            " 3.500 V, and 2.0 h are spent above float_v",
        ),
    ],
)
def test_what_came_of_a_fix(changes: dict[str, object], told: str) -> None:
    assert outcome_of(fix(**changes)) == told


def test_a_stamp_without_a_date_is_in_hours() -> None:
    _, explained = story("healthy", 2)
    assert told_stamp(explained, 3723.0) == "1:02:03 h of the log"
    assert told_stamp(explained, nan) == ""
