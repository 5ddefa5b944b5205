"""Reads a log: `read_log(path, mapping)`."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from attrs import evolve

from harness.errors import InputError, cannot_read
from harness.logs.blocks import Torn, blocks, opened
from harness.logs.clock import stamps_of
from harness.logs.columns import flags_of, numbers_of, stages_of, unknown_flag
from harness.logs.csv_log import header_names, read_csv
from harness.logs.dialects import mapping_for
from harness.logs.log import Log, PackLog
from harness.logs.mapping import NUMBERS, READINGS, Mapping, Pack
from harness.logs.pack_column import late_s, split_by_pack
from harness.logs.parquet_log import MAGIC, parquet_names, read_parquet
from harness.logs.table import Kind, Table
from harness.run import Flags, Floats, Trace

SUFFIXES = (".csv", ".parquet", ".csv.gz", ".csv.bz2", ".csv.xz", ".csv.zst")
_ANSWER_NUMBERS = ("soc", "voltage_request_v", "current_request_a")


def read_log(path: str | Path, mapping: Mapping | None = None) -> Log:
    """Read a recorded log.

    Args:
        path: a CSV (compressed or not) or Parquet file; or a folder with one file a pack.
        mapping: how to read it; one that names no packs is that of every file of a folder. None for
            logs in our own column names or in the Battery Data Format.

    Raises:
        InputError: it cannot be read, or is not as the mapping says; with file, line and column.
    """
    place = Path(path)
    given = mapping
    if given is None:
        files = files_of(place)
        given = evolve(mapping_for(_names(files[0]), files[0]), packs=())
        packs = tuple(
            evolve(_only_pack(mapping_for(_names(file), file)), name=_stem(file), file=file.name)
            for file in files
        )
        given = evolve(given, packs=packs)
    elif place.is_dir() and _one_for_all(given):
        files = files_of(place)
        own = given.packs[0]
        packs = tuple(evolve(own, name=_stem(file), file=file.name) for file in files)
        given = evolve(given, packs=packs)
    by_file: dict[Path, list[Pack]] = {}
    for pack in given.packs:
        _refuse_without_readings(pack, given)
        by_file.setdefault(_file_of(place, pack), []).append(pack)
    logs: list[PackLog] = []
    starts: list[datetime | None] = []
    for file, packs_of_it in by_file.items():
        whole = _table(file, packs_of_it, given)
        if given.pack_column:
            pieces = split_by_pack(whole, given.pack_column, packs_of_it[0], file)
        else:
            pieces = [(pack, whole) for pack in packs_of_it]
        for pack, table in pieces:
            stamps = stamps_of(table.columns[given.clock.name], given.clock, file)
            behind_s = late_s(table, whole, given.clock) if given.pack_column else 0.0
            t = stamps.t + behind_s if behind_s else stamps.t
            starts.append(stamps.start)
            logs.append(
                evolve(
                    _pack_log(pack, file, table, t, given),
                    notes=(*((table.note,) if table.note else ()), *stamps.notes),
                    restarts=_restarts(pack, table, stamps.restarts, file),
                    cuts=stamps.cuts,
                )
            )
    _refuse_twice(logs)
    logs = _from_one_start(logs, starts)
    return Log(
        path=place,
        packs=tuple(logs),
        start=min((start for start in starts if start is not None), default=None),
        complete=given.complete,
        exact=given.exact,
        from_power_up=given.from_power_up,
        gap_s=given.gap_s,
        controller=given.controller,
        features=given.features,
        settings=given.settings,
    )


def _refuse_without_readings(pack: Pack, mapping: Mapping) -> None:
    for name in ("v", "i"):
        if name not in pack.columns:
            of_pack = f" of pack {pack.name!r}" if pack.name else ""
            raise InputError(
                f"nothing says which column{of_pack} is {name}",
                file=mapping.file or "",
                column="columns",
                hint=f'add {name} = "their name"',
            )


def _refuse_twice(logs: list[PackLog]) -> None:
    seen: dict[str, Path] = {}
    for log in logs:
        first = seen.setdefault(log.name, log.file)
        if first != log.file:
            raise InputError(
                f"pack {log.name!r} is in {first.name} as well",
                file=log.file,
                hint="one file a pack, or all packs in one file",
            )


def _one_for_all(mapping: Mapping) -> bool:
    """Whether the mapping has no pack by name, so that each file of a folder is one, or has its own."""
    return len(mapping.packs) == 1 and not mapping.packs[0].name and not mapping.packs[0].file


def _only_pack(mapping: Mapping) -> Pack:
    return mapping.packs[0]


def _from_one_start(logs: list[PackLog], starts: list[datetime | None]) -> list[PackLog]:
    """Every pack counts from the first row of all of them, where stamps are dates."""
    dated = [start for start in starts if start is not None]
    if len(dated) < 2:
        return logs
    earliest = min(dated)
    moved = []
    for log, behind in zip(logs, starts, strict=True):
        late_s = (behind - earliest).total_seconds() if behind is not None else 0.0
        moved.append(
            evolve(log, trace=evolve(log.trace, t=log.trace.t + late_s)) if late_s else log
        )
    return moved


def files_of(place: Path) -> list[Path]:
    """The file of a log, or those of a folder; raises `InputError` where there is none in it."""
    if not place.is_dir():
        return [place]
    found = sorted(file for file in place.iterdir() if file.name.lower().endswith(SUFFIXES))
    if not found:
        raise InputError(
            "there is no log in the folder", file=place, hint=f"files end in {', '.join(SUFFIXES)}"
        )
    return found


def _stem(file: Path) -> str:
    return file.name.partition(".")[0] or file.name


def _file_of(place: Path, pack: Pack) -> Path:
    if place.is_dir():
        if not pack.file:
            raise InputError(
                f"the log is a folder, and pack {pack.name!r} has no file",
                file=place,
                hint='name it in the mapping, as [[pack]] file = "pack.csv"',
            )
        return place / pack.file
    return place if not pack.file or pack.file == place.name else place.parent / pack.file


def _is_parquet(file: Path) -> bool:
    try:
        with file.open("rb") as opened_file:
            return opened_file.read(4) == MAGIC
    except IsADirectoryError:
        raise InputError("is a folder, not a log", file=file) from None
    except OSError as error:
        raise cannot_read(file, error) from None


def _names(file: Path) -> tuple[str, ...]:
    if _is_parquet(file):
        return parquet_names(file)
    with opened(file) as stream:
        return header_names(file, blocks(file, stream, torn := Torn(), size=1 << 16), torn)


def _table(file: Path, packs: list[Pack], mapping: Mapping) -> Table:
    wanted: dict[str, Kind] = {}
    told: dict[str, str] = {}

    def want(name: str, kind: Kind, by: str) -> None:
        if wanted.setdefault(name, kind) is not kind:
            raise InputError(
                f"the column {name!r} cannot be both {wanted[name].value} and {kind.value}",
                file=mapping.file or file,
                hint=f"it {told[name]}, and it {by}",
            )
        told.setdefault(name, by)

    where = f" in {mapping.file}" if mapping.file else ""
    clock = mapping.clock
    kind = Kind.DATE if clock.seconds is None else Kind.NUMBER
    want(clock.name, kind, f"[time] asks for{where}" if where else "holds the time")
    if mapping.pack_column:
        want(mapping.pack_column, Kind.WORD, f"[file] asks for as pack_column{where}")
    for pack in packs:
        for name, column in pack.columns.items():
            by = f"[columns] asks for as {name}{where}" if where else f"is our {name}"
            want(column.name, Kind.NUMBER if name in NUMBERS else Kind.WORD, by)
    if _is_parquet(file):
        return read_parquet(file, wanted, told=told)
    return read_csv(
        file,
        wanted,
        delimiter=mapping.delimiter,
        decimal=mapping.decimal,
        header_line=mapping.header_line,
        missing=mapping.missing,
        told=told,
        encoding=mapping.encoding,
        pattern=clock.pattern,
    )


def _pack_log(pack: Pack, file: Path, table: Table, t: Floats, mapping: Mapping) -> PackLog:
    columns = pack.columns
    readings = {
        name: numbers_of(table.columns[columns[name].name], columns[name])
        for name in READINGS
        if name in columns
    }
    said: dict[str, Any] = {}
    blank: dict[str, tuple[int, int]] = {}
    for name in (*_ANSWER_NUMBERS, "charger_v"):
        if name in columns:
            values = numbers_of(table.columns[columns[name].name], columns[name])
            holes = np.flatnonzero(~np.isfinite(values))
            if len(holes) == len(values):
                continue
            said[name] = values
            if len(holes):
                blank[name] = (len(holes), table.line_of(int(holes[0])))
    stage = None
    if "stage" in columns:
        stage = stages_of(
            table.columns[columns["stage"].name],
            mapping,
            file,
            table.line_of,
            columns["stage"].name,
        )
    return PackLog(
        name=pack.name or _stem(file),
        file=file,
        trace=Trace(t, **readings),
        stage=stage,
        full_reset=_flags(pack, table, "full_reset", file),
        blank=blank,
        lines=table.lines,
        **said,
    )


def _flags(pack: Pack, table: Table, name: str, file: Path) -> Flags | None:
    if name not in pack.columns:
        return None
    column = pack.columns[name]
    cells = table.columns[column.name]
    unknown = unknown_flag(cells, column)
    if unknown is not None:
        word, row = unknown
        raise InputError(
            f"{word[:60]!r} is neither true nor false",
            file=file,
            line=table.line_of(row),
            column=column.name,
            hint=f'true are {", ".join(column.true)}; others: {name} = {{ true = ["..."] }}',
        )
    return flags_of(cells, column)


def _restarts(pack: Pack, table: Table, by_stamp: tuple[int, ...], file: Path) -> tuple[int, ...]:
    said = _flags(pack, table, "restart", file)
    if said is None:
        return by_stamp
    return tuple(sorted({*by_stamp, *(k for k in np.flatnonzero(said).tolist() if k > 0)}))
