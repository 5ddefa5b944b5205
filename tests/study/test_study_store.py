"""The folder of a study: nothing half written is taken for whole, and nobody else writes into it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from harness.errors import InputError
from harness.study import compaction
from harness.study.space import needed_bytes
from harness.study.store import Folder
from tests.journeys.command_line import ROOT, environment
from tests.study.cheap_work import ARMS, item_of, two_banks

pa = pytest.importorskip("pyarrow")
parquet = pytest.importorskip("pyarrow.parquet")


def filled(path: Path, items: int, *, of: int | None = None, fingerprint: str = "abc") -> Path:
    with Folder(path, fingerprint, of or items, resume=False) as folder:
        for item in range(items):
            folder.add(item, two_banks(item))
    return path


def refused(path: Path, *, fingerprint: str = "abc", items: int = 4, resume: bool = True) -> str:
    with pytest.raises(InputError) as caught:
        Folder(path, fingerprint, items, resume=resume)
    return str(caught.value).replace(f"{path}", "FOLDER")


def part(path: Path, item: int) -> Path:
    return path / "parts" / f"{item:08d}.parquet"


def test_what_is_there_is_known_again(tmp_path: Path) -> None:
    path = filled(tmp_path / "new" / "study", 2, of=4)
    with Folder(path, "abc", 4, resume=True) as folder:
        assert list(folder.missing()) == [2, 3]
        assert (folder.done, folder.damaged, folder.complete) == (2, (), False)


def test_rows_come_back_as_they_were(tmp_path: Path) -> None:
    with Folder(tmp_path, "abc", 3, resume=False) as folder:
        for item in (2, 0, 1):
            folder.add(item, two_banks(item))
        table = parquet.read_table(folder.compact())
    expected = item_of(6, 6, 0)
    assert table.column_names == list(expected)
    for name, column in expected.items():
        found = table.column(name).to_numpy()
        assert found.dtype == column.dtype
        assert found.tolist() == column.tolist()


def cut_short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-40])


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def one_bit_changed(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[200] ^= 1
    path.write_bytes(content)


def another_item(path: Path) -> None:
    shutil.copy(path.with_name("00000002.parquet"), path)


@pytest.mark.parametrize("damage", [cut_short, emptied, one_bit_changed, another_item])
def test_a_damaged_part_is_named_and_done_again(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    path = filled(tmp_path, 3)
    damage(part(path, 1))
    with Folder(path, "abc", 3, resume=True) as folder:
        (told,) = folder.damaged
        assert told.startswith("parts/00000001.parquet: ")
        assert list(folder.missing()) == [1]
        folder.add(1, two_banks(1))
        table = parquet.read_table(folder.compact())
    assert table.column("value").to_pylist() == item_of(6, 6, 0)["value"].tolist()


def test_a_part_that_was_being_written_is_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path, 1, of=2)
    torn = part(path, 1).with_name("00000001.parquet.unfinished")
    torn.write_bytes(b"PAR1")
    with Folder(path, "abc", 2, resume=True) as folder:
        assert list(folder.missing()) == [1]
        assert not torn.exists()


def test_rows_are_not_mixed_without_being_asked(tmp_path: Path) -> None:
    path = filled(tmp_path, 2, of=4)
    assert refused(path, resume=False) == (
        "FOLDER: holds 2 items of a study already; go on with --resume, or choose another folder"
    )


def test_another_study_is_refused_by_its_text(tmp_path: Path) -> None:
    with Folder(tmp_path, "abc", 4, resume=False) as folder:
        folder.write_study('{"fingerprint": "abc"}')
        with pytest.raises(ValueError, match="not of study abc"):
            folder.write_study('{"fingerprint": "xyz"}')
    assert (tmp_path / "study.json").read_text() == '{"fingerprint": "abc"}'
    for resume in (False, True):
        assert refused(tmp_path, fingerprint="xyz", resume=resume) == (
            "FOLDER/study.json: the folder holds study abc, not study xyz; "
            "choose another folder, or run the study as it was"
        )
    with Folder(tmp_path, "abc", 4, resume=False) as folder:
        assert folder.done == 0


@pytest.mark.parametrize("text", ["", "[1]", "{}", "\xff"])
def test_a_text_that_is_no_study_is_left_alone(tmp_path: Path, text: str) -> None:
    (tmp_path / "study.json").write_text(text, encoding="latin-1")
    assert refused(tmp_path).startswith("FOLDER/study.json: is not that of a study; remove it if")
    assert (tmp_path / "study.json").read_text(encoding="latin-1") == text


def test_parts_of_another_study_or_cut_are_refused(tmp_path: Path) -> None:
    path = filled(tmp_path, 1, of=4)
    assert refused(path, fingerprint="xyz") == (
        "FOLDER/parts/00000000.parquet: belongs to study abc, not to study xyz; "
        "choose another folder"
    )
    assert refused(path, items=5) == (
        "FOLDER/parts/00000000.parquet: is one of 4 items, not of 5; "
        "choose another folder, or cut the study as before"
    )


def together(path: Path, banks: int, an_item: int) -> bytes:
    items = -(-banks // an_item)
    with Folder(path, "abc", items, resume=False) as folder:
        for item in reversed(range(items)):
            folder.add(item, item_of(banks, an_item, item))
        return folder.compact().read_bytes()


def test_the_cut_into_items_leaves_no_trace(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compaction, "ROWS_A_GROUP", 16)
    monkeypatch.setattr(compaction, "_MOST_PIECES", 3)
    found = {together(tmp_path / str(n), 23, n) for n in (1, 2, 5, 7, 16, 23, 40)}
    assert len(found) == 1
    metadata = parquet.ParquetFile(pa.BufferReader(found.pop())).metadata
    rows = [metadata.row_group(k).num_rows for k in range(metadata.num_row_groups)]
    assert rows == [16, 16, 16, 16, 23 * ARMS - 64]


def test_a_finished_study_needs_no_parts(tmp_path: Path) -> None:
    path = filled(tmp_path, 3)
    with Folder(path, "abc", 3, resume=True) as folder:
        before = folder.compact().read_bytes()
        folder.drop_parts()
    assert sorted(file.name for file in path.iterdir()) == ["banks.parquet"]
    with Folder(path, "abc", 3, resume=True) as folder:
        assert (folder.complete, folder.done, list(folder.missing())) == (True, 3, [])
        folder.drop_parts()
        assert folder.compact().read_bytes() == before
    assert refused(path, resume=False) == (
        "FOLDER: holds the rows of a study already; go on with --resume, or choose another folder"
    )
    assert refused(path, fingerprint="xyz", items=3) == (
        "FOLDER/banks.parquet: belongs to study abc, not to study xyz; choose another folder"
    )


def test_a_table_that_lacks_items_does_not_end_the_study(tmp_path: Path) -> None:
    with Folder(tmp_path, "abc", 3, resume=False) as folder:
        folder.add(0, two_banks(0))
        folder.add(2, two_banks(2))
        with pytest.raises(InputError, match=r"1 items are missing, the first is 1; go on with"):
            folder.compact()
        folder.compact(left_out=(1,))
        folder.drop_parts()
        assert part(tmp_path, 2).exists()
    with Folder(tmp_path, "abc", 3, resume=True) as folder:
        assert list(folder.missing()) == [1]
        folder.add(1, two_banks(1))
        table = parquet.read_table(folder.compact())
    assert table.column("bank").to_pylist() == item_of(6, 6, 0)["bank"].tolist()


def test_a_damaged_table_is_made_again_from_what_is_there(tmp_path: Path) -> None:
    path = filled(tmp_path, 2)
    with Folder(path, "abc", 2, resume=True) as folder:
        whole = folder.compact().read_bytes()
    cut_short(path / "banks.parquet")
    with Folder(path, "abc", 2, resume=True) as folder:
        (told,) = folder.damaged
        assert told.startswith("banks.parquet: ")
        assert folder.compact().read_bytes() == whole


def test_a_part_that_is_damaged_meanwhile_is_named(tmp_path: Path) -> None:
    path = filled(tmp_path, 2)
    with Folder(path, "abc", 2, resume=True) as folder:
        cut_short(part(path, 1))
        with pytest.raises(InputError, match=r"00000001.parquet: is damaged: .*done again"):
            folder.compact()
    assert sorted(file.name for file in path.iterdir()) == ["parts"]


def test_items_of_different_columns_are_not_joined(tmp_path: Path) -> None:
    with Folder(tmp_path, "abc", 2, resume=False) as folder:
        folder.add(0, two_banks(0))
        folder.add(1, {"bank": two_banks(1)["bank"]})
        with pytest.raises(InputError, match="an item has the columns bank int64, the first bank"):
            folder.compact()


def test_columns_of_no_use_are_refused(tmp_path: Path) -> None:
    rows = two_banks(0)
    with Folder(tmp_path, "abc", 1, resume=False) as folder:
        for columns in ({}, {**rows, "value": rows["value"][:2]}, {"bank": rows["bank"][:0]}):
            with pytest.raises(ValueError, match="all of one shape"):
                folder.add(0, columns)
        assert folder.done == 0


def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path) -> None:
    with Folder(tmp_path, "abc", 2, resume=False) as folder:
        folder.add(0, two_banks(0))
        full = part(tmp_path, 1).with_name("00000001.parquet.unfinished")
        # A device on which there never is any room.
        full.symlink_to("/dev/full")
        with pytest.raises(InputError) as caught:
            folder.add(1, two_banks(1))
        assert str(caught.value) == f"{part(tmp_path, 1)}: no space is left on the disk; make room"
        assert list(folder.missing()) == [1]
        folder.add(1, two_banks(1))
        (tmp_path / "banks.parquet.unfinished").symlink_to("/dev/full")
        with pytest.raises(InputError, match=r"banks.parquet: no space is left on the disk"):
            folder.compact()
        assert sorted(file.name for file in tmp_path.iterdir()) == ["parts", "running.lock"]
        assert folder.compact().exists()


def test_too_little_room_is_told_before_anything_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Folder(tmp_path, "abc", 1000, resume=False) as folder:
        folder.check_space(rows_an_item=60, columns=27)
        with pytest.raises(InputError) as caught:
            folder.check_space(rows_an_item=60_000_000_000, columns=27)
        assert "the study needs 25,945 TB on this disk, and " in str(caught.value)
        free = SimpleNamespace(free=needed_bytes(1000, 60, 27))
        monkeypatch.setattr(shutil, "disk_usage", lambda _: free)
        folder.check_space(60, 27)
        with pytest.raises(InputError, match="make room"):
            folder.check_space(60, 28)


@pytest.mark.parametrize(("banks", "an_item"), [(40, 1), (60, 20), (500, 500)])
def test_the_room_that_is_reckoned_is_enough_and_not_wild(
    tmp_path: Path, banks: int, an_item: int
) -> None:
    items = banks // an_item
    with Folder(tmp_path, "abc", items, resume=False) as folder:
        for item in range(items):
            # As many columns as a study has, all of numbers that do not compress.
            values = item_of(banks, an_item, item)["value"]
            folder.add(item, {f"column_{k}": values for k in range(27)})
        folder.compact()
    taken = sum(file.stat().st_blocks * 512 for file in tmp_path.rglob("*.parquet"))
    assert taken <= needed_bytes(items, an_item * ARMS, 27) <= 3 * taken


HOLDING = """
import sys
from pathlib import Path
from types import SimpleNamespace
from harness.study.store import Folder

folder = Folder(Path(sys.argv[1]), "abc", 4, resume=True)
print("held", flush=True)
sys.stdin.read()
"""


def test_two_runs_do_not_share_a_folder(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLDING, str(tmp_path)],
        cwd=ROOT,
        env=environment(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        told = refused(tmp_path)
        assert told.startswith(f"FOLDER: process {other.pid} on ")
        assert told.endswith(
            " is running a study in it; wait until it has ended, or choose another folder"
        )
        other.kill()
    # What a killed run leaves behind is in nobody's way.
    assert (tmp_path / "running.lock").exists()
    with Folder(tmp_path, "abc", 4, resume=True) as folder:
        assert folder.done == 0
        assert refused(tmp_path).startswith(f"FOLDER: process {os.getpid()} on ")
    assert not (tmp_path / "running.lock").exists()


def test_a_folder_that_cannot_be_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert refused(tmp_path / "file") == (
        "FOLDER: cannot be written: File exists; choose another folder"
    )
    assert "Not a directory" in refused(tmp_path / "file" / "below")


def test_without_pyarrow_it_is_told_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    assert refused(tmp_path) == ("a study needs pyarrow; pip install 'fullproof[parquet]'")
