"""A program in a process group of its own: lines out, lines in, and never longer than a limit."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import weakref
from collections.abc import Mapping, Sequence
from contextlib import suppress
from time import monotonic

from harness.attach.kept import Kept

READ_BYTES = 65536
# An answer of 1,000 rows has about 60 kB; who goes on without a line end is stopped here.
LONGEST_LINE_BYTES = 4 * 1024 * 1024
# A forked child can hold the pipes open after the program has died, so that no end of file tells
# of its death: this often it is asked whether it still lives.
ALIVE_CHECK_S = 0.2
ALIVE_CHECK_MS = 1000.0 * ALIVE_CHECK_S


class NoAnswer(Exception):  # noqa: N818  an outcome, not an error of ours
    """No complete line came.

    Attributes:
        partial: what came of the line.
        status: exit status of the program, negative for a signal; None while it lives.
        reason: `limit`, `exited`, `closed` (its standard output), `endless` (a line too long), or
            `noisy` (more printed on standard error than it may).
    """

    def __init__(self, reason: str, partial: bytes, status: int | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.partial = partial
        self.status = status


class Process:
    """A running program. Whatever it does, no call here waits longer than its limit.

    Attributes:
        stderr: what it has printed on standard error so far.
        unread: what came after the last line that was taken.
    """

    def __init__(
        self,
        command: Sequence[str],
        *,
        environment: Mapping[str, str] | None = None,
        folder: str | None = None,
        descriptors: Sequence[int] = (),
        most_printed: int | None = None,
    ) -> None:
        """Start the program.

        Args:
            command: the program and its arguments.
            environment: its environment variables; None for those of this process.
            folder: where it runs; None for the folder of this process.
            descriptors: open files that it inherits.
            most_printed: how many bytes it may print on standard error during one answer; None
                for no limit.

        Raises:
            OSError: it cannot be started.
        """
        self.stderr = Kept()
        self._popen = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            start_new_session=True,
            env=environment,
            cwd=folder,
            pass_fds=descriptors,
        )
        self._most_printed = most_printed
        self._printed = 0
        pipes = (self._popen.stdin, self._popen.stdout, self._popen.stderr)
        self._stdin, self._stdout, self._stderr = (pipe.fileno() for pipe in pipes if pipe)
        for descriptor in (self._stdin, self._stdout, self._stderr):
            os.set_blocking(descriptor, False)
        self._poll = select.poll()
        self._poll.register(self._stdout, select.POLLIN)
        self._poll.register(self._stderr, select.POLLIN)
        self._open = True
        self.unread = bytearray()
        self._end_of_group = weakref.finalize(self, _end_group, self._popen)

    @property
    def pid(self) -> int:
        """The id of the process and of its group."""
        return self._popen.pid

    def ask(self, line: bytes, limit_s: float) -> bytes:
        """Write one line and read one line, its end included.

        Raises:
            NoAnswer: no complete line within the limit, and why.
        """
        deadline = monotonic() + limit_s
        self._printed = 0
        rest = self._write(line)
        if not rest and not self.unread:
            # Nearly always the answer is one chunk, and the only thing that comes.
            ready = self._poll.poll(1000.0 * limit_s if limit_s < ALIVE_CHECK_S else ALIVE_CHECK_MS)
            if len(ready) == 1 and ready[0][0] == self._stdout:
                chunk = os.read(self._stdout, READ_BYTES)
                if chunk and chunk.find(b"\n") == len(chunk) - 1:
                    return chunk
                self._take(self._stdout, chunk)
        return self._patiently(rest, deadline)

    def _patiently(self, rest: bytes, deadline: float) -> bytes:
        """Write the rest of a message and read a line, whatever the program does meanwhile."""
        if rest:
            self._poll.register(self._stdin, select.POLLOUT)
        quiet = False
        try:
            while True:
                # A line that comes before the message is read in full waits for the rest.
                end = 0 if rest else self.unread.find(b"\n") + 1
                if end:
                    answer = bytes(self.unread[:end])
                    del self.unread[:end]
                    return answer
                left_s = deadline - monotonic()
                self._give_up(left_s, quiet=quiet)
                ready = self._poll.poll(1000.0 * min(left_s, ALIVE_CHECK_S))
                quiet = not ready
                for descriptor, _ in ready:
                    if descriptor == self._stdin:
                        rest = self._write(rest)
                        if not rest:
                            self._poll.unregister(self._stdin)
                    else:
                        self._read(descriptor)
        finally:
            if rest:
                self._poll.unregister(self._stdin)

    def farewell(self, line: bytes, limit_s: float) -> int | None:
        """Write one line, close the pipe and wait for the end of the program.

        Returns:
            The exit status, negative for a signal; None when it still lives at the limit.
        """
        self._write(line)
        # A wrapper such as tee or ssh ends only with its own input.
        if self._popen.stdin:
            self._popen.stdin.close()
        return self._status_within(limit_s)

    def kill(self) -> None:
        """End the whole process group and close the pipes; what stood on standard error is kept."""
        if not self._end_of_group.alive:
            return
        self._end_of_group()
        self._drain(0.0)
        for pipe in (self._popen.stdin, self._popen.stdout, self._popen.stderr):
            if pipe:
                with suppress(OSError):
                    pipe.close()

    def _write(self, data: bytes) -> bytes:
        """Write what fits into the pipe now; returns the rest."""
        try:
            written = os.write(self._stdin, data)
        except BlockingIOError:
            return data
        except BrokenPipeError:
            return b""  # reading finds out why
        return data[written:] if written < len(data) else b""

    def _read(self, descriptor: int) -> None:
        try:
            chunk = os.read(descriptor, READ_BYTES)
        except BlockingIOError:
            return
        self._take(descriptor, chunk)

    def _take(self, descriptor: int, chunk: bytes) -> None:
        """Sort in what was read; nothing means the end of the stream."""
        if not chunk:
            self._poll.unregister(descriptor)
            self._open = self._open and descriptor != self._stdout
        elif descriptor == self._stderr:
            self.stderr.add(chunk)
            self._printed += len(chunk)
        else:
            self.unread += chunk

    def _give_up(self, left_s: float, *, quiet: bool) -> None:
        """Raise `NoAnswer` where no line can come any more."""
        if not self._open:
            status = self._status_within(max(left_s, 0.0))
            raise NoAnswer("closed" if status is None else "exited", bytes(self.unread), status)
        if len(self.unread) > LONGEST_LINE_BYTES:
            raise NoAnswer("endless", bytes(self.unread))
        if self._most_printed is not None and self._printed > self._most_printed:
            raise NoAnswer("noisy", bytes(self.unread))
        if quiet and (status := self._popen.poll()) is not None:
            self._drain(0.0)
            if b"\n" not in self.unread:
                raise NoAnswer("exited", bytes(self.unread), status)
        if left_s <= 0:
            raise NoAnswer("limit", bytes(self.unread))

    def _status_within(self, limit_s: float) -> int | None:
        """The exit status, waited for; what the program prints meanwhile is taken off its pipes."""
        deadline = monotonic() + limit_s
        wait_s = 0.0005
        while (status := self._popen.poll()) is None and monotonic() < deadline:
            self._drain(wait_s)
            wait_s = min(2 * wait_s, 0.02)
        self._drain(0.0)
        return status

    def _drain(self, wait_s: float) -> None:
        """Take what the program has printed, a bounded part of it."""
        for _ in range(32):
            ready = self._poll.poll(1000.0 * wait_s)
            for descriptor, _ in ready:
                self._read(descriptor)
            if len(self.unread) > LONGEST_LINE_BYTES:
                del self.unread[LONGEST_LINE_BYTES:]
            if not ready:
                return
            wait_s = 0.0


def _end_group(popen: subprocess.Popen[bytes]) -> None:
    # The group outlives its leader while one child lives; its number is not given away before.
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(popen.pid, signal.SIGKILL)
    with suppress(subprocess.TimeoutExpired):
        popen.wait(timeout=5.0)
