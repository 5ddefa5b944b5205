"""How the columns of a log are called, and what is in them: the mapping, and its TOML."""

from __future__ import annotations

import codecs
from collections.abc import Mapping as AbstractMapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from attrs import field, frozen

from ctrl.errors import SettingsError, nearest
from ctrl.settings import Settings
from ctrl.settings_text import without_none
from ctrl.vocabulary import Stage
from harness.errors import InputError
from harness.logs.blocks import UTF_8
from harness.logs.units import SECONDS_IN, UNITS_OF, unit_of
from harness.run import FEATURES
from harness.toml_fields import Fields
from harness.toml_file import read_toml

READINGS = ("v", "i", "cell_max_v", "temp_c", "temp_max_c")
NUMBERS = (*READINGS, "soc", "voltage_request_v", "current_request_a", "charger_v")
COLUMNS = (*NUMBERS, "stage", "full_reset", "restart")
MISSING = ("", "nan", "null", "none", "na", "n/a", "-", "--")
TRUE_WORDS = ("1", "1.0", "true", "yes", "on")
FALSE_WORDS = ("0", "0.0", "false", "no", "off")
STARTS = ("anywhere", "power_up")
_LAST_HEADER_LINE = 1_000_000
CLOCKS = ("controller", "logger")
_EXAMPLE = 'v = "U_batt", in [columns]'


@frozen
class Column:
    """Where one of our columns is found.

    Attributes:
        name: what it is called in the log.
        factor: `ours = theirs * factor + offset`.
        offset: see `factor`; in our unit.
        true: the words that are true, of a column of flags.
        on_change: whether a flag is not a word but any change of the value.
    """

    name: str
    factor: float = 1.0
    offset: float = 0.0
    true: tuple[str, ...] = TRUE_WORDS
    on_change: bool = False


@frozen
class Clock:
    """How time is written.

    Attributes:
        name: what the column is called in the log.
        seconds: length of one unit of its numbers, s; None for dates.
        pattern: how dates are written, as for `strptime`; empty for ISO 8601.
        wraps_at: value at which its numbers begin again at 0; None where they do not.
        zone: zone of dates that name none.
        of_logger: whether it is the clock of the logger and not that of the controller.
        restarts: whether stamps that begin again near 0 tell of a loss of power.
    """

    name: str
    seconds: float | None = 1.0
    pattern: str = ""
    wraps_at: float | None = None
    zone: ZoneInfo | None = None
    of_logger: bool = False
    restarts: bool = True


@frozen
class Pack:
    """One pack in a log.

    Attributes:
        name: its name; empty for the stem of the file.
        columns: where each of our columns is found.
        file: its own file, relative to the log; empty where the log is one file.
    """

    name: str
    columns: AbstractMapping[str, Column]
    file: str = ""


@frozen
class Mapping:
    """How a log is to be read.

    Attributes:
        clock: how time is written.
        packs: the packs, at least one.
        stages: the words or numbers of the log for each stage.
        stage_as_before: whether a blank cell means that the stage is that of the row before.
        delimiter: what stands between cells; empty finds out from the header.
        decimal: the decimal mark, point or comma.
        header_line: line of the header, counted from 1.
        missing: words for a reading that is missing, in small letters.
        encoding: of the text of a CSV file.
        pack_column: what the column is called whose words name the pack of a row; empty where a row
            is of all packs.
        complete: whether every sample that the controller saw is a row.
        exact: whether its numbers are those that the controller saw, not rounded ones.
        from_power_up: whether the first row is the first sample after power-up.
        gap_s: longest interval that is no gap of the log, s; None leaves it to the log.
        controller: name and version of the controller.
        features: what it claims; None: whatever the columns can show.
        settings: the settings that it ran with; None where the mapping names none.
        file: the mapping's own file, for errors.
    """

    clock: Clock
    packs: tuple[Pack, ...]
    stages: AbstractMapping[str, Stage] = field(factory=dict)
    stage_as_before: bool = False
    delimiter: str = ""
    decimal: str = "."
    header_line: int = 1
    missing: frozenset[str] = frozenset(MISSING)
    encoding: str = UTF_8
    pack_column: str = ""
    complete: bool = False
    exact: bool = False
    from_power_up: bool = False
    gap_s: float | None = None
    controller: tuple[str, str] = ("", "")
    features: frozenset[str] | None = None
    settings: Settings | None = None
    file: Path | None = None


