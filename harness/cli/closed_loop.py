"""What the commands that run a bank in closed loop have in common: scenario, controllers, progress."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ctrl.errors import nearest
from harness.cli.bar import bar
from harness.errors import InputError

if TYPE_CHECKING:
    from harness.verdict import CaseVerdict
    from harness.world.result import Result
    from harness.world.scenario import Scenario

REFERENCE = "ref"
PICTURES = (".png", ".svg")
_OF_A_PACK = re.compile(r"([^=:]+)=(.+)", re.DOTALL)
_STARTING = "starting; the first time the loop is compiled, which takes about a minute"


def given_scenario(name: str) -> Scenario:
    """A shipped scenario by its name, or one in a file.

    Raises:
        InputError: there is no such scenario, or its file describes none.
    """
    from harness.world.scenario import SUFFIX, shipped, shipped_names
    from harness.world.scenario_file import read

    path = Path(name)
    if name in shipped_names():
        return shipped(name)
    if path.is_dir():
        raise InputError("is a folder", file=path, hint="name one scenario in it")
    if path.exists():
        return read(path)
    if path.suffix == SUFFIX:
        raise InputError("there is no such file", file=path, hint=f"seen from {Path.cwd()}")
    return shipped(name)


def given_run(name: str, *, hours: float | None, seed: int | None) -> tuple[Scenario, bool]:
    """A scenario as it is to run, and whether that is shorter than it is by itself.

    Args:
        name: as in `given_scenario`.
        hours: run no longer than that, h; None for all of it.
        seed: of the random numbers; None for the scenario's own.

    Raises:
        InputError: there is no such scenario, or its file describes none.
    """
    from harness.world.scenario import changed

    whole = changed(given_scenario(name), hours=None, seed=seed)
    cut = hours is not None and 3600.0 * hours < whole.world.duration_s
    return (changed(whole, hours=hours) if cut else whole), cut


def judged_packs(result: Result, tolerance_s: float) -> tuple[CaseVerdict | None, ...]:
    """What is said of the controller of each pack; None where it was never asked.

    Args:
        result: of the run.
        tolerance_s: declared tolerance of the controllers' clocks, s.
    """
    from harness.world.as_case import judge_pack

    return tuple(
        judge_pack(result, p, tolerance_s=tolerance_s)
        if pack.samples is not None and len(pack.samples)
        else None
        for p, pack in enumerate(result.packs)
    )


def tell_written(places: Sequence[Path]) -> None:
    """Say on standard error which files were written."""
    for place in places:
        click.echo(f"written: {place}", err=True)


def controller_specs(controllers: Sequence[str], packs: Sequence[str]) -> tuple[str, ...]:
    """How the controller of each pack is named.

    Raises:
        InputError: a pack that there is not, or one that is told twice.
    """
    for_all, of_pack = REFERENCE, dict[int, str]()
    told_for_all = False
    for text in controllers:
        found = _OF_A_PACK.fullmatch(text)
        if found is None:
            if told_for_all:
                raise InputError(
                    f"two controllers for every pack, {for_all!r} and {text!r}",
                    column="--controller",
                    hint="PACK=SPEC names the controller of one pack",
                )
            for_all, told_for_all = text, True
            continue
        k = _pack_index(found[1], packs)
        if k in of_pack:
            raise InputError(
                f"two controllers for the pack {packs[k]}", column="--controller", hint="name one"
            )
        of_pack[k] = found[2]
    return tuple(of_pack.get(k, for_all) for k in range(len(packs)))


def _pack_index(told: str, packs: Sequence[str]) -> int:
    if told in packs:
        return packs.index(told)
    if told.isdigit() and 1 <= int(told) <= len(packs):
        return int(told) - 1
    raise InputError(
        f"there is no pack {told!r}",
        column="--controller",
        hint=f"{nearest(told, packs)} or a number from 1 to {len(packs)}",
    )


@contextmanager
def told_progress(scenario: Scenario) -> Iterator[Callable[[float], None]]:
    """A bar that tells how far the world has run; what is given takes the time that was run, s."""
    from harness.world.daytime import DAY_S, written

    parts, world = 100, scenario.world
    with bar(parts) as advance:
        advance(_STARTING)
        done = 0

        def progress(t: float) -> None:
            nonlocal done
            now_s = world.start_s + t
            while done < parts * t / world.duration_s:
                done += 1
                advance(f"day {int(now_s // DAY_S) + 1}, {written(now_s)}")

        yield progress


def refuse_unwritable_folder(folder: str | None) -> None:
    """Raise `InputError` where a folder to write into is something else."""
    if folder and Path(folder).exists() and not Path(folder).is_dir():
        raise InputError("is no folder", file=folder, hint="name a folder to write into")


def refuse_unpaintable(file: str) -> None:
    """Raise `InputError` where a picture cannot be drawn into a file of this name."""
    from harness.report.bank_panels import refuse_without_library

    if Path(file).suffix.lower() not in PICTURES:
        raise InputError(
            f"is called {Path(file).name!r}",
            file=file,
            hint=f"it must end in {' or '.join(PICTURES)}",
        )
    refuse_without_library()
