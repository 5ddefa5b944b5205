"""`margins`: what keeps settings apart, in numbers worked out by hand."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.journeys.command_line import Ended, Fullproof

HUT = "absorption_v = 55.85\n"


def line(ended: Ended, start: str) -> list[str]:
    """The cells of the line of the table that begins so."""
    (found,) = [each for each in ended.out.splitlines() if each.startswith(start)]
    return [cell for cell in found.removeprefix(start).split("  ") if cell.strip()]


def margins_in(ended: Ended) -> dict[str, dict[str, Any]]:
    """The margins of the JSON on standard output, by their pair."""
    return {each["pair"]: each for each in json.loads(ended.out)["margins"]}


@pytest.fixture
def hut(tmp_path: Path) -> str:
    (tmp_path / "hut.toml").write_text(HUT)
    return "hut.toml"


def test_wise_settings_end_with_0_and_every_margin_is_told(
    fullproof: Fullproof, tmp_path: Path
) -> None:
    (tmp_path / "wise.toml").write_text("cells = 16\n")
    ended = fullproof("margins", "wise.toml")
    assert ended.code == 0
    assert ended.out.startswith("wise.toml: every margin is enough for this installation\n")
    # 56.0 - 55.8 V; 100 mV between the meters, and 5 mOhm at a twentieth of 280 Ah, 14 A.
    assert [cell.strip() for cell in line(ended, "The hold starts.")] == [
        "200 mV",
        "meters 100, wiring 70",
        "30 mV",
        "enough",
    ]
    # 55.6 V over 16 cells of 3.35 V, 53.6 V; and these over 53.0 V.
    assert "2000 mV" in line(ended, "A pack that merely rests is not called full.")[0]
    assert "600 mV" in line(ended, "A full pack rests in float.")[0]
    assert "clears what the meters and the wiring take is 55.970 V" in ended.out
    assert "warnings: 0" in ended.out
    assert "licensed practice come before" in ended.out


def test_margin_that_is_eaten_up_ends_with_1_and_says_what_clears_it(
    fullproof: Fullproof, hut: str
) -> None:
    ended = fullproof("margins", hut, "--meter-error-v", "0.03")
    assert ended.code == 1
    assert ended.out.startswith("hut.toml: one margin is not enough\n")
    assert [cell.strip() for cell in line(ended, "The hold starts.")] == [
        "50 mV",
        "meters 30, wiring 70",
        "-50 mV",
        "WARNING",
    ]
    # 55.8 V + 30 mV + 70 mV, and a sixteenth of it.
    text = " ".join(ended.out.split())
    assert "is 55.900 V, 3.494 V a cell, which is under cell_limit_v 3.65 V" in text
    assert "absorption_v over entry_v; ENTRY.held-long-enough" in text
    assert (
        fullproof("margins", hut, "--meter-error-v", "0.03", "--set", "absorption_v=55.9").code == 0
    )


def test_setting_that_would_have_to_be_over_the_cell_limit_is_said_to_be(
    fullproof: Fullproof, hut: str
) -> None:
    ended = fullproof("margins", hut, "--wiring-ohm", "0.2", "--json", "-")
    # 55.8 V + 100 mV + 0.2 ohm at 14 A.
    assert json.loads(ended.out)["smallest_setting"] == {
        "absorption_v": 58.7,
        "a_cell_v": 58.7 / 16,
        "under_cell_limit": False,
        "set_v": 55.85,
    }
    assert "which is not under cell_limit_v 3.65 V" in " ".join(ended.err.split())
    unlimited = fullproof("margins", hut, "--set", "cell_limit_v=none", "--json", "-")
    assert json.loads(unlimited.out)["smallest_setting"]["under_cell_limit"] is None


@pytest.mark.parametrize(
    ("options", "pair", "left"),
    [
        (("--meter-error-v", "0.01"), "absorption_v over entry_v", 50 - 10 - 70),
        (("--taper-a", "2"), "absorption_v over entry_v", 50 - 100 - 10),
        (("--wiring-ohm", "0"), "absorption_v over entry_v", 50 - 100),
        (("--meter-noise-v", "0.25"), "entry_v over full_v", 200 - 250),
        (("--rest-cell-v", "3.5"), "full_v over a full pack at rest", -400),
        (("--rest-cell-v", "3.3"), "a full pack at rest over return_v", -200),
        (("--interval-s", "45"), "max_gap_s over the distance of the samples", -15),
        (("--set", "return_soc=0.995"), "soc_ceiling over return_soc", -0.5),
        (("--set", "hold_s=2"), "hold_s over entry_dwell_s", -1),
        (("--set", "float_s=90000"), "a day over float_s", -3600),
    ],
)
def test_each_number_is_in_the_margin_that_it_belongs_to(
    fullproof: Fullproof, hut: str, options: tuple[str, ...], pair: str, left: float
) -> None:
    ended = fullproof("margins", hut, *options, "--json", "-")
    margin = margins_in(ended)[pair]
    assert margin["left"] == pytest.approx(left, abs=1e-6)
    assert margin["enough"] is False
    assert len(margin["advice"]) == 1
    assert ended.code == 1


def test_a_wait_and_a_confirmation_are_compared(fullproof: Fullproof, hut: str) -> None:
    changes = ("--set", "on_unconfirmed=wait", "--set", "confirm_s=4000")
    margin = margins_in(fullproof("margins", hut, *changes, "--json", "-"))
    assert margin["wait_limit_s over confirm_s"]["left"] == -400
    assert margin["hold_s over confirm_s"]["left"] == -400
    without = margins_in(fullproof("margins", hut, "--json", "-"))
    assert "wait_limit_s over confirm_s" not in without
    assert "a day over float_s" not in without


def test_temperature_that_raises_the_voltage_has_its_margin(fullproof: Fullproof, hut: str) -> None:
    shift = ("--set", "compensation_v_per_c=-0.08")
    margin = margins_in(fullproof("margins", hut, *shift, "--json", "-"))
    # 16 cells of 3.65 V are 58.4 V; 25 K below the reference 2 V are added to 55.85 V.
    assert margin["the highest voltage over absorption_v"]["amount"] == 2550
    assert margin["the highest voltage over absorption_v"]["left"] == 550
    ended = fullproof("margins", hut, *shift, "--set", "charge_min_c=none", "--json", "-")
    unbound = margins_in(ended)["no temperature limit bounds it"]
    assert unbound["left"] is None
    assert unbound["enough"] is False
    assert "no bound" in ended.err


def test_dwells_that_samples_make_longer_are_told(fullproof: Fullproof, hut: str) -> None:
    ended = fullproof("margins", hut, "--interval-s", "4", "--json", "-")
    assert json.loads(ended.out)["late_dwells"] == [
        {"name": "entry_dwell_s", "set_s": 3.0, "takes_s": 4.0},
        {"name": "empty_dwell_s", "set_s": 10.0, "takes_s": 12.0},
        {"name": "trip_dwell_s", "set_s": 1.0, "takes_s": 4.0},
        {"name": "release_dwell_s", "set_s": 10.0, "takes_s": 12.0},
    ]
    assert "entry_dwell_s 3 s takes 4 s or more" in ended.err
    assert "Dwells end at a sample" not in fullproof("margins", hut).out


def test_json_says_what_the_terminal_says(fullproof: Fullproof, hut: str, tmp_path: Path) -> None:
    ended = fullproof("margins", hut, "--json", "told.json")
    told = json.loads((tmp_path / "told.json").read_text())
    assert told["exit_code"] == ended.code == 1
    assert told["warnings"] == 1
    assert told["cells"] == 16
    assert told["cell_limit_v"] == 3.65
    assert told["installation"]["taper_a"] == 14.0
    assert "licensed practice" in told["caution"]
    assert "warnings: 1" in ended.out


def test_cells_scale_what_the_file_leaves_out(fullproof: Fullproof, tmp_path: Path) -> None:
    (tmp_path / "pier.toml").write_text("hold_s = 1800\n")
    ended = fullproof("margins", "pier.toml", "--cells", "8", "--json", "-")
    assert json.loads(ended.out)["cells"] == 8
    assert margins_in(ended)["absorption_v over entry_v"]["amount"] == 100


@pytest.mark.parametrize(
    ("text", "arguments", "said"),
    [
        ("hold_s = 0\n", (), "hold_s"),
        ("entry_v = 57\n", (), "entry_v"),
        ("hold = 3\n", (), "hold"),
        ("hold_s = \n", (), "hut.toml"),
        (HUT, ("--wiring-ohm", "nan"), "wiring_ohm is nan"),
        (HUT, ("--wiring-ohm", "inf"), "wiring_ohm is inf"),
        (HUT, ("--taper-a", "-1"), "--taper-a"),
        (HUT, ("--meter-error-v", "much"), "--meter-error-v"),
        (HUT, ("--set", "hold_s"), "NAME=VALUE"),
        (HUT, ("--json", "no/such/folder.json"), "folder does not exist"),
    ],
)
def test_bad_input_ends_with_2(
    fullproof: Fullproof, tmp_path: Path, text: str, arguments: tuple[str, ...], said: str
) -> None:
    (tmp_path / "hut.toml").write_text(text)
    ended = fullproof("margins", "hut.toml", *arguments)
    assert ended.code == 2
    assert said in ended.err
    assert ended.out == ""


def test_no_file_ends_with_2(fullproof: Fullproof) -> None:
    assert fullproof("margins").code == 2
    assert "cannot be read" in fullproof("margins", "lost.toml").err
