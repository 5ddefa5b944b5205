"""A first draft of a mapping, for a log in names that are not known: guesses, to be read through."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from attrs import evolve, field, frozen

from ctrl.vocabulary import Stage
from harness.errors import InputError
from harness.logs.blocks import UTF_8, opened
from harness.logs.draft_columns import (
    CELL_BELOW_V,
    ISO,
    MOST_WORDS,
    OF_CHARGER,
    OF_CURRENT,
    OF_LOWEST,
    OF_PACK,
    OF_REQUEST,
    OF_STAGE,
    OF_TIME,
    OF_VOLTAGE,
    Seen,
    charging_is_negative,
    date_format,
    seen,
    two_ways,
)
from harness.logs.units import UNITS_OF

# So much of a log is looked at: some thousand rows, a day at the least in most logs.
LOOKED_AT_BYTES = 1_000_000
ENCODINGS = {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
# What helps beside voltage and current, in the order in which it is written.
_OTHERS = (
    "cell_max_v", "charger_v", "temp_c", "soc", "voltage_request_v", "current_request_a", "full_reset"
)  # fmt: skip
_STAGES = (Stage.BULK, Stage.ABSORPTION, Stage.FLOAT, Stage.INHIBITED)


@frozen
class Draft:
    """A mapping as far as it can be guessed.

    Attributes:
        text: TOML, with a remark on each guess.
        unknown: what a person still has to say, as sentences; empty where nothing is open.
    """

    text: str
    unknown: tuple[str, ...]


@frozen(eq=False)
class _Look:
    """The beginning of a log, and which column of it was taken for what."""

    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    columns: tuple[Seen, ...]
    taken: dict[str, Seen] = field(factory=dict)

    def left(self) -> list[Seen]:
        """The columns that are not taken yet."""
        return [column for column in self.columns if column not in self.taken.values()]

    def take(self, ours: str, found: Sequence[Seen]) -> None:
        """Take the first of these for one of our columns, where there is one."""
        free = self.left()
        first = next((column for column in found if column in free), None)
        if first is not None:
            self.taken[ours] = first


def draft(path: Path) -> Draft:
    """A draft of the mapping of a CSV file.

    Raises:
        InputError: it cannot be read, or is no table.
    """
    look = _look(path)
    look.take("time", _times(look))
    look.take("pack", _packs(look))
    volts = [c for c in look.left() if c.measures("v", OF_VOLTAGE)]
    cells = [c for c in volts if c.middle("v") < CELL_BELOW_V]
    packs = [c for c in volts if c not in cells] or cells
    look.take("charger_v", [c for c in packs if c.says(OF_CHARGER)])
    look.take("voltage_request_v", [c for c in packs if c.says(OF_REQUEST)])
    look.take("v", packs)
    look.take("cell_max_v", [c for c in cells if not c.says(OF_LOWEST)])
    amperes = [c for c in look.left() if c.measures("i", OF_CURRENT)]
    look.take("current_request_a", [c for c in amperes if c.says(OF_REQUEST)])
    look.take("i", sorted(amperes, key=lambda c: c.says(OF_CHARGER)))
    look.take(
        "soc", [c for c in look.left() if c.unit in ("%", "percent") and c.values is not None]
    )
    look.take("temp_c", [c for c in look.left() if c.unit != "" and c.measures("temp_c")])
    look.take("full_reset", [c for c in look.left() if _is_flag(c) and "reset" in c.name.lower()])
    worded = [c for c in look.left() if c.values is None and len(c.words) <= MOST_WORDS // 2]
    look.take("stage", sorted(worded, key=lambda c: not c.says(OF_STAGE)))
    return _written(path, look)


def _look(path: Path) -> _Look:
    with opened(path) as file:
        raw = file.read(LOOKED_AT_BYTES)
    encoding = ENCODINGS.get(raw[:2], UTF_8)
    if encoding == UTF_8:
        try:
            # A letter may be cut in two at the end.
            raw[: raw.rfind(b"\n") + 1].decode(UTF_8)
        except UnicodeDecodeError:
            encoding = "cp1252"
    text = raw.decode(encoding, "replace").removeprefix("\ufeff")
    lines = text[: text.rfind("\n") + 1].splitlines()
    if not lines:
        raise InputError("there is no whole line in it", file=path, hint="is it a log?")
    # What may be a decimal mark as well comes last.
    delimiter = max((";", "\t", "|", ","), key=lambda each: sum(each in line for line in lines))
    rows = [
        [cell.strip() for cell in row]
        for row in csv.reader((line.replace("\0", "") for line in lines), delimiter=delimiter)
    ]
    ((width, _),) = Counter(len(row) for row in rows).most_common(1)
    if width < 3:
        raise InputError(
            "there is no table of three columns or more in it",
            file=path,
            hint="a log has a column of time, one of voltage and one of current at the least",
        )
    head = next(k for k, row in enumerate(rows) if len(row) == width)
    body = [row for row in rows[head + 1 :] if len(row) == width]
    comma = delimiter != "," and any(re.fullmatch(r"[+-]?\d+,\d+", c) for r in body for c in r)
    decimal = "," if comma else "."
    columns = tuple(
        seen(name, [row[k] for row in body], decimal) for k, name in enumerate(rows[head])
    )
    return _Look(encoding, delimiter, decimal, head + 1, columns)


def _times(look: _Look) -> list[Seen]:
    dates = [column for column in look.columns if date_format(column)]
    rising = [
        column
        for column in look.columns
        if column.values is not None
        and np.isfinite(column.values).all()
        and len(column.values) > 1
        and (column.values[-1] > column.values[0] or column.says(OF_TIME))
        and (column.says(OF_TIME) or column.name.lower() in ("t", "s", "ms"))
    ]
    return dates or rising


def _packs(look: _Look) -> list[Seen]:
    """A column with few words that are different in rows of one stamp."""
    if "time" not in look.taken:
        return []
    time = look.taken["time"].cells
    return [
        column
        for column in look.left()
        if column.says(OF_PACK)
        and 2 <= len(column.words) <= MOST_WORDS
        and (column.values is None or len(set(zip(time, column.cells, strict=True))) > len(set(time)))
    ]  # fmt: skip


def _is_flag(column: Seen) -> bool:
    return set(column.words) <= {"0", "1"}


def _written(path: Path, look: _Look) -> Draft:
    unknown: list[str] = []
    lines = [
        f"# How {path.name} is to be read: a first draft, guessed from its names and numbers.",
        "# Read it through. What is wrong here is wrong in all that is said of the log.",
        "",
        "[file]",
        f'delimiter = "{_escaped(look.delimiter)}"',
        f'decimal = "{look.decimal}"',
    ]
    if look.header_line > 1:
        lines.append(f"header_line = {look.header_line}")
    if look.encoding != UTF_8:
        lines.append(f'encoding = "{look.encoding}"')
    if "pack" in look.taken:
        pack = look.taken["pack"]
        lines.append(f"pack_column = {_quoted(pack.name)}    # {', '.join(pack.words[:4])}")
    lines += ["", "[time]", *_time_lines(look, unknown), "", "[columns]"]
    for ours in ("v", "i"):
        if ours in look.taken:
            lines.append(_column_line(ours, look, unknown))
        else:
            what = "the voltage of the pack" if ours == "v" else "the current of the pack"
            lines.append(f'# {ours} = "..."    # {what}: which column is it?')
            unknown.append(f"{ours}: no column looks like {what}.")
    lines += [_column_line(ours, look, unknown) for ours in _OTHERS if ours in look.taken]
    lines += _stage_lines(look, unknown)
    left = [
        f"# not used: {_shown(column.name)}, as {_shown(column.first)}" for column in look.left()
    ]
    return Draft("\n".join([*lines, "", *left]).rstrip() + "\n", tuple(unknown))


def _time_lines(look: _Look, unknown: list[str]) -> list[str]:
    if "time" not in look.taken:
        unknown.append("[time] column: no column looks like a time stamp.")
        return ['# column = "..."', '# format = "iso"    # or "s", "ms", "%d.%m.%Y %H:%M:%S"']
    time = look.taken["time"]
    lines = [f"column = {_quoted(time.name)}    # as {_shown(time.first)}"]
    kind = date_format(time)
    if not kind:
        unit = next((u for u in ("ms", "us", "min", "h", "d") if time.unit == u), "s")
        return [*lines, f'format = "{unit}"']
    lines.append(f"format = {_quoted(kind)}")
    other = "" if kind == ISO else two_ways(time, kind)
    if other:
        lines.append(f"# format = {_quoted(other)}    # fits as well")
        unknown.append(f"[time] format: these dates fit {kind} and {other}.")
    if not re.search(r"([+-]\d\d:?\d\d|Z)$", time.first):
        lines.append(
            '# zone = "Europe/Zurich"    # of dates that name none; without it they are UTC'
        )
    return lines


def _column_line(ours: str, look: _Look, unknown: list[str]) -> str:
    column = look.taken[ours]
    fields = [f"column = {_quoted(column.name)}"]
    if column.unit and ours in UNITS_OF and column.unit != next(iter(UNITS_OF[ours])):
        fields.append(f'unit = "{column.unit}"')
    remark = f"as {_shown(column.first)}"
    if ours == "i" and "v" in look.taken:
        negative = charging_is_negative(*_of_one_pack(look))
        if negative:
            fields.append('charging = "negative"')
            remark += "; the pack is charged while it is negative"
        elif negative is None:
            remark += '; or charging = "negative"?'
            unknown.append("i: is its number positive or negative while the pack is charged?")
    if len(fields) == 1:
        return f"{ours} = {_quoted(column.name)}    # {remark}"
    return f"{ours} = {{ {', '.join(fields)} }}    # {remark}"


def _of_one_pack(look: _Look) -> tuple[Seen, Seen]:
    """The count, or else the voltage, and the current of the rows of one pack."""
    v, i = look.taken.get("soc", look.taken["v"]), look.taken["i"]
    if "pack" not in look.taken:
        return v, i
    pack = look.taken["pack"]
    rows = np.array([cell == pack.words[0] for cell in pack.cells])
    assert v.values is not None
    assert i.values is not None
    return evolve(v, values=v.values[rows]), evolve(i, values=i.values[rows])


def _stage_lines(look: _Look, unknown: list[str]) -> list[str]:
    if "stage" not in look.taken:
        return []
    stage = look.taken["stage"]
    words, own = stage.words, [each.word for each in _STAGES]
    if all(word.lower() in own for word in words):
        return [f"stage = {_quoted(stage.name)}"]
    unknown.append(
        f"stage: which words of {_shown(stage.name)} mean bulk, absorption, float and inhibited?"
    )
    named = dict(zip(own, words, strict=False))
    return [
        f"# stage = {_quoted(stage.name)}",
        "",
        "# Its words, in the order in which they come. Where the order is right take the marks away, here",
        "# and in front of stage; else put the words where they belong.",
        "# [stages]",
        *(f"# {name} = {_quoted(word)}" for name, word in named.items()),
        *(f"# a word more: {_quoted(word)}" for word in words[len(own) :]),
    ]  # fmt: skip


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'


def _escaped(text: str) -> str:
    return "\\t" if text == "\t" else text


def _shown(text: str) -> str:
    """A cell in a remark, on one line."""
    return repr(text[:40])
