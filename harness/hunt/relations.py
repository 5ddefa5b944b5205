"""Relations: what must be the same, or go one way, when a case is changed and run once more.

Nobody has to know the right answer for that: a controller is compared with itself. The idea is
metamorphic testing (T. Y. Chen, S. C. Cheung, S. M. Yiu, "Metamorphic testing: a new approach for
generating next test cases", HKUST-CS98-01, 1998; cited from memory). Which changes must change
nothing follows from the rules of charge control.

    for relation in RELATIONS:
        finding = relation.check(attachment, case)

A relation that does not apply to a controller or a case is skipped: `check` says nothing then, and
`skipped` says why.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import floor
from typing import Any

import numpy as np
from attrs import evolve

from ctrl.vocabulary import Stage
from harness.attach.base import Attachment
from harness.attach.drive import drive
from harness.hunt.changes import (
    CELLS_FACTOR,
    in_pieces,
    more_cells,
    near_zero,
    with_full_v,
    with_stamps,
    with_unreadable,
)
from harness.hunt.denser import beyond_an_interval, denser
from harness.hunt.difference import (
    SOC_ROUNDING,
    blamed,
    decided_by_count,
    differs,
    first_difference,
)
from harness.hunt.proof import unproved
from harness.hunt.relation import (
    FAR_S,
    Relation,
    always,
    near_stamps,
    resets,
    resets_settable,
    settable,
    stands_still,
)
from harness.rules.absorption import VOLTAGE
from harness.rules.blame import INVALID
from harness.rules.link import CUTS, FRESH
from harness.run import ANSWER_COLUMNS, Answers, Finding, Flags, Run

CHEN_1998 = "metamorphic testing (Chen, Cheung, Yiu, HKUST-CS98-01, 1998; from memory)"

# A voltage that is asked for may be off by a millivolt, in each of two runs.
REQUEST_V = 1e-3
# Where `full_v` cannot be raised, what it is lowered by for the run to compare with, V a cell.
LOWERED_V = 0.03


def _cut(attachment: Attachment, run: Run) -> Finding | None:
    whole = drive(attachment, evolve(run.case, cuts=())) if run.case.cuts else run
    pieces = drive(attachment, in_pieces(run.case))
    difference = first_difference(whole.answers, pieces.answers)
    if difference is None:
        return None
    change = "cut into messages of few samples"
    return differs(whole, difference, pieces, CUTS, change)


def _afresh(attachment: Attachment, run: Run) -> Finding | None:
    again = drive(attachment, run.case)
    difference = first_difference(run.answers, again.answers)
    if difference is None:
        return None
    return differs(run, difference, again, FRESH, "run again after a new start")


def _shifts_s(near: Run) -> Iterator[float]:
    """Far away, and so that a decision falls on zero: who takes 0 for 'not yet' shows it there."""
    yield FAR_S
    stage, t = near.answers.stage, near.case.trace.t
    changed = np.flatnonzero((stage[1:] != stage[:-1]) & np.isfinite(t[1:])) + 1
    held = changed[stage[changed] == Stage.ABSORPTION]
    at = held if len(held) else changed
    at_s = float(floor(t[at[0]])) if len(at) else 0.0
    yield -at_s if at_s else -4096.0


def _shifted(attachment: Attachment, run: Run) -> Finding | None:
    near = drive(attachment, with_stamps(run.case, near_zero(run.case.trace.t)))
    for shift_s in _shifts_s(near):
        later = drive(attachment, with_stamps(run.case, near.case.trace.t + shift_s))
        difference = first_difference(near.answers, later.answers, soc_within=SOC_ROUNDING)
        if difference is None:
            continue
        row = slice(difference.row, difference.row + 1)
        counts = [None if x.soc is None else x.soc[row] for x in (near.answers, later.answers)]
        if difference.stage is Stage.FLOAT and decided_by_count(run.case.settings, *counts):
            continue
        requirement = blamed(difference.requirement, near, later)
        change = f"with stamps from {shift_s:g} s on, not from 0 s"
        return differs(near, difference, later, requirement, change)
    return None


def _denser(attachment: Attachment, run: Run) -> Finding | None:
    case, at = denser(run.case)
    dense = drive(attachment, case)
    difference = beyond_an_interval(run, dense, at)
    if difference is None:
        return None
    requirement = blamed(difference.requirement, run, dense)
    change = "sampled twice as often where nothing moves"
    return differs(run, difference, dense, requirement, change)


def _scaled(attachment: Attachment, run: Run) -> Finding | None:
    other = drive(attachment, more_cells(run.case))
    difference = first_difference(
        run.answers,
        other.answers,
        soc_within=SOC_ROUNDING,
        volts_factor=CELLS_FACTOR,
        volts_within=(CELLS_FACTOR + 1) * REQUEST_V,
    )
    if difference is None:
        return None
    requirement = blamed(difference.requirement, run, other)
    change = f"on {CELLS_FACTOR} times the cells, at {CELLS_FACTOR} times the pack voltages"
    return differs(run, difference, other, requirement, change)


def _raised(attachment: Attachment, run: Run) -> Finding | None:
    case, s = run.case, run.case.settings
    if s.full_v < s.entry_v:
        lower, higher = run, drive(attachment, with_full_v(case, s.entry_v))
    else:
        lowered_v = s.full_v - LOWERED_V * s.cells
        lower, higher = drive(attachment, with_full_v(case, lowered_v)), run
    # Only up to the first difference: behind it the two are in different stages.
    difference = first_difference(lower.answers, higher.answers, soc_within=SOC_ROUNDING)
    more = higher.answers.full_reset
    if difference is None or more is None or not more[difference.row]:
        return None
    low_v, high_v = (each.case.settings.full_v for each in (lower, higher))
    change = f"with full_v raised from {low_v:g} V to {high_v:g} V"
    told = evolve(difference, column="full_reset", one="False", two="True")
    return differs(lower, told, higher, blamed(VOLTAGE, lower, higher), change)


def _unreadable(attachment: Attachment, run: Run) -> Finding | None:
    case, at = with_unreadable(run.case)
    noisy = drive(attachment, case)
    difference = first_difference(run.answers, _rows(noisy.answers, at == np.floor(at)))
    if difference is None:
        return None
    change = "with samples in between that cannot be believed"
    return differs(run, difference, noisy, INVALID, change)


def _rows(answers: Answers, kept: Flags) -> Answers:
    columns: dict[str, Any] = {name: getattr(answers, name) for name in ANSWER_COLUMNS}
    there = {name: column[kept] for name, column in columns.items() if column is not None}
    return Answers(**there)


def _proved(attachment: Attachment, run: Run) -> Finding | None:  # noqa: ARG001
    return unproved(run)


RELATIONS: tuple[Relation, ...] = (
    Relation(
        name="cut-anywhere",
        requirement=CUTS,
        statement="A trace in messages of few samples is answered as in one message.",
        reason="State that lives as long as a message is lost at the next one.",
        source=CHEN_1998,
        limits="",
        why_not=always,
        broken=_cut,
    ),
    Relation(
        name="run-again",
        requirement=FRESH,
        statement="After a fresh start the same trace is answered in the same way.",
        reason="A verdict that depends on what ran before cannot be repeated.",
        source=f"repeatability, common practice; as a relation: {CHEN_1998}",
        limits="",
        why_not=always,
        broken=_afresh,
    ),
    Relation(
        name="clock-shifted",
        requirement="TIME.backward-step",
        statement="Time stamps that are all later by the same amount change no answer.",
        reason="Where a clock starts says nothing of the battery. One that is kept in too few digits, "
        "or for which 0 means 'not yet', works on the bench and fails after some days.",
        source=CHEN_1998,
        limits="Stamps more than twelve days apart; each is put on a grid of 1/1024 s, so that the "
        "shift is exact. Float may end by `return_soc` otherwise where rounding decides.",
        why_not=near_stamps,
        broken=_shifted,
    ),
    Relation(
        name="sampled-denser",
        requirement="HOLD.full-length",
        statement="Samples more, where nothing moves, move a decision by no more than one interval "
        "for each timer that leads to it.",
        reason="A timer that counts samples in place of seconds is right at one sampling rate only.",
        source=CHEN_1998,
        limits="Decisions are compared up to the first that falls on another sample, and only "
        "where the readings stand still around it.",
        why_not=stands_still,
        broken=_denser,
    ),
    Relation(
        name="cells-scaled",
        requirement="REQUEST.voltage",
        statement="Twice the cells at twice the pack voltages, in settings and trace, ask for twice "
        "the voltage and change no other answer.",
        reason="A voltage that was written down for sixteen cells is wrong on any other pack.",
        source=CHEN_1998,
        limits="Controllers with fixed settings.",
        why_not=settable,
        broken=_scaled,
    ),
    Relation(
        name="full-voltage-raised",
        requirement=VOLTAGE,
        statement="A higher `full_v` never adds a full reset: up to where two runs first differ, the "
        "one with the higher `full_v` has none that the other has not.",
        reason="More proof asked for can only mean fewer packs that are called full.",
        source=CHEN_1998,
        limits="Controllers with fixed settings, or that tell no full reset.",
        why_not=resets_settable,
        broken=_raised,
    ),
    Relation(
        name="unreadable-between",
        requirement=INVALID,
        statement="Samples that cannot be believed, between samples that can, change no answer to "
        "the others.",
        reason="One lost message must neither end a hold nor complete one.",
        source=CHEN_1998,
        limits="",
        why_not=always,
        broken=_unreadable,
    ),
    Relation(
        name="reset-proved",
        requirement="FULL.at-hold-end",
        statement="Looking back in the trace from a full reset, in one stretch without gap, step back, "
        "loss of power, trip or other reset, there is `entry_v` for `entry_dwell_s`, then `hold_s` as "
        "`on_sag` counts it, then `full_v` within `taper_a` for `confirm_s` up to that very sample.",
        reason="A pack that is called full without proof hides what is really in it, for good.",
        source="our own, by the trace alone, apart from the checks of the requirements",
        limits="Controllers that tell no full reset. Each timer may be off by one interval.",
        why_not=resets,
        broken=_proved,
    ),
)
