"""`fullproof verify log:FILE`: no controller runs, what was recorded is judged."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from ctrl.settings import Settings
from harness.cli.settings_options import given_settings, is_given, settings_options
from harness.errors import InputError
from harness.report.words import changed_settings, count, number

if TYPE_CHECKING:
    from rich.console import Console

    from harness.report.keeping import Keeping
    from harness.verdict import Report

KIND = "log:"
# The mapping that lies in a folder of logs.
MAPPING = "mapping.toml"
_F = TypeVar("_F", bound=Callable[..., Any])


def is_log(controller: str | None) -> bool:
    """Whether a name on the command line is that of a log and not of a controller."""
    return controller is not None and controller.startswith(KIND)


def log_options(command: _F) -> _F:
    """Add the options of a log; they arrive as `mapping_file` and those of `given_settings`."""
    command = settings_options(command)
    return click.option(
        "--mapping",
        "mapping_file",
        metavar="FILE",
        help="With log: only. What the columns of the log are called, as TOML.",
    )(command)


def refuse_mapping(mapping_file: str | None) -> None:
    """Refuse a mapping where a controller is to run; raises `InputError`."""
    if mapping_file:
        raise InputError("--mapping belongs to a log", hint="name one as log:FILE")


def verify_log(
    controller: str,
    console: Console,
    *,
    selected: frozenset[str],
    tolerance_s: float,
    keeping: Keeping | None,
    mapping_file: str | None,
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None = None,
) -> tuple[Report, list[str]]:
    """The verdict on a log, and the names of its packs.

    Args:
        controller: `log:` and a path.
        console: where what was read is told.
        selected: ids of the requirements to judge.
        tolerance_s: declared tolerance of the controller's clock, s.
        keeping: takes the samples around findings; None for nobody.
        mapping_file: how the log is to be read; None for logs that need no mapping, or that lie in a
            folder with one.
        settings_file: settings that the controller ran with.
        cells: see `given_settings`.
        changes: see `given_settings`.
        chemistry: see `given_settings`.

    Raises:
        InputError: the log, the mapping or the settings cannot be used.
    """
    from harness.logs import Log, read_log, read_mapping
    from harness.logs.assembled import identity_of, run_of
    from harness.logs.judged import judge_log

    path = Path(controller.removeprefix(KIND))
    if not controller.removeprefix(KIND):
        raise InputError(f"{KIND} names no file", hint=f"write it as {KIND}FILE")
    beside = path / MAPPING
    if mapping_file is None and beside.is_file():
        mapping_file = str(beside)
    mapping = read_mapping(mapping_file) if mapping_file else None
    log: Log = read_log(path, mapping)
    settings = _settings(log, settings_file, cells, changes, chemistry)
    for pack in log.packs:
        if pack.stage is None:
            raise InputError(
                "the log has no column of stages, and it is they that are judged",
                file=pack.file,
                hint="name it in the mapping, as [columns] stage",
            )
    _tell(console, log, settings)
    report = judge_log(log, settings, spec=controller, selected=selected, tolerance_s=tolerance_s)
    if keeping is not None:
        for pack in log.packs:
            if found := [f for f in report.findings if f.case == pack.name]:
                run = run_of(pack, settings, identity_of(log), 0, len(pack), powered=log.complete)
                keeping(run.case, run, found)
    return report, [pack.name for pack in log.packs]


def _settings(
    log: Any,
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None,
) -> Settings:
    if not is_given(settings_file, cells, changes, chemistry) and log.settings is None:
        raise InputError(
            "by which settings is the log to be judged? It does not hold them",
            hint="give --settings FILE, or --cells 16 where the controller ran with the defaults",
        )
    return given_settings(settings_file, cells, changes, chemistry, base=log.settings)


def _tell(console: Console, log: Any, settings: Settings) -> None:
    from harness.logs.sampling import sampling_of
    from harness.report.console import paragraph

    for pack in log.packs:
        sampling = sampling_of(pack.trace.t, log.gap_s)
        text = f"{pack.name}: {count(len(pack), 'row')}, one every {number(sampling.usual_s)} s"
        if log.start is not None:
            text += f", from {log.start.isoformat(sep=' ', timespec='seconds')}"
        paragraph(console, text)
        for note in pack.notes:
            paragraph(console, f"note: {note}", style="yellow", indent=2)
    paragraph(console, f"judged by: {changed_settings(settings)}")
    if not log.complete:
        paragraph(
            console,
            "The rows are taken to be some of what the controller saw. Where every sample is a row, "
            "[log] complete = true in the mapping lets more be judged.",
            style="dim",
        )
    console.print()