STAGE_WORDS = {stage.word: stage for stage in Stage}


def own_columns(names: tuple[str, ...] = COLUMNS) -> dict[str, Column]:
    """Our own column names, each found under its own name."""
    return {name: Column(name) for name in names}


def read_mapping(path: str | Path) -> Mapping:
    """A mapping from its TOML file.

    Raises:
        InputError: it cannot be read, or says what cannot be; with file, line and field.
    """
    place = Path(path)
    whole = Fields(read_toml(place, _EXAMPLE), place)
    whole.only("log", "file", "time", "columns", "stages", "pack", "settings")
    log, text, stages = whole.table("log"), whole.table("file"), whole.table("stages")
    log.only("complete", "exact", "starts", "gap_s", "controller", "version", "features")
    text.only("delimiter", "decimal", "header_line", "missing", "encoding", "pack_column")
    delimiter = text.text("delimiter", "")
    if len(delimiter) > 1:
        raise text.wrong("delimiter", f"there is {delimiter!r}", 'one character, such as ";"')
    decimal = text.word("decimal", ".", (".", ","))
    if delimiter and delimiter == decimal:
        raise text.wrong("decimal", f"it is {decimal!r}, as is the delimiter", "they must differ")
    packs, pack_column = _packs(whole), text.text("pack_column", "")
    if pack_column and "pack" in whole:
        told = "each word of that column is a pack: take [[pack]] out, or pack_column"
        raise text.wrong("pack_column", "there are [[pack]] tables as well", told)
    return Mapping(
        clock=_clock(whole.table("time")),
        packs=packs,
        stages=_stages(stages),
        stage_as_before=stages.word("blank", "refused", ("refused", "before")) == "before",
        delimiter=delimiter,
        decimal=decimal,
        header_line=_header_line(text),
        missing=frozenset(w.lower() for w in text.words("missing", MISSING)) | {""},
        encoding=_encoding(text),
        pack_column=pack_column,
        complete=log.flag("complete", default=False),
        exact=log.flag("exact", default=False),
        from_power_up=log.word("starts", STARTS[0], STARTS) == "power_up",
        gap_s=log.number("gap_s", low=0.0) if "gap_s" in log else None,
        controller=(log.text("controller", ""), log.text("version", "")),
        features=_features(log),
        settings=_settings(whole),
        file=place,
    )


def _encoding(text: Fields) -> str:
    name = text.text("encoding", UTF_8)
    try:
        # What is no text, such as base64, cannot encode a word.
        "V".encode(name)
        return codecs.lookup(name).name
    except (LookupError, ValueError, TypeError):
        hint = "UTF-8 is read without a word; others are cp1252, latin-1, utf-16"
        raise text.wrong("encoding", f"there is no encoding {name!r}", hint) from None


def _header_line(text: Fields) -> int:
    line = text.number("header_line", 1, low=1)
    if line != int(line) or line > _LAST_HEADER_LINE:
        hint = f"a whole number, at most {_LAST_HEADER_LINE:,}"
        raise text.wrong("header_line", f"it is {line:g}", hint)
    return int(line)


def _features(log: Fields) -> frozenset[str] | None:
    if "features" not in log:
        return None
    named = log.words("features", ())
    for name in named:
        if name not in FEATURES:
            raise log.wrong("features", f"there is no feature {name!r}", nearest(name, FEATURES))
    return frozenset(named)


def _settings(whole: Fields) -> Settings | None:
    if "settings" not in whole:
        return None
    table = whole.table("settings")
    named: dict[str, Any] = {
        name: without_none(name, value) for name, value in table.values.items()
    }
    try:
        return Settings.for_cells(named.pop("cells", 16), **named)
    except SettingsError as error:
        raise InputError(
            str(error), file=table.file, line=table.line(), column="settings"
        ) from None


