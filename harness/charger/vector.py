"""A vector for a charger: a case with its name, its reasons and its expectation; and its JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from attrs import frozen

from ctrl.charger import ChargerSettings
from ctrl.errors import SettingsError
from ctrl.vocabulary import Stage
from harness.cases.json_text import members_text, plain, table
from harness.charger.case import (
    NO_STAGE,
    OWN_COLUMNS,
    PACK_COLUMNS,
    ChargerCase,
    ChargerTrace,
    trace_columns,
)
from harness.charger.expected import EXPECTED_COLUMNS, Corridor
from harness.errors import InputError
from harness.json_file import load_json
from harness.role import CHARGER

FORMAT = 1
_LISTS = ("requirements", "negative", "features", "tags", "catches", "power_cycles", "cuts")
_STAGE_CODES: dict[Any, int] = {None: NO_STAGE} | {stage.word: int(stage) for stage in Stage}


@frozen(eq=False)
class ChargerVector:
    """One vector for a charger, as it is stored.

    Attributes:
        format: version of the vector format.
        role: `charger`.
        id: stable slug `group/name`.
        title: what happens, in a few words.
        description: what the trace does and what must follow.
        why: why anybody should care.
        requirements: ids of what it exercises.
        negative: those of them that it exercises by something that must not happen.
        features: what a charger must claim for the vector to be judged.
        tags: `backward`, `common-practice`.
        source: where the expectation comes from: `analytic`, or `reference`.
        catches: the faults that it is meant to catch, in words.
        settings: what the charger is started with.
        power_cycles: power is lost just before the sample of each of these indices.
        cuts: the indices at which the trace is cut into messages.
        expected: what must come out; None where nobody has worked it out.
        trace: the samples; in JSON the members `columns` and `rows`.
    """

    id: str
    title: str
    description: str
    why: str
    settings: ChargerSettings
    trace: ChargerTrace
    expected: Corridor | None = None
    requirements: tuple[str, ...] = ()
    negative: tuple[str, ...] = ()
    features: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()
    source: str = "analytic"
    catches: tuple[str, ...] = ()
    power_cycles: tuple[int, ...] = ()
    cuts: tuple[int, ...] = ()
    format: int = FORMAT
    role: str = CHARGER

    @property
    def group(self) -> str:
        """The part of the id before the slash."""
        return self.id.partition("/")[0]

    @property
    def case(self) -> ChargerCase:
        """The vector as something to try on a charger."""
        return ChargerCase(
            id=self.id,
            settings=self.settings,
            trace=self.trace,
            story=self.description,
            power_cycles=self.power_cycles,
            cuts=self.cuts,
            features=frozenset(self.features),
            requirements=self.requirements,
        )


MEMBERS = (
    *("format", "role", "id", "title", "description", "why", "requirements", "negative"),
    *("features", "tags", "source", "catches", "settings", "power_cycles", "cuts", "expected"),
)


def to_json(vector: ChargerVector) -> str:
    """The vector as JSON: one member a line, one row a line; the same bits when read again.

    A number that is not finite becomes `null`, as on the wire, and is NaN when it is read again.
    """
    members = {name: getattr(vector, name) for name in MEMBERS}
    corridor = members.pop("expected")
    members["settings"] = {
        name: plain(value) for name, value in vector.settings.to_mapping().items()
    }
    told = "null"
    if corridor is not None:
        told = "{\n" + table(EXPECTED_COLUMNS, corridor.rows(), "    ") + "\n  }"
    lines = [
        *members_text(members),
        f'  "expected": {told}',
        table(vector.trace.columns, vector.trace.rows()),
    ]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def read_charger_vector(path: str | Path, *, checked: bool = True) -> ChargerVector:
    """Read a vector for a charger.

    Args:
        path: its file.
        checked: compare it with the JSON Schema first; what was rendered here needs none.

    Raises:
        InputError: the file cannot be read, or is no such vector; with the member at fault.
    """
    place = Path(path)
    content = load_json(place)
    role = content.get("role", "controller") if isinstance(content, dict) else None
    if role != CHARGER:
        raise InputError(
            f"this is no vector for a {CHARGER}",
            file=place,
            column="role",
            hint=f'the member role must be "{CHARGER}"',
        )
    if checked:
        from harness.cases.schema import CHARGER_SCHEMA_NAME, refuse_unfit  # slow to load

        refuse_unfit(content, place, CHARGER_SCHEMA_NAME)
    try:
        ranged = {**content["settings"], "plausible_v": tuple(content["settings"]["plausible_v"])}
        settings = ChargerSettings.from_mapping(ranged)
    except SettingsError as error:
        raise InputError(str(error), file=place, column="settings") from None
    if checked:
        _refuse_cells(content, place)
    trace = _trace(content["columns"], content["rows"], settings.packs, place)
    _refuse_outside(content, len(trace), place)
    members = {name: content[name] for name in MEMBERS}
    members |= {name: tuple(content[name]) for name in _LISTS}
    expected = _expected(content["expected"], len(trace), place)
    return ChargerVector(**{**members, "settings": settings, "expected": expected, "trace": trace})


def _trace(columns: list[str], rows: list[Any], packs: int, path: Path) -> ChargerTrace:
    right = trace_columns(packs)
    if tuple(columns) != right:
        raise InputError(
            f"there is {', '.join(columns):.80}",
            file=path,
            column="columns",
            hint=f"with {packs} {'pack' if packs == 1 else 'packs'} it must be {', '.join(right)}",
        )
    _refuse_uneven(rows, len(right), "rows", path)
    columns_of = dict(zip(right, zip(*rows, strict=True), strict=True))
    parts: dict[str, Any] = {
        name: np.array(columns_of[name], dtype=np.float64) for name in OWN_COLUMNS
    }
    for name in PACK_COLUMNS:
        values = [columns_of[f"{name}_{p}"] for p in range(1, packs + 1)]
        if name == "stage":
            codes = [[_STAGE_CODES[word] for word in column] for column in values]
            parts[name] = np.array(codes, dtype=np.int8).T
        else:
            parts[name] = np.array(values, dtype=np.float64).T
    return ChargerTrace(**parts)


def _refuse_cells(content: dict[str, Any], path: Path) -> None:
    columns = content["columns"]
    stages = [name.startswith("stage_") for name in columns]
    for number, row in enumerate(content["rows"]):
        for place, (value, is_stage) in enumerate(zip(row, stages, strict=False)):
            if value not in _STAGE_CODES if is_stage else type(value) is str:
                right = (
                    f"one of {', '.join(filter(None, _STAGE_CODES))}" if is_stage else "a number"
                )
                raise InputError(
                    f"there is {value!r}",
                    file=path,
                    column=f"rows[{number}][{place}] ({columns[place]})",
                    hint=f"it must be {right}, or null for what is missing",
                )


def _expected(content: Any, samples: int, path: Path) -> Corridor | None:
    if content is None:
        return None
    rows = content["rows"]
    _refuse_uneven(rows, len(EXPECTED_COLUMNS), "expected.rows", path)
    if len(rows) != samples:
        raise InputError(
            f"there are {len(rows)} rows",
            file=path,
            column="expected.rows",
            hint=f"there must be {samples}, one for each of rows",
        )
    return Corridor.from_rows(rows)


def _refuse_uneven(rows: list[Any], width: int, member: str, path: Path) -> None:
    for number, row in enumerate(rows):
        if len(row) != width:
            raise InputError(
                f"there are {len(row)} cells",
                file=path,
                column=f"{member}[{number}]",
                hint=f"a row has {width}, one for each of columns",
            )


def _refuse_outside(content: dict[str, Any], samples: int, path: Path) -> None:
    for name in ("power_cycles", "cuts"):
        for place, index in enumerate(content[name]):
            if not 0 < index < samples:
                raise InputError(
                    f"there is {index}",
                    file=path,
                    column=f"{name}[{place}]",
                    hint=f"it must be the index of a sample, 1 to {samples - 1}",
                )
