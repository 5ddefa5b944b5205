r"""Bad inputs as data: what lies in the folder, what is called, and what must be said.

Each file in `told` is a subject, each table `[[bad]]` in it one input:

    [[bad]]
    name = "text for a number"
    command = "settings check pack.toml"
    files."pack.toml" = "hold_s = 'an hour'\n"
    exit = 2
    where = "pack.toml: settings"
    right = "it must be a finite number"
    message = "fullproof: pack.toml: settings: hold_s is ..."

`message` is all that is printed. `where` and `right` are the parts of it that say where the fault
lies and what would be right. `{here}` stands for the folder, and `{any}` for words of a library, which
differ from one of its versions to the next.
"""

from __future__ import annotations

import os
import re
import subprocess
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from attrs import Factory, frozen

TOLD = Path(__file__).parent / "told"
Made = Callable[[str, Path], None]


@frozen(kw_only=True)
class BadInput:
    """One bad input and what must be said of it.

    Attributes:
        subject: the name of the file in which it stands.
        name: what is bad, in a few words.
        command: the command line without the program's name, quoted as in a shell.
        exit: the exit code that it must end with.
        where: the part of the message that says where the fault lies.
        right: the part of the message that says what would be right.
        message: what stands on standard error.
        out: what stands on standard output.
        files: text by file name; a name that ends in a slash is a folder.
        executable: the same, for programs.
        binary: bytes as hexadecimal digits by file name.
        build: source in C of a library, by file name.
        links: what a symbolic link points to, by its name.
        made: files that are made by the name of their kind; see `made_files`.
        needs: the library that it cannot be tried without; empty for none.
        real: whether it is called as a process of its own as well.
    """

    subject: str
    name: str
    command: str
    exit: int
    where: str
    right: str
    message: str = ""
    out: str = ""
    files: dict[str, str] = Factory(dict)
    executable: dict[str, str] = Factory(dict)
    binary: dict[str, str] = Factory(dict)
    build: dict[str, str] = Factory(dict)
    links: dict[str, str] = Factory(dict)
    made: dict[str, str] = Factory(dict)
    needs: str = ""
    real: bool = False

    def lay_out(self, folder: Path, make: Made) -> None:
        """Write the files into a folder; `make` writes those of a kind to a path."""
        for name, text in (self.files | self.executable).items():
            place = folder / name
            place.parent.mkdir(parents=True, exist_ok=True)
            if name.endswith("/"):
                place.mkdir()
            else:
                place.write_text(text, encoding="utf-8", newline="")
        for name in self.executable:
            (folder / name).chmod(0o755)
        for name, digits in self.binary.items():
            (folder / name).write_bytes(bytes.fromhex(digits))
        for name, target in self.links.items():
            (folder / name).symlink_to(target)
        for name, source in self.build.items():
            subprocess.run(
                ["cc", "-shared", "-fPIC", "-x", "c", "-", "-o", str(folder / name)],
                input=source.encode(),
                check=True,
            )
        for name, kind in self.made.items():
            make(kind, folder / name)


def bad_inputs() -> list[BadInput]:
    """All of them, by subject."""
    found = []
    for path in sorted(TOLD.glob("*.toml")):
        with path.open("rb") as file:
            tables: list[dict[str, Any]] = tomllib.load(file)["bad"]
        found += [BadInput(subject=path.stem, **table) for table in tables]
    return found


def contents(folder: Path) -> dict[str, bytes | None]:
    """What lies in a folder: bytes by path, None for what is no file."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
        if "__pycache__" not in path.parts
    }


def general(text: str, folder: Path) -> str:
    """A text without what differs from place to place."""
    return text.replace(str(folder), "{here}").replace(os.path.realpath(folder), "{here}")


def fits(text: str, pattern: str) -> bool:
    """Whether a text is what `message` or `out` says."""
    parts = map(re.escape, pattern.split("{any}"))
    return re.fullmatch(".+?".join(parts), text, re.DOTALL) is not None
