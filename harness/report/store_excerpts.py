"""The samples around findings as members of a stored result, and back.

Their numbers are many, so they are checked by whole columns and not one by one by the schema.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from ctrl.errors import SettingsError
from harness.errors import InputError
from harness.report.clocks import Clock
from harness.report.excerpt import Excerpt
from harness.report.roles import Told, told_of
from harness.role import CONTROLLER
from harness.run import Floats, Stages

# So large a number is exact as a float.
MOST_INDEX = 2**53


def excerpt_members(excerpt: Excerpt) -> dict[str, Any]:
    """The excerpt as members; NaN becomes null when they are written."""
    told = told_of(excerpt.role)
    members = {
        "case": excerpt.case,
        "samples": excerpt.samples,
        "settings": excerpt.settings.to_mapping(),
        "power_cycles": excerpt.power_cycles,
        f"{told.state}s": changes(excerpt.stages, told),
        f"reference_{told.state}s": changes(excerpt.reference_stages, told),
        "indices": excerpt.indices,
        "columns": excerpt.columns,
    }
    if excerpt.role != CONTROLLER:
        return members
    return members | {
        "resets": excerpt.resets,
        "equalise_requests": excerpt.equalise_requests,
        "clocks": [
            {
                "name": clock.name,
                "setting": clock.setting,
                "asked_s": clock.asked_s,
                "shows_s": clock.shows_s,
            }
            for clock in excerpt.clocks
        ],
    }


def without_numbers(document: Any) -> Any:
    """The document with the long arrays of numbers left empty, for the schema."""
    if not isinstance(document, dict) or not isinstance(document.get("excerpts"), list):
        return document
    return {**document, "excerpts": [_without(each) for each in document["excerpts"]]}


def _without(members: Any) -> Any:
    if not isinstance(members, dict):
        return members
    short = dict(members)
    if isinstance(short.get("indices"), list):
        short["indices"] = []
    if isinstance(short.get("columns"), dict):
        short["columns"] = {
            name: [] if isinstance(values, list) else values
            for name, values in short["columns"].items()
        }
    if isinstance(short.get("clocks"), list):
        short["clocks"] = [
            {**clock, "shows_s": []}
            if isinstance(clock, dict) and isinstance(clock.get("shows_s"), list)
            else clock
            for clock in short["clocks"]
        ]
    return short


def read_excerpt(members: dict[str, Any], role: str, file: str | Path, place: str) -> Excerpt:
    """The excerpt that `excerpt_members` made.

    Args:
        members: what fits the schema, its numbers apart.
        role: what was tried.
        file: where they come from, for errors.
        place: their path in the document, for errors.

    Raises:
        InputError: a column is no column of numbers, or of another length; settings are refused.
    """
    told = told_of(role)
    reader = _Reader(told, file, place)
    indices = reader.column("indices", members["indices"])
    samples = members["samples"]
    whole = np.all((indices >= 0) & (indices < min(samples, MOST_INDEX)) & (indices % 1 == 0))
    if not len(indices) or not whole or np.any(np.diff(indices) <= 0):
        raise reader.error(
            "indices", f"they must be whole, rising, 0 or greater and less than samples ({samples})"
        )
    length = len(indices)
    columns = {
        name: reader.column(f"columns.{name}", values, length)
        for name, values in members["columns"].items()
    }
    try:
        settings = told.settings(members["settings"])
    except SettingsError as error:
        raise reader.error("settings", str(error)) from None
    return Excerpt(
        case=members["case"],
        settings=settings,
        samples=samples,
        indices=indices.astype(np.int64),
        columns=columns,
        stages=reader.stages(f"{told.state}s", members, length),
        reference_stages=reader.stages(f"reference_{told.state}s", members, length),
        resets=tuple(members.get("resets", ())),
        power_cycles=tuple(members["power_cycles"]),
        equalise_requests=tuple(members.get("equalise_requests", ())),
        clocks=tuple(
            Clock(
                clock["name"],
                clock["setting"],
                float(clock["asked_s"]),
                reader.column(f"clocks[{number}].shows_s", clock["shows_s"], length),
            )
            for number, clock in enumerate(members.get("clocks", ()))
        ),
        role=role,
    )


class _Reader:
    """Reads the arrays of one excerpt, with errors that name the member."""

    def __init__(self, told: Told, file: str | Path, place: str) -> None:
        self.told = told
        self.file = file
        self.place = place

    def error(self, member: str, message: str) -> InputError:
        return InputError(message, file=self.file, column=f"{self.place}.{member}")

    def column(self, member: str, values: list[Any], length: int | None = None) -> Floats:
        wrong = next((x for x in values if x is not None and type(x) not in (int, float)), None)
        if wrong is not None:
            raise self.error(member, f"there is {wrong!s:.40}, it holds numbers and null only")
        if length is not None and len(values) != length:
            raise self.error(member, f"it has {len(values)} numbers, indices has {length}")
        return np.array(values, dtype=np.float64)

    def stages(self, member: str, members: dict[str, Any], length: int) -> Stages | None:
        changes: list[Any] | None = members[member]
        if changes is None:
            return None
        stages = np.zeros(length, np.int8)
        latest = -1
        for place, word in changes:
            if not latest < place < length or (latest < 0 and place != 0):
                raise self.error(
                    member,
                    f"there is position {place}; they begin with 0 and rise up to {length - 1}",
                )
            stages[place:] = self.told.code(word)
            latest = place
        if latest < 0:
            raise self.error(member, f"there is no {self.told.state}")
        return stages


def changes(stages: Stages | None, told: Told) -> list[tuple[int, str]] | None:
    """The stage or state at position 0, and at each position at which it is another."""
    if stages is None:
        return None
    edges = [0, *(np.flatnonzero(stages[1:] != stages[:-1]) + 1).tolist()]
    return [(edge, told.words[stages[edge]]) for edge in edges]
