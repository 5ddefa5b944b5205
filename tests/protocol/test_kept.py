"""What is kept of a stream that may never end."""

from __future__ import annotations

import pytest

from harness.attach.kept import Kept, shortened


@pytest.mark.parametrize("chunk", [1, 3, 8, 100])
def test_the_first_and_the_last_part_are_kept(chunk: int) -> None:
    kept = Kept(part_bytes=4)
    stream = b"abcdefghijklmnop"
    for start in range(0, len(stream), chunk):
        kept.add(stream[start : start + chunk])
    assert kept.text == "abcd\n[… 8 bytes …]\nmnop"


@pytest.mark.parametrize("stream", [b"", b"abc", b"abcdefgh"])
def test_a_short_stream_is_kept_whole(stream: bytes) -> None:
    kept = Kept(part_bytes=4)
    kept.add(stream)
    assert kept.text == stream.decode()


def test_what_is_no_text_can_be_shown() -> None:
    kept = Kept()
    kept.add(b"\xff\x00ok")
    assert kept.text == "\ufffd\x00ok"
    assert shortened(b'{"seq":\xff}\r\n') == '{"seq":\\xff}'


def test_a_long_line_is_shortened_in_the_middle() -> None:
    line = b"a" * 600 + b"b" * 5000 + b"c" * 200 + b"\n"
    assert shortened(line) == "a" * 600 + " [… 5000 bytes …] " + "c" * 200
    assert shortened(b"a" * 800) == "a" * 800
