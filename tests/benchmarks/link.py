"""The line protocol against a bare echo of the same bytes, and the commands as a user waits for them."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

import numpy as np

from ctrl.settings import Settings
from harness.attach.program import ProgramAttachment
from harness.run import Trace

ROOT = Path(__file__).parents[2]
PIPE = 60_000

ECHO = r"""
#include <unistd.h>
static char bytes[1 << 16];
int main(void) {
    ssize_t got;
    while ((got = read(0, bytes, sizeof bytes)) > 0)
        for (ssize_t put = 0; put < got;) put += write(1, bytes + put, got - put);
    return 0;
}
"""

# Answers as a controller does that takes no time to decide: one row of the usual length a row.
PARROT = r"""
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
static char line[1 << 22], out[1 << 22];
static const char hello[] = "\"protocol\":1,\"name\":\"parrot\",\"version\":\"1\",\"language\":\"C\","
    "\"features\":[\"soc\",\"full_reset\",\"requests\"]}\n";
static const char columns[] = "\"columns\":[\"stage\",\"soc\",\"full_reset\",\"voltage_request_v\","
    "\"current_request_a\"],\"rows\":[";
static const char row[] = "[\"absorption\",0.52479166666674,false,56.123,100.25],";
int main(void) {
    while (fgets(line, sizeof line, stdin)) {
        char *end = out + sprintf(out, "{\"seq\":%d,", atoi(line + 7));
        if (strstr(line, "\"do\":\"hello\"")) {
            end += sprintf(end, "%s", hello);
        } else if (strstr(line, "\"do\":\"run\"")) {
            end += sprintf(end, "%s", columns);
            for (char *at = strstr(line, "\"rows\":[") + 8; (at = strchr(at, ']')) && at[1] != '}'; at++) {
                memcpy(end, row, sizeof row - 1);
                end += sizeof row - 1;
            }
            end += sprintf(end - 1, "]}\n") - 1;
        } else if (strstr(line, "\"do\":\"stop\"")) {
            return 0;
        } else {
            end += sprintf(end, "\"ok\":true}\n");
        }
        fwrite(out, 1, end - out, stdout);
        fflush(stdout);
    }
    return 0;
}
"""


def compiled(source: str, folder: Path, name: str) -> Path:
    """A C program made of `source`; raises `subprocess.CalledProcessError` where it cannot be."""
    written = folder / f"{name}.c"
    written.write_text(source)
    program = folder / name
    command = ["cc", "-std=c11", "-O2", "-o", str(program), str(written), "-lm"]
    subprocess.run(command, check=True, capture_output=True)
    return program


class Conversation:
    """A program that answers without thinking, attached, and an echo of the same bytes.

    The same bytes are those of both directions, in one go a message. Both run on one
    core, where there is a choice: to wake another costs more than either does.
    """

    def __init__(self, folder: Path, rows: int, rows_a_message: int) -> None:
        t = np.arange(float(rows))
        self.trace = Trace(t, 54.0 + 2.0 * np.sin(t / 500.0), 30.0 * np.cos(t / 900.0))
        self.cores = os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else None
        if self.cores:
            os.sched_setaffinity(0, {min(self.cores)})
        parrot = compiled(PARROT, folder, "parrot")
        self.attachment = ProgramAttachment("exec:parrot", [str(parrot)], 60.0)
        self.attachment.rows_a_message = rows_a_message
        self.lines: list[bytes] = []
        self.attachment.listener = lambda sent, received: self.lines.append(sent + received)
        self.with_program()
        self.attachment.listener = None
        echo = compiled(ECHO, folder, "echo")
        self.echo = subprocess.Popen(
            [str(echo)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0
        )

    def __enter__(self) -> Conversation:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.attachment.close()
        self.echo.kill()
        self.echo.communicate()
        if self.cores:
            os.sched_setaffinity(0, self.cores)

    def with_program(self) -> int:
        """Start the program and run the trace; the number of rows answered."""
        self.attachment.start(Settings(), 0.5)
        return len(self.attachment.run(self.trace))

    def with_echo(self) -> int:
        """Send all that was said to the echo and read it back, in pieces that fit a pipe."""
        assert self.echo.stdin is not None
        assert self.echo.stdout is not None
        into, out = self.echo.stdin.fileno(), self.echo.stdout.fileno()
        for line in self.lines:
            for begin in range(0, len(line), PIPE):
                piece = line[begin : begin + PIPE]
                os.write(into, piece)
                missing = len(piece)
                while missing:
                    missing -= len(os.read(out, missing))
        return len(self.lines)


def seconds(call: Callable[[], object]) -> float:
    """How long one call takes, s."""
    begin = time.perf_counter()
    call()
    return time.perf_counter() - begin


def command_seconds(folder: Path, *arguments: str) -> float:
    """How long a user waits for `fullproof` with nothing kept from before, s."""
    environment = os.environ | {"XDG_CACHE_HOME": str(folder)}
    command = [sys.executable, "-c", "from harness.cli.main import run; run()", *arguments]
    begin = time.perf_counter()
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, check=False)
    taken = time.perf_counter() - begin
    if done.returncode != 0:
        raise RuntimeError(f"fullproof {' '.join(arguments)} ended with {done.returncode}")
    return taken
