"""Opens Parquet files, with errors that say what is wrong with them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from harness.errors import InputError

INSTALL = "pip install 'fullproof[parquet]'"


def need_arrow(what: str, *, file: str | Path = "", instead: str = "") -> None:
    """See that what reads and writes Parquet is installed.

    Args:
        what: what needs it.
        file: the file in question.
        instead: what would do as well.

    Raises:
        InputError: it is not installed.
    """
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError:
        hint = f"{INSTALL}, or {instead}" if instead else INSTALL
        raise InputError(f"{what} needs pyarrow", file=file, hint=hint) from None


def opened_parquet(path: Path, *, instead: str = "") -> Any:
    """A Parquet file, as `pyarrow.parquet.ParquetFile`.

    Args:
        path: the file.
        instead: what would do as well, where pyarrow is not installed.

    Raises:
        InputError: it cannot be read, or is none; or pyarrow is not installed.
    """
    need_arrow("a Parquet file", file=path, instead=instead)
    import pyarrow as pa
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(path)
        _ = file.schema_arrow  # the names in it need not be text
    except (pa.ArrowException, ValueError, OSError) as error:
        text = str(error).partition("\n")[0]
        hint = "is it cut off? A Parquet file that is still being written cannot be read"
        raise InputError(
            f"is no Parquet file: {text.rstrip('.'):.120}", file=path, hint=hint
        ) from None
    return file
