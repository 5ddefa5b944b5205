"""The folder of a study: what it is, a part for each item that is done, and the rows of them all.

A part is written whole or not at all, so whatever ends a run, the next one goes on from the parts.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from harness.errors import InputError
from harness.parquet_file import need_arrow
from harness.study import compaction
from harness.study.folder_lock import FolderLock
from harness.study.part_file import (
    FINGERPRINT,
    Columns,
    DamagedPartError,
    read_part,
    write_part,
)
from harness.study.space import check_space, needed_bytes
from harness.study.writing import UNFINISHED, cannot_write, whole_file

STUDY, PARTS, BANKS = "study.json", "parts", "banks.parquet"
_PART = re.compile(r"(\d{8,})\.parquet")


class Folder:
    """The folder of one study, held by this run alone; a context manager that lets go of it.

    Attributes:
        path: where it is.
        fingerprint: of the study.
        items: into how many items it is cut.
        damaged: what could not be used of what was there, with the reasons; it is done again.
    """

    def __init__(self, path: Path, fingerprint: str, items: int, *, resume: bool) -> None:
        """Take the folder; it is made where it is missing.

        Args:
            path: where it is.
            fingerprint: of the study: text that differs for any two studies with other rows.
            items: into how many items it is cut; at least 1.
            resume: go on from what is there; otherwise nothing of a study may be there.

        Raises:
            ValueError: fewer than one item.
            InputError: it cannot be used: another run is in it, it holds another study, it holds
                rows already, it cannot be written; or pyarrow is missing.
        """
        if items < 1:
            raise ValueError(f"{items} items; at least 1")
        need_arrow("a study")
        self.path, self.fingerprint, self.items = path, fingerprint, items
        self.damaged: tuple[str, ...] = ()
        self._done = bytearray(items)
        self._complete = False
        try:
            path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise cannot_write(path, error) from None
        self._lock = FolderLock(path)
        try:
            self._take_in(resume)
        except BaseException:
            self._lock.release()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._lock.release()

    @property
    def _parts(self) -> Path:
        return self.path / PARTS

    @property
    def banks(self) -> Path:
        """Where the rows of all items are once they are put together."""
        return self.path / BANKS

    @property
    def done(self) -> int:
        """How many items are there."""
        return self._done.count(1)

    @property
    def complete(self) -> bool:
        """Whether the rows of all items are put together already."""
        return self._complete

    def missing(self) -> Iterator[int]:
        """The numbers of the items that are not there, ascending."""
        return (item for item in range(self.items) if not self._done[item])

    def _part(self, item: int) -> Path:
        return self._parts / f"{item:08d}.parquet"

    def _take_in(self, resume: bool) -> None:
        self._refuse_other_study()
        for path in (*self.path.glob(f"*{UNFINISHED}"), *self._parts.glob(f"*{UNFINISHED}")):
            path.unlink(missing_ok=True)
        found = sorted(p.name for p in self._parts.glob("*.parquet") if _PART.fullmatch(p.name))
        if not resume:
            if found or self.banks.exists():
                what = f"{len(found)} items of a study" if found else "the rows of a study"
                raise InputError(
                    f"holds {what} already",
                    file=self.path,
                    hint="go on with --resume, or choose another folder",
                )
        else:
            self._take_in_rows(found)
        if not self._complete:
            try:
                self._parts.mkdir(exist_ok=True)
            except OSError as error:
                raise cannot_write(self._parts, error) from None

    def _take_in_rows(self, found: list[str]) -> None:
        self._complete = self._banks_are_whole()
        if self._complete:
            self._done = bytearray(b"\1" * self.items)
            return
        for name in found:
            item = int(name.partition(".")[0])
            try:
                read_part(self._parts / name, self.fingerprint, item, self.items)
            except DamagedPartError as error:
                self.damaged += (f"{PARTS}/{name}: {error}",)
            else:
                self._done[item] = 1

    def _refuse_other_study(self) -> None:
        path = self.path / STUDY
        try:
            found = json.loads(path.read_bytes())["fingerprint"]
        except FileNotFoundError:
            return
        except (OSError, ValueError, KeyError, TypeError):
            hint = "remove it if it is none of yours, or choose another folder"
            raise InputError("is not that of a study", file=path, hint=hint) from None
        if found != self.fingerprint:
            raise InputError(
                f"the folder holds study {found}, not study {self.fingerprint}",
                file=path,
                hint="choose another folder, or run the study as it was",
            )

    def _banks_are_whole(self) -> bool:
        """Whether the rows of all items are there; raises InputError if of another study."""
        if not self.banks.exists():
            return False
        import pyarrow as pa
        from pyarrow import parquet

        try:
            said = parquet.read_schema(self.banks).metadata or {}
        except (pa.ArrowException, OSError) as error:
            self.damaged += (f"{BANKS}: {str(error).splitlines()[0][:120]}",)
            return False
        found = said.get(FINGERPRINT, b"").decode(errors="replace")
        if found != self.fingerprint:
            raise InputError(
                f"belongs to study {found or 'unknown'}, not to study {self.fingerprint}",
                file=self.banks,
                hint="choose another folder",
            )
        return bool(said.get(compaction.LEFT_OUT) == b"0")

    def write_study(self, text: str) -> None:
        """Write what the study is.

        Args:
            text: JSON, an object with the member `fingerprint`.

        Raises:
            ValueError: text with another fingerprint.
            InputError: it cannot be written.
        """
        if json.loads(text)["fingerprint"] != self.fingerprint:
            raise ValueError(f"the text is not of study {self.fingerprint}")
        with whole_file(self.path / STUDY) as file:
            file.write(text.encode())

    def check_space(self, rows_an_item: int, columns: int) -> None:
        """See that what is missing will find room.

        Args:
            rows_an_item: rows of each item, at most.
            columns: of each row.

        Raises:
            InputError: too little is free.
        """
        if not self._complete:
            needed = needed_bytes(self.items, rows_an_item, columns, done=self.done)
            check_space(self.path, needed)

    def add(self, item: int, columns: Columns) -> None:
        """Keep the rows of an item.

        Raises:
            ValueError: columns that are none.
            InputError: they cannot be written.
        """
        write_part(self._part(item), columns, self.fingerprint, item, self.items)
        self._done[item] = 1

    def compact(self, left_out: Collection[int] = ()) -> Path:
        """Put the rows of all items together, in the order of their numbers.

        The bytes depend on the rows and the study alone.

        Args:
            left_out: items that may be missing.

        Returns:
            The file. The parts are still there: see `drop_parts`.

        Raises:
            InputError: an item is missing or damaged, or there is no room on the disk.
        """
        if self._complete:
            return self.banks
        gone = [item for item in self.missing() if item not in left_out]
        if gone:
            raise InputError(
                f"{len(gone)} items are missing, the first is {gone[0]}",
                file=self.path,
                hint="go on with --resume",
            )
        missing = self.items - self.done
        compaction.write_table(self.banks, self._tables(), self.fingerprint, missing)
        self._complete = missing == 0
        return self.banks

    def _tables(self) -> Iterator[Any]:
        for item in range(self.items):
            if self._done[item]:
                try:
                    yield read_part(self._part(item), self.fingerprint, item, self.items)
                except DamagedPartError as error:
                    raise InputError(
                        f"is damaged: {error}",
                        file=self._part(item),
                        hint="go on with --resume: it is done again",
                    ) from None

    def drop_parts(self) -> None:
        """Remove the parts, unless the rows that were put together lack any item."""
        if not self._complete or not self._parts.exists():
            return
        for path in self._parts.iterdir():
            if _PART.fullmatch(path.name):
                path.unlink()
        if not any(self._parts.iterdir()):
            self._parts.rmdir()
