"""What the vectors for chargers expect: what follows from the rules, wide enough and narrow enough."""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
from collections.abc import Callable
from math import nan
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ctrl.charger import (
    Charger,
    ChargerOutput,
    ChargerSample,
    ChargerSettings,
    Conduct,
    Message,
)
from harness.cases.folder import vectors_folder
from harness.charger.attach import InProcessCharger, Stepper, attach_charger, drive_charger
from harness.charger.case import ChargerAnswers
from harness.charger.corridor import corridor
from harness.charger.expected import Corridor, Outside
from harness.charger.faults import FAULTS
from harness.charger.folder import charger_folder, shipped_charger_vectors
from harness.charger.variants import VARIANTS
from harness.charger.vector import ChargerVector
from tests.charger.walked import walked
from tests.properties.charger_walks import Walk, settings_and_charger_walks

VECTORS = {each.id: each for each in shipped_charger_vectors()}
Made = Callable[[ChargerSettings], Stepper]
README = (vectors_folder() / "README.md").read_text(encoding="utf-8")


def expected_of(name: str) -> Corridor:
    found = VECTORS[name].expected
    assert found is not None
    return found


def outside(vector: ChargerVector, made: Made) -> Outside | None:
    assert vector.expected is not None
    return vector.expected.outside(drive_charger(InProcessCharger("x", made), vector.case).answers)


# -- every right charger stays inside ------------------------------------------------------


@pytest.mark.parametrize("name", ["reference", *VARIANTS])
def test_what_keeps_the_rules_stays_inside(name: str) -> None:
    made: Made = VARIANTS.get(name, Charger)
    found = {each.id: outside(each, made) for each in VECTORS.values()}
    assert {name: where for name, where in found.items() if where is not None} == {}


def test_a_charger_that_was_written_apart_stays_inside() -> None:
    example = Path(__file__).parents[2] / "harness" / "examples" / "python" / "charger.py"
    with attach_charger(f"py:{example}:Charger") as attachment:
        for name, vector in VECTORS.items():
            answers = drive_charger(attachment, vector.case).answers
            assert expected_of(name).outside(answers) is None, name


# Its fallback is lower by a tenth of a volt: with less to compensate than that it breaks the premise.
NEAR = sorted(set(VARIANTS) - {"careful-in-fallback"})


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(settings_and_charger_walks(), st.sampled_from(NEAR))
def test_on_drawn_traces_too(drawn: tuple[ChargerSettings, Walk], name: str) -> None:
    for made in (Charger, VARIANTS[name]):
        run = walked(made, *drawn)
        assert corridor(run.case).outside(run.answers) is None


# -- and a wrong one does not, by the files alone ------------------------------------------


def number(cell: str) -> float:
    return float(cell) if cell else nan


