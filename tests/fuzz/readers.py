"""Every reader of the project, each with valid examples of what it reads: `READERS`.

A reader takes a file and does with it what a command does before it answers. What is wrong with the
file comes out as one of `OWN_ERRORS`; anything else is a finding.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from attrs import frozen

from ctrl.errors import SettingsError
from harness.attach.base import AttachError, LinkFault
from harness.errors import InputError
from tests.fuzz import dialogue, examples

OWN_ERRORS = (InputError, SettingsError, AttachError, LinkFault)
MOST_SAMPLES = 300


@frozen
class Reader:
    """One reader.

    Attributes:
        suffix: the suffix of such a file.
        seeds: gives valid examples of what it reads.
        take: reads a file; raises one of `OWN_ERRORS` where it cannot.
    """

    suffix: str
    seeds: Callable[[], examples.Seeds]
    take: Callable[[Path], object]


def _log(path: Path) -> None:
    from ctrl.settings import Settings
    from harness.logs.judged import judge_log
    from harness.logs.mapping import read_mapping
    from harness.logs.read import read_log

    mapping = None
    if b"Zeit" in path.read_bytes():
        described = path.with_name("mapping-of-it.toml")
        described.write_bytes(examples.DATED_MAPPING)
        mapping = read_mapping(described)
    log = read_log(path, mapping)
    if all(pack.stage is not None for pack in log.packs):
        judge_log(log, Settings.for_cells(16))


def _mapping(path: Path) -> None:
    from harness.logs.mapping import read_mapping
    from harness.logs.read import read_log

    mapping = read_mapping(path)
    log = path.with_name("log-of-it.csv")
    log.write_bytes(examples.LOG_OF_MAPPINGS["Zeit" if mapping.clock.name == "Zeit" else ""])
    read_log(log, mapping)


def _trace(path: Path) -> None:
    from ctrl.settings import Settings
    from harness.cases.trace_file import read

    _tried(read(path), Settings.for_cells(16))


def _tried(trace: object, settings: object) -> None:
    """A trace on the reference, judged, as `replay` does."""
    from harness.attach import attach, drive
    from harness.judge import judge
    from harness.run import Case

    part = trace.part(0, MOST_SAMPLES)  # type: ignore[attr-defined]
    with attach("ref") as reference:
        judge(drive(reference, Case("hut/trace", settings, part)))  # type: ignore[arg-type]


def _charger_trace(path: Path) -> None:
    from ctrl.charger import ChargerSettings
    from harness.charger.attach import attach_charger, drive_charger
    from harness.charger.case import ChargerCase
    from harness.charger.judge import judge_charger
    from harness.charger.trace_file import read_charger_trace

    trace = read_charger_trace(path)
    settings = ChargerSettings.for_cells(16, packs=trace.packs)
    with attach_charger("ref") as reference:
        case = ChargerCase("pier/trace", settings, trace.part(0, MOST_SAMPLES), story="")
        judge_charger(drive_charger(reference, case))


def _vector(path: Path) -> None:
    from harness.attach import attach, drive
    from harness.cases.vector import read_vector
    from harness.judge import judge

    case = read_vector(path).case
    with attach("ref") as reference:
        judge(drive(reference, case))


def _charger_vector(path: Path) -> None:
    from harness.charger.attach import attach_charger, drive_charger
    from harness.charger.judge import judge_charger
    from harness.charger.vector import read_charger_vector

    case = read_charger_vector(path).case
    with attach_charger("ref") as reference:
        judge_charger(drive_charger(reference, case))


def _settings(path: Path) -> None:
    from ctrl import settings_text
    from harness.cli.settings_options import given_settings

    text = path.read_bytes().decode("utf-8", "replace")
    for read in (settings_text.from_json, settings_text.from_toml):
        try:
            read(text)
        except SettingsError:
            continue
    given_settings(str(path), None, ())


def _scenario(path: Path) -> None:
    from harness.world.scenario_file import read, to_toml

    to_toml(read(path))


def _study(path: Path) -> None:
    from harness.study.study_file import read

    read(path)


def _result(path: Path) -> None:
    from harness.report.baseline import changes_since
    from harness.report.junit import to_junit
    from harness.report.markdown import to_markdown
    from harness.report.result_page import to_html
    from harness.report.store import read_result, to_json

    result = read_result(path)
    changes = changes_since(result, result, str(path))
    to_json(result)
    to_junit(result)
    to_markdown(result, changes)
    to_html(result, changes)


def _known(path: Path) -> None:
    from harness.report.known import read_known
    from harness.rules import REQUIREMENTS

    read_known(path, [each.id for each in REQUIREMENTS], ["hold/sag-runs-on"])


def _fmu_mapping(path: Path) -> None:
    from harness.attach.fmu.mapping import read_mapping

    read_mapping(path)


def _parquet(path: Path) -> None:
    from harness.logs.read import read_log

    read_log(path)


READERS: dict[str, Reader] = {
    "log": Reader(".csv", examples.logs, _log),
    "log-parquet": Reader(".parquet", examples.parquet_logs, _parquet),
    "mapping": Reader(".toml", examples.mappings, _mapping),
    "trace": Reader(".csv", examples.traces, _trace),
    "charger-trace": Reader(".csv", examples.charger_traces, _charger_trace),
    "vector": Reader(".json", examples.vectors, _vector),
    "charger-vector": Reader(".json", examples.charger_vectors, _charger_vector),
    "settings-toml": Reader(".toml", lambda: (examples.SETTINGS_TOML,), _settings),
    "settings-json": Reader(".json", lambda: (examples.SETTINGS_JSON,), _settings),
    "scenario": Reader(".toml", examples.scenarios, _scenario),
    "study": Reader(".toml", examples.studies, _study),
    "result": Reader(".json", examples.results, _result),
    "known": Reader(".toml", lambda: (examples.KNOWN,), _known),
    "fmu-mapping": Reader(".toml", lambda: (examples.FMU_MAPPING,), _fmu_mapping),
    "answers": Reader(".txt", dialogue.answers, dialogue.converse),
    "charger-answers": Reader(".txt", dialogue.charger_answers, dialogue.converse_with_charger),
}
