"""`fullproof explain`: why a pack was not called full, and what would help."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ctrl.errors import nearest
from ctrl.settings import Settings
from harness.cli import exits
from harness.cli.bar import bar
from harness.cli.outputs import for_people, refuse_unwritable, writing
from harness.cli.settings_options import given_settings, is_given, settings_options
from harness.cli.verify_log import MAPPING
from harness.errors import InputError

if TYPE_CHECKING:
    from harness.logs import Log
    from harness.world.wiring import Lead

_PER_PACK = "NAME=FILE"


@click.command()
@click.argument("log")
@click.option(
    "--mapping", "mapping_file", metavar="FILE", help="What its columns are called, as TOML."
)
@settings_options
@click.option(
    "--pack",
    "of_packs",
    multiple=True,
    metavar=_PER_PACK,
    help="Settings of one pack, where they are not those of the others. Can be repeated.",
)
@click.option(
    "--cable",
    "cables",
    multiple=True,
    metavar="NAME=MM2xM",
    help="The cable to a pack: cross-section and length there and back, as north=35x6.",
)
@click.option(
    "--infer", is_flag=True, help="Read off the log what nobody gives; the rest is asked for."
)
@click.option(
    "--write-mapping",
    "draft_file",
    metavar="FILE",
    help="Write a draft of the mapping of LOG, to be read through, and explain nothing.",
)
@click.option("--days", is_flag=True, help="Tell of every day, not of the one that counts.")
@click.option("--json", "json_file", metavar="FILE", help="Write all of it; - is stdout.")
@click.option("--html", "html_file", metavar="FILE", help="Write one page; - is stdout.")
def command(
    log: str,
    mapping_file: str | None,
    of_packs: tuple[str, ...],
    cables: tuple[str, ...],
    infer: bool,
    draft_file: str | None,
    days: bool,
    json_file: str | None,
    html_file: str | None,
    **settings: Any,
) -> int:
    """Tell why a pack in LOG was not called full, down to a number, and what would help.

    LOG is a CSV or Parquet file with one pack or several, or a folder with one file a pack; there
    mapping.toml is the mapping, and NAME.toml has the settings of the pack NAME. Exit code 0 says
    that every pack is well, 1 that one is not, 3 that nobody can say.
    """
    from harness.report.console import console_for

    if draft_file is not None:
        return _write_draft(Path(log), Path(draft_file))
    refuse_unwritable(json_file, html_file)
    from harness.explain.explained import FINE, explain
    from harness.explain.fixes import fixes
    from harness.explain.reason import Cause
    from harness.logs import read_log, read_mapping
    from harness.report.explained import Story, show_story

    console = console_for(for_people(json_file, html_file))
    beside = _beside(Path(log))
    mapping = mapping_file or beside.get(MAPPING)
    read = read_log(Path(log), read_mapping(mapping) if mapping else None)
    if not (of_packs or is_given(**settings)):
        of_packs = tuple(
            f"{pack.name}={beside[f'{pack.name}.toml']}"
            for pack in read.packs
            if f"{pack.name}.toml" in beside
        )
    own = _settings(read, of_packs, infer, console, **settings)
    leads = dict(_cable(each, [pack.name for pack in read.packs]) for each in cables)
    with bar(len(read.packs) + 1) as advance:
        try:
            explained = explain(read, own, told=advance)
        except ValueError as error:
            raise InputError(str(error), file=log) from None
        advance("what would help")
        found = {
            pack.name: tuple(fixes(explained, explained.main(pack.name)))
            for pack in explained.packs
            if explained.main(pack.name).cause not in FINE
        }
    story = Story(explained, found, leads)
    if json_file:
        from harness.report.explained_json import to_json

        with writing(json_file) as file:
            file.write(to_json(story))
    if html_file:
        from harness.report.explained_page import page

        with writing(html_file) as file:
            file.write(page(story))
    show_story(console, story, every_day=days)
    causes = {explained.main(pack.name).cause for pack in explained.packs}
    if causes <= set(FINE):
        return exits.CONFORMS
    return exits.NOT_JUDGED if causes <= {Cause.UNKNOWN, *FINE} else exits.DOES_NOT_CONFORM


def _write_draft(log: Path, place: Path) -> int:
    """Write a draft of a mapping, and tell what in it is open.

    Raises:
        InputError: the log cannot be read, or there is something in the way.
    """
    from harness.logs.draft import draft
    from harness.logs.read import files_of
    from harness.report.console import console_for, line, paragraph

    if place.exists():
        raise InputError("it is there already", file=place, hint="name a file that is new")
    found = draft(files_of(log)[0])
    with writing(str(place)) as file:
        file.write(found.text)
    console = console_for(sys.stdout)
    paragraph(console, f"Written: {place}. It is guessed: read it through before you go by it.")
    for each in found.unknown:
        paragraph(console, each, indent=2, first="- ")
    console.print()
    beside = place.name == MAPPING and log.is_dir() and place.parent == log
    named = "" if beside else f" --mapping {shlex.quote(str(place))}"
    line(console, f"Next: fullproof explain {shlex.quote(str(log))}{named} --settings FILE")
    return exits.CONFORMS


def _beside(folder: Path) -> dict[str, str]:
    """The TOML files in a folder of logs, by name; none for a log that is a file."""
    return {place.name: str(place) for place in folder.glob("*.toml")} if folder.is_dir() else {}


def _settings(
    log: Log, of_packs: tuple[str, ...], infer: bool, console: Any, **given: Any
) -> dict[str, Settings]:
    """The settings of each pack.

    Raises:
        InputError: a pack that there is not, or a setting that nobody gives.
    """
    names = [pack.name for pack in log.packs]
    files = dict(_named(each, names) for each in of_packs)
    everyone = is_given(**given)
    without = [name for name in names if name not in files]
    if without and not everyone and log.settings is None and not infer:
        raise InputError(
            f"with which settings does {without[0]} run? The log does not hold them",
            hint="give --settings FILE (fullproof settings show > FILE starts one), --pack NAME=FILE,"
            " or --infer to read off what can be seen",
        )
    chosen: dict[str, Settings] = {}
    for pack in log.packs:
        if pack.name in files:
            chosen[pack.name] = given_settings(files[pack.name], None, ())
        elif infer:
            chosen[pack.name] = _inferred(pack, console, **given)
        else:
            chosen[pack.name] = given_settings(
                given["settings_file"],
                given["cells"],
                given["changes"],
                given["chemistry"],
                base=log.settings,
            )
    return chosen


def _cable(text: str, names: list[str]) -> tuple[str, Lead]:
    """The pack and the cable of `north=35x6`.

    Raises:
        InputError: it is not written so, there is no such pack, or no such cross-section.
    """
    from harness.world.wiring import Lead

    name, _, size = text.partition("=")
    mm2, _, length_m = size.partition("x")
    try:
        numbers = float(mm2), float(length_m)
    except ValueError:
        raise InputError(
            f"--cable {text!r} is no cable",
            hint="write it as north=35x6: 35 mm2, 6 m there and back",
        ) from None
    if name not in names:
        raise InputError(f"--cable {name!r}: the log has no such pack", hint=nearest(name, names))
    return name, Lead(length_m=numbers[1], mm2=numbers[0])


def _named(text: str, names: list[str]) -> tuple[str, str]:
    name, equals, file = text.partition("=")
    if not equals or not file:
        raise InputError(f"--pack {text!r} names no file", hint=f"write {_PER_PACK}")
    if name not in names:
        raise InputError(f"--pack {name!r}: the log has no such pack", hint=nearest(name, names))
    return name, file


def _inferred(pack: Any, console: Any, **given: Any) -> Settings:
    from harness.cli.settings_file import read_settings
    from harness.explain.inferred import NEEDED, inferred, missing
    from harness.report.console import paragraph

    known = read_settings(given["settings_file"]) if given["settings_file"] else {}
    known |= dict(change.split("=", 1) for change in given["changes"] if "=" in change)
    if given["cells"] is not None:
        known["cells"] = given["cells"]
    found = inferred(pack, given["chemistry"])
    asked = missing(found, known)
    asks_cells = "cells" in asked and given["chemistry"] is None
    if asked:
        raise InputError(
            f"the log of {pack.name} does not show {', '.join(asked)}",
            hint="give "
            + " ".join("--cells N" if name == "cells" else f"--set {name}=..." for name in asked)
            + (", or --chemistry NAME to count the cells by" if asks_cells else ""),
        )
    seen = {n: e for n, e in found.items() if n not in known and e.sure}
    for each in seen.values():
        spread = "" if each.low == each.high else f" ({each.low:.6g} to {each.high:.6g})"
        mark = "" if each.name in NEEDED else ", not needed"
        paragraph(
            console,
            f"{pack.name}: {each.name} = {each.value:.6g}{spread}, {each.told}"
            f" ({each.times} times){mark}",
            style="dim",
        )
    read = tuple(f"{name}={each.value}" for name, each in seen.items() if name != "cells")
    cells = int(seen["cells"].value) if "cells" in seen else given["cells"]
    return given_settings(
        given["settings_file"], cells, read + given["changes"], given["chemistry"]
    )
