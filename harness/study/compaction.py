"""The parts of a study become one Parquet file, which says nothing of how it was cut into items."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from harness.errors import InputError
from harness.study.part_file import FINGERPRINT, FORMAT
from harness.study.writing import whole_file

LEFT_OUT = b"fullproof.left_out"
# With 30 columns of 8 bytes, about 8 MB in memory.
ROWS_A_GROUP = 32_768
_MOST_PIECES = 256


def write_table(path: Path, tables: Iterable[Any], fingerprint: str, left_out: int) -> int:
    """Write tables one after the other; the bytes depend on their rows, not on their cut.

    Args:
        path: the file.
        tables: of pyarrow, with the same columns; taken one by one.
        fingerprint: of the study.
        left_out: how many items are missing.

    Returns:
        How many rows there are.

    Raises:
        InputError: no tables, tables of other columns than the first, or no room on the disk.
    """
    from pyarrow import parquet

    metadata = {FINGERPRINT: fingerprint, LEFT_OUT: str(left_out)}
    rows, writer, schema, groups = 0, None, None, _Groups()
    with whole_file(path) as file:
        try:
            for table in tables:
                part = table.replace_schema_metadata(metadata)
                if writer is None:
                    schema = part.schema
                    writer = parquet.ParquetWriter(file, schema, **FORMAT)
                elif part.schema != schema:
                    raise InputError(
                        f"an item has the columns {_told(part.schema)}, the first {_told(schema)}",
                        file=path,
                        hint="run the study with one version of the code",
                    )
                rows += part.num_rows
                for group in groups.filled_by(part):
                    writer.write_table(group, row_group_size=ROWS_A_GROUP)
            if writer is None:
                raise InputError("no item is there", file=path, hint="run the study first")
            for group in groups.rest():
                writer.write_table(group, row_group_size=ROWS_A_GROUP)
        finally:
            if writer is not None:
                writer.close()
    return rows


class _Groups:
    """Rows that come in pieces of any size and go in groups of one size."""

    def __init__(self) -> None:
        self._waiting: list[Any] = []
        self._rows = 0

    def filled_by(self, piece: Any) -> Iterator[Any]:
        """The groups that are full with one more piece."""
        self._waiting.append(piece)
        self._rows += piece.num_rows
        # A piece takes much more room than its rows.
        if len(self._waiting) >= _MOST_PIECES:
            self._waiting = [self._joined()]
        if self._rows >= ROWS_A_GROUP:
            joined, first = self._joined(), 0
            while joined.num_rows - first >= ROWS_A_GROUP:
                yield joined.slice(first, ROWS_A_GROUP).combine_chunks()
                first += ROWS_A_GROUP
            self._waiting = [joined.slice(first).combine_chunks()]
            self._rows = joined.num_rows - first

    def rest(self) -> Iterator[Any]:
        """What fills no group."""
        if self._rows:
            yield self._joined()

    def _joined(self) -> Any:
        import pyarrow as pa

        # How the rows lie in memory would show in the pages of the file.
        return pa.concat_tables(self._waiting).combine_chunks()


def _told(schema: Any) -> str:
    return ", ".join(
        f"{name} {kind}" for name, kind in zip(schema.names, schema.types, strict=True)
    )