def _clock(table: Fields) -> Clock:
    table.only("column", "format", "zone", "wraps_at", "clock", "restarts")
    pattern = table.text("format", "s")
    pattern = _pattern(table, pattern) if "%" in pattern else ""
    kind = "iso" if pattern else table.word("format", "s", (*SECONDS_IN, "iso"))
    dates = kind == "iso"
    if dates and "wraps_at" in table:
        raise table.wrong("wraps_at", "dates do not wrap", "leave it out")
    if not dates and "zone" in table:
        raise table.wrong("zone", f'the format is "{kind}"', 'a zone goes with format = "iso"')
    zone = None
    if "zone" in table:
        name = table.text("zone")
        try:
            zone = ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            hint = "name it as the tz database does, such as Europe/Zurich or UTC"
            raise table.wrong("zone", f"there is no zone {name!r}", hint) from None
    return Clock(
        name=table.text("column", "t"),
        seconds=None if dates else SECONDS_IN[kind],
        pattern=pattern,
        wraps_at=table.number("wraps_at", low=0.0) if "wraps_at" in table else None,
        zone=zone,
        of_logger=table.word("clock", CLOCKS[dates], CLOCKS) == "logger",
        restarts=table.word("restarts", "near_zero", ("near_zero", "never")) == "near_zero",
    )


def _pattern(table: Fields, pattern: str) -> str:
    """A way to write dates by which one is found again."""
    moment = datetime(2026, 11, 22, 13, 44, tzinfo=UTC)
    try:
        again = datetime.strptime(moment.strftime(pattern), pattern)
    except ValueError as error:
        told = "as '%d.%m.%Y %H:%M:%S' for 22.11.2026 13:44:00"
        raise table.wrong("format", f"{error}", told) from None
    if again.replace(tzinfo=UTC) != moment:
        told = "it needs %Y, %m, %d, %H and %M, as '%d.%m.%Y %H:%M:%S' for 22.11.2026 13:44:00"
        raise table.wrong("format", f"{pattern!r} tells no date and time of day", told)
    return pattern


def _stages(table: Fields) -> dict[str, Stage]:
    table.only(*STAGE_WORDS, "blank")
    found: dict[str, Stage] = {}
    for name, stage in STAGE_WORDS.items():
        for word in table.words(name, ()):
            key = word.strip().lower()
            if found.setdefault(key, stage) is not stage:
                first = found[key].word
                raise table.wrong(name, f"{word!r} is {first} as well", "a word means one stage")
    return found or dict(STAGE_WORDS)


def _packs(whole: Fields) -> tuple[Pack, ...]:
    shared = _columns(whole.table("columns"))
    tables = whole.tables("pack")
    if not tables:
        return (Pack("", shared or own_columns()),)
    packs: list[Pack] = []
    for table in tables:
        table.only("name", "file", "columns")
        name = table.text("name")
        if name in {pack.name for pack in packs}:
            raise table.wrong("name", f"there are two packs {name!r}", "name each of them once")
        columns = {**shared, **_columns(table.table("columns"))}
        packs.append(Pack(name, columns or own_columns(), table.text("file", "")))
    return tuple(packs)


def _columns(table: Fields) -> dict[str, Column]:
    table.only(*COLUMNS)
    return {name: _column(table, name) for name in table.values}


def _column(table: Fields, name: str) -> Column:
    if isinstance(table.values[name], str):
        return Column(table.text(name))
    each = table.table(name)
    if name in ("full_reset", "restart"):
        each.only("column", "true", "on_change")
        return Column(
            each.text("column"),
            true=tuple(word.strip().lower() for word in each.words("true", TRUE_WORDS)),
            on_change=each.flag("on_change", default=False),
        )
    if name == "stage":
        each.only("column")
        return Column(each.text("column"))
    each.only("column", "unit", "scale", "offset", "charging")
    try:
        unit = unit_of(name, each.text("unit", next(iter(UNITS_OF[name]))))
    except ValueError as error:
        raise each.wrong("unit", str(error), "") from None
    scale = each.number("scale", 1.0)
    if scale == 0.0:
        raise each.wrong("scale", "it is 0", "a scale is what their number is multiplied with")
    if "charging" in each and name not in ("i", "current_request_a"):
        raise each.wrong("charging", f"{name} is no current", "only a current has a direction")
    if each.word("charging", "positive", ("positive", "negative")) == "negative":
        scale = -scale
    offset = each.number("offset", 0.0)
    return Column(each.text("column"), unit.factor * scale, unit.factor * offset + unit.offset)
