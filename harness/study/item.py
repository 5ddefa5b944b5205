"""One piece of work of a study: some banks, each in every arm, as rows.

A worker needs the text of the study and the number of the piece; the rows depend on nothing else.
"""

from __future__ import annotations

from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import evolve

from harness.study.engine import Thresholds, columns_of, tally_bank
from harness.study.running import Job
from harness.study.study import Study, code_fingerprint
from harness.study.study_file import from_content

Columns = dict[str, npt.NDArray[Any]]
# These are counted; every other column is a number.
WHOLE = {"bank": np.int64, "arm": np.int16, "stopped": np.int8}


class OtherCodeError(Exception):
    """A worker on another machine has another version of the project: its rows would be others."""


def job_of(study: Study) -> Job:
    """All the work of a study."""
    work = partial(run_item, study.content, str(study.folder), code_fingerprint())
    return Job(study.fingerprint, study.items, work)


def run_item(content: str, folder: str, code: str, item: int) -> Columns:
    """The rows of some banks: by bank, then by arm.

    Args:
        content: `Study.content`.
        folder: from where the study's own rules are seen.
        code: `code_fingerprint` of who asks.
        item: number of the piece, from 0.

    Raises:
        OtherCodeError: this process runs another version of the project.
        InputError: a rule of the study's own is not there, or cannot be compiled.
    """
    if code != code_fingerprint():
        raise OtherCodeError("this worker runs another version of fullproof than the study")
    study = _study(content, folder)
    rows = [row for bank in study.banks_of_item(item) for row in bank_rows(study, bank)]
    return {
        name: np.array([row[name] for row in rows], WHOLE.get(name, np.float64)) for name in rows[0]
    }


def bank_rows(study: Study, bank: int) -> list[dict[str, float]]:
    """The rows of one bank, one an arm."""
    worlds = study.arm_worlds(study.bank_world(bank))
    tallies = tally_bank(worlds, study.arm_rules, _truth(study))
    return [
        {"bank": bank, "arm": arm, **columns_of(tallied, world)}
        for arm, (tallied, world) in enumerate(zip(tallies, worlds, strict=True))
    ]


def prepare(study: Study) -> None:
    """Compile what the study needs, so that its workers find it.

    Raises:
        InputError: a rule that cannot be compiled.
    """
    # numba compiles a kernel when it is called first, and keeps it for other processes.
    world = study.bank_world(0)
    step = evolve(world, duration_s=world.interval_s)
    tally_bank(study.arm_worlds(step), study.arm_rules, _truth(study))


def _truth(study: Study) -> Thresholds:
    return Thresholds(
        false_full_below_soc=study.false_full_below_soc, truly_full_soc=study.truly_full_soc
    )


@lru_cache(maxsize=4)
def _study(content: str, folder: str) -> Study:
    return from_content(content, Path(folder))
