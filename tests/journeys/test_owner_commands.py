"""From a logger's file to a verdict: the log that is shipped, a draft of its mapping, a folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journeys.command_line import Fullproof

STAGES = '[stages]\nbulk = "charging"\nabsorption = "holding"\nfloat = "resting"\n'


@pytest.fixture
def hut(fullproof: Fullproof, tmp_path: Path) -> Path:
    """The shipped log in a folder of its own."""
    folder = tmp_path / "hut"
    ended = fullproof("new", "log", str(folder))
    assert ended.code == 0
    assert "explain 2026-06-21.csv --write-mapping mapping.toml" in ended.out
    return folder


def test_a_draft_is_written_once_and_the_folder_is_judged_by_it(
    fullproof: Fullproof, hut: Path
) -> None:
    place = hut / "mapping.toml"
    ended = fullproof("explain", str(hut), "--write-mapping", str(place))
    assert ended.code == 0
    assert "which words of 'Mode' mean bulk" in ended.out
    # The mapping lies where it is looked for.
    assert f"Next: fullproof explain {hut} --settings FILE" in ended.out
    again = fullproof("explain", str(hut), "--write-mapping", str(place))
    assert again.code == 2
    assert "it is there already" in again.err
    text = place.read_text(encoding="utf-8")
    place.write_text(text.replace("# stage =", "stage =") + STAGES, encoding="utf-8")
    given = ("--set", "entry_v=55.95", "--set", "entry_dwell_s=120", "--select", "HOLD")
    judged = fullproof("verify", f"log:{hut}", "--cells", "16", *given, "--set", "hold_s=5000")
    assert judged.code == 1
    assert "HOLD.full-length (must)" in judged.out


def test_names_that_are_not_known_lead_to_a_draft(fullproof: Fullproof, hut: Path) -> None:
    ended = fullproof("explain", str(hut / "2026-06-21.csv"))
    assert ended.code == 2
    assert "fullproof explain 2026-06-21.csv --write-mapping mapping.toml" in ended.err


def test_a_log_has_no_role(fullproof: Fullproof, tmp_path: Path) -> None:
    ended = fullproof("new", "log", str(tmp_path / "x"), "--role", "charger")
    assert ended.code == 2
    assert "a log has no role" in ended.err
    assert not (tmp_path / "x").exists()
