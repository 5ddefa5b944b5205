"""`settings`: shown with their meaning, and checked."""

from __future__ import annotations

import tomllib
from pathlib import Path

from ctrl.settings import SETTING_NAMES, Settings
from tests.journeys.command_line import Fullproof


def test_show_prints_every_setting_with_its_meaning(fullproof: Fullproof) -> None:
    ended = fullproof("settings", "show")
    assert ended.code == 0
    assert tuple(tomllib.loads(ended.out)) == SETTING_NAMES
    lines = ended.out.splitlines()
    for name in SETTING_NAMES:
        at = next(k for k, line in enumerate(lines) if line.startswith(f"{name} = "))
        assert lines[at - 1].startswith("# ")
        assert len(lines[at - 1]) > 10
    assert "local codes and licensed practice come before" in lines[0]


def test_show_scales_to_the_cells_and_takes_changes(fullproof: Fullproof) -> None:
    ended = fullproof("settings", "show", "--cells", "8", "--set", "cell_limit_v=none")
    told = tomllib.loads(ended.out)
    assert told["absorption_v"] == 28.0
    assert told["plausible_v"] == [8.0, 32.0]
    assert told["cell_limit_v"] == "none"
    assert told["on_sag"] == "run"


def test_what_show_prints_can_be_given_back(fullproof: Fullproof, tmp_path: Path) -> None:
    first = fullproof("settings", "show", "--cells", "8", "--set", "hold_s=360.5")
    (tmp_path / "pier.toml").write_text(first.out)
    assert fullproof("settings", "show", "--settings", "pier.toml").out == first.out
    ended = fullproof("settings", "check", "pier.toml")
    assert ended.code == 0
    assert "pier.toml: the rules allow these settings, for 8 cells" in ended.out
    assert "licensed practice" in ended.out


def test_json_is_read_as_well(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "hut.json").write_text('{"hold_s": 360, "return_soc": null}')
    told = tomllib.loads(fullproof("settings", "show", "--settings", "hut.json").out)
    assert told["hold_s"] == 360.0
    assert told["return_soc"] == "none"
    assert told["entry_v"] == Settings().entry_v


def test_what_is_legal_but_unwise_is_a_warning_with_numbers(
    fullproof: Fullproof, tmp_path: Path
) -> None:
    (tmp_path / "hut.toml").write_text("absorption_v = 55.85\n")
    ended = fullproof("settings", "check", "hut.toml", "--meter-error-v", "0.03")
    # 30 mV between the meters, and 5 mΩ at C/20 of 280 Ah = 14 A: 70 mV.
    assert ended.code == 0
    assert "absorption_v is 0.050 V over entry_v" in ended.out
    assert "55.900" in ended.out
    assert "warnings: 1" in ended.out
    wide = fullproof("settings", "check", "hut.toml", "--meter-error-v", "0", "--wiring-ohm", "0")
    assert "warnings: 0" in wide.out
