"""The role `charger` as `replay` needs it."""

from __future__ import annotations

from pathlib import Path

import attrs

from harness.charger.attach import attach_charger, drive_charger
from harness.charger.case import ChargerCase, ChargerRun
from harness.charger.folder import charger_vectors_for, shipped_charger_vectors
from harness.charger.judge import judge_charger
from harness.charger.trace_file import read_charger_trace
from harness.charger.vector import ChargerVector, read_charger_vector
from harness.cli.given_case import for_fixed, is_vector, refuse_no_file, refuse_options_of_fixed
from harness.cli.named import named
from harness.cli.replay_side import ReplaySide
from harness.cli.settings_options import given_charger_settings, is_given
from harness.errors import InputError
from harness.report import charger_replayed
from harness.report.charger_heard import reference_answers
from harness.report.charger_timeline import charger_moments
from harness.run import Identity

Options = tuple[str | None, int | None, tuple[str, ...], str | None]


def charger_replay_side() -> ReplaySide:
    """The side of the role `charger`."""
    return ReplaySide(
        attach=attach_charger,
        given_case=given_charger_case,
        drive=drive_charger,
        told=_told,
        show=charger_replayed.show,
        to_json=charger_replayed.to_json,
    )


def given_charger_case(
    name: str,
    identity: Identity,
    *,
    settings_file: str | None,
    cells: int | None,
    changes: tuple[str, ...],
    chemistry: str | None = None,
    soc: float | None,
) -> tuple[ChargerCase, str]:
    """The case, and what it is called for people; as `given_case`, for a charger.

    Args:
        name: id of a vector, or path of one or of a trace.
        identity: who will run it.
        settings_file: as in `given_charger_settings`.
        cells: as in `given_charger_settings`.
        changes: as in `given_charger_settings`.
        chemistry: as in `given_charger_settings`.
        soc: None; a charger counts nothing.

    Raises:
        InputError: there is no such vector or file, it cannot be read, or it cannot be run with
            these settings.
    """
    if soc is not None:
        raise InputError(
            "--soc cannot be used with --role charger", hint="a charger counts nothing"
        )
    options: Options = (settings_file, cells, changes, chemistry)
    refuse_options_of_fixed(identity, is_given(*options))
    path = Path(name)
    if not path.exists():
        refuse_no_file(path)
        vector = _shipped(name, identity)
    elif is_vector(path):
        vector = read_charger_vector(path)
    else:
        trace = read_charger_trace(path)
        settings = identity.fixed or given_charger_settings(*options, packs=trace.packs)
        _refuse_other_packs(settings.packs, trace.packs)
        return ChargerCase(id=name, settings=settings, trace=trace), name
    case = vector.case
    if is_given(*options):
        packs = case.settings.packs
        settings = given_charger_settings(*options, packs=packs, base=case.settings)
        _refuse_other_packs(settings.packs, packs)
        case = attrs.evolve(case, settings=settings)
    return case, f"{vector.id}: {vector.title}"


def _shipped(name: str, identity: Identity) -> ChargerVector:
    found: ChargerVector = named(name, shipped_charger_vectors(), kind="file and no vector")
    if identity.fixed is None:
        return found
    rendered: ChargerVector = for_fixed(name, identity, *charger_vectors_for(identity.fixed))
    return rendered


def _refuse_other_packs(settings: int, trace: int) -> None:
    if settings != trace:
        raise InputError(
            f"the settings are for packs = {settings}, and the trace has messages of {trace}",
            hint=f"set packs to {trace}",
        )


def _told(
    _: str, called: str, run: ChargerRun, tolerance_s: float
) -> charger_replayed.ChargerReplayed:
    moments = charger_moments(run, reference_answers(run.case))
    verdict = judge_charger(run, tolerance_s=tolerance_s)
    return charger_replayed.ChargerReplayed(called, run, moments, verdict)
