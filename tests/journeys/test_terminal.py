"""What only a terminal gets: colours and a progress bar."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
import threading
from pathlib import Path

from tests.journeys.command_line import environment

COLOUR = re.compile(r"\x1b\[[0-9;]*3[0-9]")


def on_terminal(folder: Path, *arguments: str, **changes: str) -> tuple[int, str, str]:
    """Run a command whose standard output and error are terminals of their own."""
    ends = [pty.openpty() for _ in range(2)]
    told = ["", ""]

    def listen(place: int) -> None:
        heard = b""
        try:
            while chunk := os.read(ends[place][0], 65536):
                heard += chunk
        except OSError:
            pass  # how Linux says that the other end is closed
        told[place] = heard.decode()

    process = subprocess.Popen(
        [sys.executable, "-m", "harness.cli.main", *arguments],
        cwd=folder,
        env=environment(TERM="xterm-256color", **changes),
        stdin=subprocess.DEVNULL,
        stdout=ends[0][1],
        stderr=ends[1][1],
    )
    for _, theirs in ends:
        os.close(theirs)
    listeners = [threading.Thread(target=listen, args=(place,)) for place in range(2)]
    for listener in listeners:
        listener.start()
    code = process.wait(timeout=120)
    for listener in listeners:
        listener.join()
    for ours, _ in ends:
        os.close(ours)
    return code, told[0], told[1]


def test_a_terminal_gets_colours_and_a_bar_that_is_gone_at_the_end(tmp_path: Path) -> None:
    code, out, err = on_terminal(tmp_path, "verify", "ref", "--select", "entry/*")
    assert code == 0
    assert COLOUR.search(out)
    assert re.search(r"\d+/\d+", err)
    assert "entry/" in err
    assert err.endswith("\x1b[2K")
    assert "entry/" not in out.partition("controller")[0]


def test_no_color_is_respected(tmp_path: Path) -> None:
    code, out, _ = on_terminal(tmp_path, "verify", "ref", "--select", "entry/*", NO_COLOR="1")
    assert code == 0
    assert "conforms" in out
    assert not COLOUR.search(out)
