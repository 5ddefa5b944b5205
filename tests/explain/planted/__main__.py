"""Lists the planted logs, or writes some of them as files.

`python -m tests.explain.planted` prints name, pack, and full resets with and without the cause;
`python -m tests.explain.planted FOLDER NAME...` writes the named ones, each into a folder of its own.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.explain.planted import all_planted, resets_of, resets_without, write


def show() -> None:
    """Run all of them and print one line each."""
    print(f"{'name':<20} {'pack':<7} {'resets':<12} {'without':<12} planted")
    for each in all_planted():
        pack = "-" if each.pack is None else each.world.packs[each.pack].name
        with_it = " ".join(map(str, resets_of(each)))
        without = " ".join(map(str, resets_without(each)))
        print(f"{each.name:<20} {pack:<7} {with_it:<12} {without:<12} {each.story}", flush=True)


def main(arguments: list[str]) -> int:
    """List, or write; returns the exit code."""
    if not arguments:
        show()
        return 0
    folder, *names = arguments
    known = {each.name: each for each in all_planted()}
    lost = [name for name in names if name not in known]
    if lost or not names:
        print(f"FOLDER NAME...; names are {', '.join(known)}", file=sys.stderr)
        return 2
    for name in names:
        write(known[name], Path(folder) / name)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
