"""A pair in files: what each pack's controller read and said, and the charger beside them."""

from __future__ import annotations

import csv
from pathlib import Path

from ctrl.charger import Conduct
from harness.charger.case import CHARGER_ANSWER_COLUMNS, ChargerRun
from harness.errors import InputError
from harness.report.simulated_files import slug, write_csv
from harness.world.result import Result

CHARGER_FILE = "charger.csv"


def write_pair_csv(result: Result, folder: Path) -> list[Path]:
    """Write one file a pack, as `fullproof simulate --csv` does, and one for the charger.

    The charger's has the columns of the line protocol, one row a sample; then what it answered. An
    empty cell is a number that is missing.

    Raises:
        InputError: the folder cannot be written into, or a pack is called as the charger's file is.
    """
    taken = [pack.name for pack in result.packs if f"{slug(pack.name)}.csv" == CHARGER_FILE]
    if taken:
        raise InputError(
            f"the pack {taken[0]!r} would be written over by {CHARGER_FILE}",
            column="--csv",
            hint="call the pack something else",
        )
    places = write_csv(result, folder)
    if result.charger is None:
        return places
    place = folder / CHARGER_FILE
    try:
        _write_charger(result.charger, place)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=place) from None
    return [*places, place]


def _write_charger(run: ChargerRun, place: Path) -> None:
    answers = run.answers
    words = [Conduct(code).word for code in answers.state.tolist()]
    said = zip(answers.set_point_v.tolist(), answers.limit_a.tolist(), words, strict=True)
    with place.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow((*run.case.trace.columns, *CHARGER_ANSWER_COLUMNS))
        writer.writerows(
            ["" if value is None else value for value in (*row, *answer)]
            for row, answer in zip(run.case.trace.rows(), said, strict=True)
        )
