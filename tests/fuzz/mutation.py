"""Changes valid files the way that broken tools, editors and hands do: `mutated(data, chance)`.

A change of bytes alone rarely gets past the parser, so most of them know numbers, words, lines and
the trees of JSON and TOML, and leave the rest as it was.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from random import Random
from typing import Any

import tomli_w

Change = Callable[[bytes, Random], bytes]
LARGEST_BYTES = 1 << 20
HOW_MANY = (1, 1, 1, 1, 2, 3)

NUMBERS = (
    *(b"0", b"-1", b"1", b"-0.0", b"0.5", b"1e-320", b"1e308", b"-1e308", b"1e999", b"nan"),
    *(b"-nan", b"inf", b"-inf", b"NaN", b"Infinity", b"null", b"true", b"false", b"''", b'""'),
    *(b"2147483648", b"4294967296", b"-9223372036854775809", b"18446744073709551616"),
    *(b"9" * 400, b"9" * 5000, b"0x10", b"1_000", b"1,5", b"1.5.2", b"+1", b"1e", b".5", b"1d3"),
    *(b"1e18", b"86400", b"0.1", b"100", b"7", b"-40", b"1e9", b"12:30", b"2031-02-30"),
    *(b"2031-02-03T04:05:06Z", b"0001-01-01T00:00:00+14:00", b"9999-12-31T23:59:59-14:00"),
)
WORDS = (
    *(b"", b" ", b"none", b"\xff\xfe", b"\xc3\xa9", b"\xed\xa0\x80", b"\xe2\x80\xa8", b"\x00"),
    *(b"a" * 300, b"ref", b"py:json:x", b"../..", b"/dev/null", b"Europe/Berlin", b"[]", b"{}"),
    *(b"__class__", b"t", b"v", b"\x1b[31m", b"\\u0000", b"\\ud800", b"\\", b"'", b'"', b"#"),
)
VALUES: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 0.5, 1e308, -1e308, 5e-324, float("nan"), float("inf")),
    *(2**31, 2**63, -(2**63) - 1, 2**64, 10**400, 86400, 1e18, "", "none", "x", "\x00", "\ud800"),
    *([], {}, [[]], [None], {"": {}}, [1, 2], ["a", "b"], {"t": 0}, "a" * 300, 10**5),
)
_NUMBER = re.compile(rb"[-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?")
_TOKEN = re.compile(rb"[-+]?\d[\d.eE+-]*|[\w.]+|\"[^\"\n]*\"|[^\w\s]")


def mutated(data: bytes, chance: Random) -> bytes:
    """The data with a few changes, mostly one; the same `chance` makes the same of the same data."""
    for _ in range(chance.choice(HOW_MANY)):
        change = chance.choice(CHANGES)
        data = change(data, chance)[:LARGEST_BYTES]
    return data


def _span(data: bytes, chance: Random, longest: int = 64) -> tuple[int, int]:
    start = chance.randrange(len(data) + 1)
    return start, min(len(data), start + chance.randint(1, longest))


def _replaced(data: bytes, found: list[re.Match[bytes]], by: bytes, chance: Random) -> bytes:
    if not found:
        return data
    place = chance.choice(found)
    return data[: place.start()] + by + data[place.end() :]


def _number(data: bytes, chance: Random) -> bytes:
    return _replaced(data, list(_NUMBER.finditer(data)), chance.choice(NUMBERS), chance)


def _word(data: bytes, chance: Random) -> bytes:
    return _replaced(data, list(_TOKEN.finditer(data)), chance.choice(WORDS + NUMBERS), chance)


def _word_of_the_same(data: bytes, chance: Random) -> bytes:
    found = list(_TOKEN.finditer(data))
    return _replaced(data, found, chance.choice(found)[0], chance) if found else data


def _flip(data: bytes, chance: Random) -> bytes:
    if not data:
        return data
    place = chance.randrange(len(data))
    return data[:place] + bytes([chance.randrange(256)]) + data[place + 1 :]


def _cut_out(data: bytes, chance: Random) -> bytes:
    start, stop = _span(data, chance)
    return data[:start] + data[stop:]


def _twice(data: bytes, chance: Random) -> bytes:
    start, stop = _span(data, chance)
    return data[:stop] + data[start:stop] * chance.choice((1, 2, 50)) + data[stop:]


def _truncate(data: bytes, chance: Random) -> bytes:
    return data[: chance.randrange(len(data) + 1)]


def _insert(data: bytes, chance: Random) -> bytes:
    start, _ = _span(data, chance)
    piece = chance.choice((*WORDS, b"\xef\xbb\xbf", b"\r\n", b"\r", b"\n\n", b";", b",", b"\t"))
    return data[:start] + piece + data[start:]


def _encode(data: bytes, chance: Random) -> bytes:
    text = data.decode("utf-8", "replace")
    codec = chance.choice(("utf-16", "utf-8-sig", "utf-32", "latin-1", "utf-7"))
    return text.encode(codec, "replace")


def _line_ends(data: bytes, chance: Random) -> bytes:
    return data.replace(b"\n", chance.choice((b"\r\n", b"\r", b"\n\n", b"\x0b", b"\x00", b"")))


def _lines(data: bytes, chance: Random) -> bytes:
    lines = data.split(b"\n")
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    match chance.randrange(4):
        case 0:
            lines[one], lines[other] = lines[other], lines[one]
        case 1:
            lines.insert(one, lines[other])
        case 2:
            del lines[one]
        case _:
            lines[one:one] = [lines[other]] * 200
    return b"\n".join(lines)


def _separators(data: bytes, chance: Random) -> bytes:
    old, new = chance.sample((b",", b";", b"\t", b".", b":", b"=", b" "), 2)
    return data.replace(old, new, chance.choice((-1, 1, 3)))


def _nested(data: bytes, chance: Random) -> bytes:
    depth = chance.choice((10, 500, 20_000))
    opening, closing = chance.choice(((b"[", b"]"), (b'{"a":', b"}"), (b"{a=", b"}"), (b"[[", b"")))
    return _replaced(
        data, list(_TOKEN.finditer(data)), opening * depth + b"0" + closing * depth, chance
    )


def _places(tree: Any) -> list[tuple[Any, Any]]:
    """Every container with one of its keys or indices."""
    found: list[tuple[Any, Any]] = []
    waiting = [tree]
    while waiting and len(found) < 2000:
        one = waiting.pop()
        keys = list(one) if isinstance(one, dict) else list(range(len(one)))
        for key in keys:
            found.append((one, key))
            if isinstance(one[key], dict | list):
                waiting.append(one[key])
    return found


def _tree_changed(tree: Any, chance: Random) -> Any:
    places = _places(tree) if isinstance(tree, dict | list) else []
    if not places:
        return chance.choice(VALUES)
    # Few rows of many stand for all, or nothing but rows would ever be changed.
    where, key = chance.choice(places[: chance.choice((20, 100, len(places)))])
    other, another = chance.choice(places)
    match chance.randrange(6):
        case 0 | 1:
            where[key] = chance.choice(VALUES)
        case 2:
            del where[key]
        case 3 if isinstance(where, dict):
            where[chance.choice(("", "x", f"{key}s", "t", "\x00"))] = where[key]
        case 3:
            where.append(where[key])
        case 4:
            value = other[another]
            where[key] = json.loads(json.dumps(value, default=str)) if value is not where else 0
        case _:
            where[key] = [where[key]] if chance.random() < 0.5 else {"x": where[key]}
    return tree


def _json_tree(data: bytes, chance: Random) -> bytes:
    try:
        tree = json.loads(data)
        changed = _tree_changed(tree, chance)
        return json.dumps(changed, ensure_ascii=chance.random() < 0.5).encode("utf-8", "replace")
    except (ValueError, RecursionError):
        return _json_line(data, chance)


def _json_line(data: bytes, chance: Random) -> bytes:
    """A line of a dialogue, where the whole is no one document."""
    lines = data.split(b"\n")
    place = chance.randrange(len(lines))
    try:
        tree = json.loads(lines[place])
        lines[place] = json.dumps(_tree_changed(tree, chance)).encode("utf-8", "replace")
    except (ValueError, RecursionError):
        return data
    return b"\n".join(lines)


def _toml_tree(data: bytes, chance: Random) -> bytes:
    try:
        tree = tomllib.loads(data.decode())
        return tomli_w.dumps(_tree_changed(tree, chance)).encode("utf-8", "replace")
    except (ValueError, TypeError, AttributeError, RecursionError):
        return data


def _tree(data: bytes, chance: Random) -> bytes:
    return _json_tree(data, chance) if data.lstrip()[:1] in b"{[" else _toml_tree(data, chance)


def _repeated_key(data: bytes, chance: Random) -> bytes:
    """The same member or field once more, with another value or its own."""
    lines = data.split(b"\n")
    named = [k for k, line in enumerate(lines) if re.match(rb'\s*["\w]+\s*[:=]', line)]
    if not named:
        return data
    one = chance.choice(named)
    lines.insert(one, _number(lines[one], chance))
    return b"\n".join(lines)


CHANGES: tuple[Change, ...] = (
    *(_number, _number, _word, _word, _word_of_the_same, _flip, _cut_out, _twice, _truncate),
    *(_insert, _encode, _line_ends, _lines, _lines, _separators, _nested, _repeated_key),
    *(_tree, _tree, _tree, _tree),
)
