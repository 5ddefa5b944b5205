"""The rows of one item as a Parquet file that says to which study and item it belongs."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from harness.errors import InputError
from harness.study.writing import whole_file

# Column by column, all of one length.
Columns = Mapping[str, npt.NDArray[Any]]

FINGERPRINT, ITEM, ITEMS = (f"fullproof.{name}".encode() for name in ("study", "item", "items"))
# The rows of a study are numbers that hardly repeat; a dictionary would only add to them.
FORMAT: Mapping[str, Any] = {
    "compression": "zstd",
    "use_dictionary": False,
    "write_page_checksum": True,
}


class DamagedPartError(Exception):
    """A part that is there and cannot be used."""


def write_part(path: Path, columns: Columns, fingerprint: str, item: int, items: int) -> None:
    """Write the rows of an item.

    Args:
        path: the file.
        columns: at least one, each of shape (rows,), rows at least 1.
        fingerprint: of the study.
        item: its number, from 0.
        items: how many there are.

    Raises:
        ValueError: columns that are none.
        InputError: the file cannot be written.
    """
    import pyarrow as pa
    from pyarrow import parquet

    lengths = {np.shape(column) for column in columns.values()}
    if len(lengths) != 1 or len(shape := lengths.pop()) != 1 or shape[0] < 1:
        shapes = ", ".join(f"{name} {np.shape(column)}" for name, column in columns.items())
        raise ValueError(f"columns of shapes {shapes or 'none'}; all of one shape (rows,)")
    metadata = {FINGERPRINT: fingerprint, ITEM: str(item), ITEMS: str(items)}
    table = pa.table({name: pa.array(column) for name, column in columns.items()})
    into = pa.BufferOutputStream()
    parquet.write_table(table.replace_schema_metadata(metadata), into, **FORMAT)
    with whole_file(path) as file:
        file.write(into.getvalue())


def read_part(path: Path, fingerprint: str, item: int, items: int) -> Any:
    """The rows of an item as a table of pyarrow, checked to the last byte.

    Args:
        path: the file.
        fingerprint: of the study to which it must belong.
        item: the number that it must have.
        items: how many there are of them.

    Raises:
        DamagedPartError: it cannot be read, or it is another item than its name says.
        InputError: it belongs to another study, or to one that was cut in another way.
    """
    import pyarrow as pa
    from pyarrow import parquet

    try:
        source = pa.BufferReader(path.read_bytes())
        table = parquet.ParquetFile(source, page_checksum_verification=True).read(use_threads=False)
    except (pa.ArrowException, OSError) as error:
        raise DamagedPartError(str(error).splitlines()[0][:120]) from None
    said = table.schema.metadata or {}
    found = said.get(FINGERPRINT, b"").decode(errors="replace")
    if found != fingerprint:
        raise InputError(
            f"belongs to study {found or 'unknown'}, not to study {fingerprint}",
            file=path,
            hint="choose another folder",
        )
    if said.get(ITEMS) != str(items).encode():
        raise InputError(
            f"is one of {said.get(ITEMS, b'?').decode(errors='replace')} items, not of {items}",
            file=path,
            hint="choose another folder, or cut the study as before",
        )
    if said.get(ITEM) != str(item).encode():
        raise DamagedPartError(f"it is item {said.get(ITEM, b'?').decode(errors='replace')}")
    return table
