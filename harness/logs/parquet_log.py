"""Reads a log from Parquet, by pyarrow."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from harness.errors import InputError
from harness.logs.cells import words_of_arrow
from harness.logs.table import NO_DATE, Cells, Dates, Kind, Table, joined, places_of
from harness.parquet_file import opened_parquet

INSTEAD = "save the log as CSV"

MAGIC = b"PAR1"
_ROWS = 1 << 20


def parquet_names(path: Path) -> tuple[str, ...]:
    """The names of the columns; raises as `read_parquet`."""
    return tuple(opened_parquet(path, instead=INSTEAD).schema_arrow.names)


def read_parquet(path: Path, wanted: Mapping[str, Kind], *, told: Mapping[str, str]) -> Table:
    """The wanted columns of a Parquet file; arguments and errors as `read_csv`."""
    file = opened_parquet(path, instead=INSTEAD)
    import pyarrow as pa

    names = tuple(file.schema_arrow.names)
    places_of(wanted, names, path, None, told)
    pieces: dict[str, list[Cells]] = {name: [] for name in wanted}
    rows = 0
    try:
        for batch in file.iter_batches(batch_size=_ROWS, columns=list(wanted)):
            rows += len(batch)
            for name, kind in wanted.items():
                column = pa.chunked_array([batch.column(name)])
                pieces[name].append(_cells(path, column, kind, name))
    except (pa.ArrowException, ValueError, OSError) as error:
        text = str(error).partition("\n")[0]
        raise InputError(
            f"cannot be read: {text:.120}", file=path, hint="is it whole? Write it again"
        ) from None
    if rows == 0:
        raise InputError("it has no rows", file=path, hint="is it a log?")
    return Table({name: joined(pieces.pop(name), path, name) for name in tuple(pieces)}, 1)


def _cells(path: Path, column: Any, kind: Kind, name: str) -> Cells:
    import pyarrow as pa
    import pyarrow.compute as pc

    def wrong() -> InputError:
        hint = f"it must be {kind.value}"
        return InputError(f"the column holds {column.type}", file=path, column=name, hint=hint)

    if kind is Kind.WORD:
        if pa.types.is_dictionary(column.type):
            column = column.cast(column.type.value_type)
        if pa.types.is_floating(column.type):
            column = column.cast(pa.int64(), safe=False)
        if pa.types.is_nested(column.type) or pa.types.is_binary(column.type):
            raise wrong()
        return words_of_arrow(column.cast(pa.string()))
    if kind is Kind.DATE:
        if not pa.types.is_timestamp(column.type):
            raise wrong()
        us = column.cast(pa.timestamp("us", tz=column.type.tz), safe=False).cast(pa.int64())
        return Dates(
            np.array(pc.fill_null(us, int(NO_DATE)).to_numpy(), np.int64),
            column.type.tz is not None,
        )
    number = (
        pa.types.is_integer(column.type)
        or pa.types.is_floating(column.type)
        or pa.types.is_decimal(column.type)
    )
    if not number and column.null_count < len(column):
        raise wrong()
    return np.array(column.cast(pa.float64(), safe=False).to_numpy(), np.float64)