def samples_of(name: str, packs: int) -> list[ChargerSample]:
    """The samples of a vector, by nothing but its CSV."""
    with (charger_folder() / f"{name}.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    asked = ("request_v", "request_a", "pack_v", "pack_a", "age_s")

    def said(row: dict[str, str], pack: int) -> Message:
        numbers: dict[str, Any] = {name: number(row[f"{name}_{pack}"]) for name in asked}
        return Message(**numbers)

    return [
        ChargerSample(
            number(row["t"]),
            number(row["own_v"]),
            number(row["own_a"]),
            tuple(said(row, pack) for pack in range(1, packs + 1)),
        )
        for row in rows
    ]


def expected_lines(name: str) -> list[list[str]]:
    with (charger_folder() / f"{name}.expected.csv").open(newline="") as file:
        return list(csv.reader(file))[1:]


def is_inside(line: list[str], said: ChargerOutput) -> bool:
    """What the README says, for one line."""
    _, state, also, *bounds = line
    least_v, most_v, least_a, most_a = (number(cell) for cell in bounds)
    return (
        said.state.word in (state, *also.split())
        and (np.isnan(least_v) or said.set_point_v >= least_v - 0.001)
        and (np.isnan(most_v) or said.set_point_v <= most_v + 0.001)
        and (np.isnan(least_a) or said.limit_a >= least_a - 0.001)
        and (np.isnan(most_a) or said.limit_a <= most_a + 0.001)
    )


SAMPLES = {name: samples_of(name, each.settings.packs) for name, each in VECTORS.items()}
LINES = {name: expected_lines(name) for name in VECTORS}


def leaves(made: Made, name: str) -> bool:
    vector = VECTORS[name]
    charger = made(vector.settings)
    for k, (sample, line) in enumerate(zip(SAMPLES[name], LINES[name], strict=True)):
        if k in vector.power_cycles:
            charger.power_cycle()
        if not is_inside(line, charger.step(sample)):
            return True
    return False


def test_line_for_line_the_files_alone_catch_as_many_faults_as_the_readme_says() -> None:
    caught = set()
    for name, fault in FAULTS.items():
        groups = {broken.partition(".")[0].lower() for broken in fault.breaks}
        # Where it is most likely caught comes first, and once is enough.
        ids = sorted(VECTORS, key=lambda each: each.partition("/")[0] not in groups)
        if any(leaves(fault.made, each) for each in ids):
            caught.add(name)
    told = re.search(r"of the (\d+) faulty chargers .*?\ncatches (\d+),", README)
    assert told is not None
    assert len(FAULTS) == int(told[1])
    assert len(caught) >= int(told[2])


def test_the_reference_keeps_every_line() -> None:
    assert [name for name in VECTORS if leaves(Charger, name)] == []


# -- in C ----------------------------------------------------------------------------------

MAIN = r"""
#include <stdio.h>
int main(void)
{
    char line[256], state[16], set_v[40], limit_a[40];
    while (fgets(line, sizeof line, stdin)) {
        if (scanf("%15s %39s %39s ", state, set_v, limit_a) != 3) return 2;
        putchar(inside(line, state, atof(set_v), atof(limit_a)) ? '1' : '0');
    }
    return 0;
}
"""


@pytest.mark.skipif(shutil.which("cc") is None, reason="there is no C compiler")
def test_the_c_of_the_readme_decides_the_same(tmp_path: Path) -> None:
    found = re.search(r"```c\n(.*?)```", README, re.DOTALL)
    assert found is not None
    (tmp_path / "lines.c").write_text(found[1] + MAIN)
    build = ["cc", "-std=c99", "-Wall", "-Wextra", "-Werror", "-o", "lines", "lines.c"]
    subprocess.run(build, cwd=tmp_path, check=True)
    fed, decided = [], ""
    for name in ("packs/one-silent", "sense/meter-reads-high"):
        lines = (charger_folder() / f"{name}.expected.csv").read_text().splitlines()[1:]
        for fault in ("one-pack-is-enough", "only-upward", "adds-without-the-zero"):
            charger = FAULTS[fault].made(VECTORS[name].settings)
            for line, cells, sample in zip(lines, LINES[name], SAMPLES[name], strict=True):
                said = charger.step(sample)
                fed.append(f"{line}\n{said.state.word} {said.set_point_v!r} {said.limit_a!r}\n")
                decided += str(int(is_inside(cells, said)))
        fed.append(f"{lines[-1]}\nfollowing nan nan\n")
        decided += "0"
    ended = subprocess.run(
        [tmp_path / "lines"], input="".join(fed), capture_output=True, text=True, check=True
    )
    assert ended.stdout == decided
    assert {"0", "1"} <= set(decided)


# -- worked out by hand --------------------------------------------------------------------


def at(name: str, t: float) -> list[object]:
    row = VECTORS[name].trace.t.tolist().index(t)
    return list(expected_of(name).rows())[row]


def test_the_start_told_by_hand() -> None:
    name = "begin/first-messages"
    # Silent until 8 s; messages are steady for 10 s at 18 s, and one sample either way is right.
    assert at(name, 0) == ["stopped", "", None, 54.0, None, 0.0]
    assert at(name, 16) == ["stopped", "", None, 54.0, None, 0.0]
    assert at(name, 17) == ["stopped", "following", None, 54.1, None, 5.0]
    assert at(name, 18) == ["following", "stopped", None, 54.2, None, 10.0]
    assert at(name, 19) == ["following", "stopped", None, 54.3, None, 15.0]
    # From 53.5 V to 56 V takes 250 s at a tenth of the slope, from 0 A to 50 A 100 s.
    assert at(name, 20) == ["following", "", 53.5, 54.4, 0.0, 20.0]
    assert at(name, 119)[4:] == [45.0, 50.0]
    assert at(name, 120)[4:] == [50.0, 50.0]
    assert at(name, 308) == ["following", "", 56.0, 56.0, 50.0, 50.0]


def test_a_wire_off_told_by_hand() -> None:
    name = "stale/wire-off"
    # The last message is 0.25 s old at 40 s: older than 5 s at 45 s, than 60 s at 100 s.
    assert at(name, 43)[:2] == ["following", ""]
    assert at(name, 44)[:2] == ["following", "fallback"]
    assert at(name, 45)[:2] == ["fallback", "following"]
    assert at(name, 46) == ["fallback", "", None, 54.0, None, 20.0]
    assert at(name, 99)[:2] == ["fallback", "stopped"]
    assert at(name, 101) == ["stopped", "", None, 54.0, None, 0.0]


def test_a_lowered_request_and_0_a_told_by_hand() -> None:
    assert at("follow/lowered", 50)[3] == 56.0
    assert at("follow/lowered", 51)[3] == 55.4
    assert at("follow/lowered", 66)[5] == 20.0
    # Within 1 s: at the first sample with the request it may go on, at the next it is 0.
    assert at("follow/zero", 41)[5] == 50.0
    assert at("follow/zero", 42)[4:] == [0.0, 0.0]


def test_compensation_told_by_hand() -> None:
    # 10 mV/s until its own voltage, 56.05 V, is 0.1 V and a hair below what it holds.
    most = [at("sense/thin-cable", t)[3] for t in (40, 41, 42, 45, 56, 57, 340)]
    assert most == [56.0, 56.01, 56.02, 56.05, 56.16, 56.161, 56.161]
    # A quarter of 60 mV within two time constants of 60 s.
    assert [at("sense/thin-cable", t)[2] for t in (159, 160)] == [56.0, 56.015]
    assert [at("sense/meter-reads-high", t)[3] for t in (159, 160)] == [56.0, 55.985]


# -- how it is told where an answer lies outside -------------------------------------------


def answers_of(name: str) -> ChargerAnswers:
    return drive_charger(InProcessCharger("ref"), VECTORS[name].case).answers


def test_the_first_answer_outside_is_told() -> None:
    corridor_of = expected_of("follow/lowered")
    answers = answers_of("follow/lowered")
    assert corridor_of.outside(answers) is None
    answers.set_point_v[60] += 0.7
    assert corridor_of.outside(answers) == Outside(
        60, "set_point_most_v", "56.1 V", "at most 55.4 V"
    )
    answers.limit_a[55] = nan
    assert corridor_of.outside(answers) == Outside(55, "limit_least_a", "nan A", "at least 0 A")
    answers.state[11] = int(Conduct.FALLBACK)
    assert corridor_of.outside(answers) == Outside(11, "state", "fallback", "following or stopped")
