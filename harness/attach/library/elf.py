"""What stands at the head of a library file, read without loading it."""

from __future__ import annotations

import struct
import sys
from pathlib import Path

from attrs import frozen

from harness.attach.base import AttachError

MACHINES = {3: "32-bit x86", 40: "32-bit ARM", 62: "x86-64", 183: "64-bit ARM", 243: "RISC-V"}
_RELOCATABLE, _EXECUTABLE, _SHARED = 1, 2, 3
_LOAD, _DYNAMIC = 1, 2
_NEEDED, _STRINGS = 1, 5


@frozen
class Library:
    """What the head of an ELF file says.

    Attributes:
        machine: for which processor: the number of the standard.
        bits: 32 or 64.
        needed: the libraries that it needs, by their names.
    """

    machine: int
    bits: int
    needed: tuple[str, ...]


def library_of(path: Path) -> Library:
    """Read the head of a shared library for this machine.

    Raises:
        AttachError: there is none, it is something else, or it is for another machine.
    """
    if path.is_dir():
        raise AttachError("it is a folder", file=path, hint="name the library in it")
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise AttachError(
            "there is no such library", file=path, hint=f"seen from {Path.cwd()}; is it built?"
        ) from None
    except OSError as error:
        raise AttachError(f"it cannot be read: {error.strerror}", file=path) from error
    if not sys.platform.startswith("linux"):
        return Library(0, 0, ())
    try:
        return _library(content, path)
    except (struct.error, IndexError, ValueError):
        raise AttachError(
            f"it is no whole library: its {len(content)} bytes end too early or make no sense",
            file=path,
            hint="build it again",
        ) from None


def _library(content: bytes, path: Path) -> Library:
    if content[:4] != b"\x7fELF":
        raise AttachError(f"it is no library: {_begins(content)}", file=path, hint=_how(content))
    machine, bits, kind = _head(content)
    own_machine, own_bits, _ = _head(Path(sys.executable).read_bytes()[:64])
    if (machine, bits) != (own_machine, own_bits):
        raise AttachError(
            f"it is built for {_machine(machine, bits)}, and this machine is "
            f"{_machine(own_machine, own_bits)}",
            file=path,
            hint="build the controller for this machine, not for the target",
        )
    if kind != _SHARED:
        raise AttachError(
            {
                _RELOCATABLE: "it is an object file, not linked yet",
                _EXECUTABLE: "it is a program, not a library",
            }.get(kind, f"it is no shared library but an ELF file of type {kind}"),
            file=path,
            hint="link it with cc -shared -fPIC",
        )
    return Library(machine, bits, _needed(content, bits))


def _begins(content: bytes) -> str:
    return f"it begins with {content[:8]!r}" if content else "it is empty"


def _how(content: bytes) -> str:
    if content.startswith(b"!<arch>"):
        return "it is a static library; link its objects with cc -shared -fPIC"
    return "a shared library comes from cc -shared -fPIC"


def _machine(machine: int, bits: int) -> str:
    return f"{MACHINES.get(machine, f'machine {machine}')} ({bits} bits)"


def _head(content: bytes) -> tuple[int, int, int]:
    """Machine, bits and type, in the byte order that the file states."""
    order = {1: "<", 2: ">"}.get(content[5], "")
    bits = {1: 32, 2: 64}.get(content[4], 0)
    if not order or not bits:
        raise struct.error
    kind, machine = struct.unpack_from(f"{order}2H", content, 16)
    return machine, bits, kind


def _needed(content: bytes, bits: int) -> tuple[str, ...]:
    """The names of the libraries that it needs; it is for this machine, so of its byte order."""
    word, header, entry = ("I", 28, "=8I") if bits == 32 else ("Q", 32, "=2I6Q")
    (table,) = struct.unpack_from(f"={word}", content, header)
    size, count = struct.unpack_from("=2H", content, 42 if bits == 32 else 54)
    segments = []
    for k in range(count):
        fields = struct.unpack_from(entry, content, table + k * size)
        kind = fields[0]
        offset, address, length = (
            (fields[1], fields[2], fields[4]) if bits == 32 else (fields[2], fields[3], fields[5])
        )
        segments.append((kind, offset, address, length))
    # A file that ends within a segment would end whoever looks at that part of it.
    if any(offset + length > len(content) for kind, offset, _, length in segments if kind == _LOAD):
        raise struct.error
    entries: list[tuple[int, int]] = []
    for kind, offset, _, length in segments:
        if kind == _DYNAMIC:
            end = min(offset + length, len(content))
            pairs = struct.Struct(f"=2{word}")
            entries = [
                pairs.unpack_from(content, at)
                for at in range(offset, end - pairs.size + 1, pairs.size)
            ]
    strings = [value for tag, value in entries if tag == _STRINGS]
    if not strings:
        return ()
    (start,) = (
        offset + strings[0] - address
        for kind, offset, address, length in segments
        if kind == _LOAD and address <= strings[0] < address + length
    )
    return tuple(_text(content, start + value) for tag, value in entries if tag == _NEEDED)


def _text(content: bytes, start: int) -> str:
    return content[start : content.index(b"\0", start)].decode()
