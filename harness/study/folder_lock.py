"""A folder that one run has to itself, for as long as its process lives."""

from __future__ import annotations

import os
import socket
from pathlib import Path

from harness.errors import InputError
from harness.study.writing import cannot_write

NAME = "running.lock"


class FolderLock:
    """Holds a folder until it is released or its process ends, however it ends."""

    def __init__(self, folder: Path) -> None:
        """Take the folder.

        Raises:
            InputError: another process has it, or it cannot be locked.
        """
        if os.name != "posix":
            raise InputError("studies can be run on Linux and macOS only")
        self._path = folder / NAME
        # The one who had it may remove the file between the moments at which it is opened and locked.
        while True:
            self._descriptor = self._opened()
            if self._is_in_place():
                break
            os.close(self._descriptor)
        text = f"process {os.getpid()} on {socket.gethostname()}\n"
        os.truncate(self._descriptor, 0)
        os.write(self._descriptor, text.encode())

    def _opened(self) -> int:
        import fcntl

        try:
            descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise cannot_write(self._path, error) from None
        try:
            # The system lets go of it when the process ends: nothing is left of one that was killed.
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.read(descriptor, 200).decode(errors="replace").strip() or "another process"
            os.close(descriptor)
            raise InputError(
                f"{holder} is running a study in it",
                file=self._path.parent,
                hint="wait until it has ended, or choose another folder",
            ) from None
        except OSError as error:
            os.close(descriptor)
            raise InputError(
                f"cannot be locked: {error.strerror}",
                file=self._path.parent,
                hint="choose a folder on a disk of this machine",
            ) from None
        return descriptor

    def _is_in_place(self) -> bool:
        try:
            there = self._path.stat()
        except FileNotFoundError:
            return False
        return os.path.samestat(there, os.fstat(self._descriptor))

    def release(self) -> None:
        """Let others have the folder."""
        self._path.unlink(missing_ok=True)
        os.close(self._descriptor)
