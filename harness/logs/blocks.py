"""A log as text, compressed or not, in blocks of whole lines. What is torn off at its end is left out."""

from __future__ import annotations

import bz2
import codecs
import gzip
import lzma
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from io import BufferedReader
from pathlib import Path
from typing import IO, Any

from attrs import define

from harness.errors import InputError, cannot_read

BLOCK_BYTES = 16_000_000
# No table of numbers has a longer line: a file without line ends would be collected in memory whole.
LONGEST_LINE_BYTES = 1_000_000
UTF_8 = "utf-8"
SAVE_AS_UTF_8 = (
    'save the file as UTF-8, or say in the mapping what it is, as [file] encoding = "cp1252" or'
    ' "utf-16"; fullproof explain LOG --write-mapping FILE finds it out'
)
_MARK = b"\xef\xbb\xbf"
_FOREIGN = {b"\xff\xfe": "UTF-16", b"\xfe\xff": "UTF-16"}
_PACKED: dict[bytes, str] = {
    b"\x1f\x8b": "gzip",
    b"BZh": "bzip2",
    b"\xfd7zXZ": "xz",
    b"\x28\xb5\x2f\xfd": "zstd",
}


@define
class Torn:
    """What was left out at the end of a file, as a sentence; empty where nothing was."""

    note: str = ""


def packed_by(path: Path) -> str:
    """With what a file is compressed, by its first bytes; empty where it is not.

    Raises:
        InputError: it cannot be read.
    """
    try:
        with path.open("rb") as file:
            start = file.read(6)
    except OSError as error:
        raise cannot_read(path, error) from None
    return next((name for mark, name in _PACKED.items() if start.startswith(mark)), "")


@contextmanager
def opened(path: Path) -> Iterator[IO[bytes]]:
    """The bytes of a file, unpacked.

    Raises:
        InputError: it cannot be read, or not be unpacked here.
    """
    kind = packed_by(path)
    try:
        with _stream(path, kind) as file:
            yield file
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", file=path) from None
    except (zlib.error, lzma.LZMAError) as error:
        raise InputError(f"cannot be unpacked: {error}", file=path) from None


def _stream(path: Path, kind: str) -> Any:
    if kind == "gzip":
        return gzip.open(path, "rb")
    if kind == "bzip2":
        return bz2.open(path, "rb")
    if kind == "xz":
        return lzma.open(path, "rb")
    if kind == "zstd":
        try:
            import pyarrow as pa
        except ImportError:
            raise InputError(
                "it is compressed with zstd",
                file=path,
                hint="install fullproof[parquet], or unpack it, or use gzip, bzip2 or xz",
            ) from None
        return pa.CompressedInputStream(pa.OSFile(str(path)), "zstd")
    return path.open("rb")


def blocks(
    path: Path, file: IO[bytes], torn: Torn, size: int = BLOCK_BYTES, encoding: str = UTF_8
) -> Iterator[bytes]:
    """Whole lines in UTF-8 with their line feeds, in blocks of about `size` bytes.

    A last line without a line feed is one that was still being written: nothing tells whether its
    last number is whole. It is left out, as are NUL bytes at the end.

    Args:
        path: the file, for errors.
        file: its bytes, unpacked.
        torn: is told what was left out.
        size: length of a block, bytes.
        encoding: of the bytes.

    Raises:
        InputError: it is no text in UTF-8, or a line has no end.
    """
    rest = b""
    line = 1
    first = True
    decoder = None if encoding == UTF_8 else codecs.getincrementaldecoder(encoding)()
    while chunk := _read(file, size, torn):
        if decoder is not None:
            try:
                chunk = decoder.decode(chunk).encode()
            except UnicodeDecodeError as error:
                hint = "name another one in the mapping, as [file] encoding, or save it as UTF-8"
                told = f"is not {encoding}: {error.reason}"
                raise InputError(told, file=path, hint=hint) from None
        if first:
            for mark, name in _FOREIGN.items():
                if chunk.startswith(mark):
                    raise InputError(f"the text is {name}", file=path, line=1, hint=SAVE_AS_UTF_8)
            chunk = chunk.removeprefix(_MARK)
            first = False
        whole, end, rest = (rest + chunk).rpartition(b"\n")
        if end:
            line += whole.count(b"\n") + 1
            block = whole + end
            yield block.replace(b"\r\n", b"\n") if b"\r" in block else block
        if len(rest) > LONGEST_LINE_BYTES and rest.strip(b"\0"):
            raise InputError(
                f"there is no line end in {LONGEST_LINE_BYTES} bytes",
                file=path,
                line=line,
                hint="a log has one row a line, ended by a line feed",
            )
    text = rest.strip(b"\0 \r\n")
    if text:
        torn.note = (
            f"{path.name}: line {line} has no end and was left out: "
            f"{text[:40].decode('utf-8', 'replace')!r}"
        )


def _read(file: IO[bytes], size: int, torn: Torn) -> bytes:
    some = getattr(file, "read1", None)
    if some is None or isinstance(file, BufferedReader):
        return file.read(size)
    parts: list[bytes] = []
    got = 0
    try:
        # In small reads: what was unpacked before a stream ends too early is not lost.
        while got < size and (part := some(min(size - got, 1 << 20))):
            parts.append(part)
            got += len(part)
    except EOFError:
        torn.note = "the compressed file ends early; what could be unpacked was read"
    return b"".join(parts)
