"""The table of transitions and what the code does cannot drift apart: each explains the other."""

from __future__ import annotations

import numpy as np
from hypothesis import given

from ctrl.settings import Settings
from ctrl.state import Event, Output, Sample
from ctrl.transitions import TRANSITIONS, Transition, Way
from ctrl.vocabulary import Stage
from harness.cases import shipped
from tests.properties.generated import Walk, settings_and_walks
from tests.properties.walking import outputs

Row = tuple[Stage, Way]
ROWS: set[Row] = {(stage, row.way) for stage, rows in TRANSITIONS.items() for row in rows}


def explained(stage: Stage, event: Event, on_unconfirmed: str) -> list[Transition]:
    """The rows of the table that lead to this event."""
    rows = [
        row
        for row in TRANSITIONS[stage]
        if str(row.happened.name).lower() == event.name and row.cause.word == event.cause
    ]
    if event.name == "full_denied":
        ways = {
            "float": Way.UNCONFIRMED_TO_FLOAT,
            "bulk": Way.UNCONFIRMED_TO_BULK,
            "wait": Way.WAITED_TOO_LONG,
        }
        rows = [row for row in rows if row.way == ways[on_unconfirmed]]
    return rows


def rows_behind(before: Stage, output: Output, on_unconfirmed: str) -> list[Row]:
    """The rows of the table behind one output; fails where it has none, or more than one."""
    events = [event for event in output.events if event.name != "empty_reset"]
    assert all((event.from_stage, event.to_stage) == (before, output.stage) for event in events)
    taken: list[Row] = []
    leads_to = [before]
    for event in events:
        rows = explained(before, event, on_unconfirmed)
        assert len(rows) == 1, (event, rows)
        taken.append((before, rows[0].way))
        leads_to.append(rows[0].to)
    # Several rows on one sample: the hold runs out, stays in absorption, and the next leads on.
    assert leads_to[-1] == output.stage
    assert all(stage == before for stage in leads_to[:-1])
    return taken


def test_every_stage_has_its_ways_and_every_way_its_stages() -> None:
    assert set(TRANSITIONS) == set(Stage)
    listed = {stage.word: [row.way.name for row in rows] for stage, rows in TRANSITIONS.items()}
    trips = ["TRIP_CELL", "TRIP_TEMPERATURE", "TRIP_NO_READING"]
    assert listed == {
        "bulk": [*trips, "ENTRY_HELD"],
        "absorption": [
            *trips,
            "BREAK_IN_TIME",
            "HOLD_OVER",
            "CONFIRMED",
            "UNCONFIRMED_TO_FLOAT",
            "UNCONFIRMED_TO_BULK",
            "WAITED_TOO_LONG",
        ],
        "float": [
            *trips,
            "VOLTAGE_LOW",
            "SOC_LOW",
            "FLOAT_OVER",
            "EQUALISE_BY_REQUEST",
            "EQUALISE_BY_SCHEDULE",
        ],
        "equalisation": [
            *trips,
            "EQUALISING_BROKEN",
            "EQUALISING_TOO_WARM",
            "EQUALISING_WITHOUT_CURRENT",
            "EQUALISED",
        ],
        "inhibited": ["ALL_CLEAR"],
    }
    named = {name for names in listed.values() for name in names}
    assert named == {way.name for way in Way} - {"STAY"}


def test_a_way_leads_to_the_same_from_every_stage() -> None:
    by_way: dict[Way, set[Transition]] = {}
    for rows in TRANSITIONS.values():
        for row in rows:
            by_way.setdefault(row.way, set()).add(row)
    assert {len(rows) for rows in by_way.values()} == {1}


def test_the_table_reads_as_the_rules() -> None:
    table = {
        (stage.word, row.way.name): (row.to.word, str(row.happened.name).lower(), row.cause.word)
        for stage, rows in TRANSITIONS.items()
        for row in rows
    }
    trips = {
        (stage, way): ("inhibited", "inhibited", cause)
        for stage in ("bulk", "absorption", "float", "equalisation")
        for way, cause in (
            ("TRIP_CELL", "cell_voltage"),
            ("TRIP_TEMPERATURE", "temperature"),
            ("TRIP_NO_READING", "no_reading"),
        )
    }
    abandoned = "equalisation_abandoned"
    assert table == trips | {
        ("bulk", "ENTRY_HELD"): ("absorption", "hold_started", ""),
        ("absorption", "BREAK_IN_TIME"): ("bulk", "hold_abandoned", "discontinuity"),
        ("absorption", "HOLD_OVER"): ("absorption", "hold_expired", ""),
        ("absorption", "CONFIRMED"): ("float", "full_reset", ""),
        ("absorption", "UNCONFIRMED_TO_FLOAT"): ("float", "full_denied", ""),
        ("absorption", "UNCONFIRMED_TO_BULK"): ("bulk", "full_denied", ""),
        ("absorption", "WAITED_TOO_LONG"): ("float", "full_denied", ""),
        ("float", "VOLTAGE_LOW"): ("bulk", "float_ended", "low_voltage"),
        ("float", "SOC_LOW"): ("bulk", "float_ended", "low_soc"),
        ("float", "FLOAT_OVER"): ("bulk", "float_ended", "float_timer"),
        ("float", "EQUALISE_BY_REQUEST"): ("equalisation", "equalisation_started", "request"),
        ("float", "EQUALISE_BY_SCHEDULE"): ("equalisation", "equalisation_started", "schedule"),
        ("equalisation", "EQUALISING_BROKEN"): ("float", abandoned, "discontinuity"),
        ("equalisation", "EQUALISING_TOO_WARM"): ("float", abandoned, "temperature"),
        ("equalisation", "EQUALISING_WITHOUT_CURRENT"): ("float", abandoned, "low_current"),
        ("equalisation", "EQUALISED"): ("float", "equalisation_ended", ""),
        ("inhibited", "ALL_CLEAR"): ("bulk", "released", ""),
    }


def rows_taken(settings: Settings, walk: Walk) -> set[Row]:
    """All rows of the table that a run takes; fails where it takes something else."""
    taken: set[Row] = set()
    before = Stage.BULK
    for k, output in enumerate(outputs(settings, walk)[0]):
        if k in walk.power_cycles:
            before = Stage.BULK
        taken.update(rows_behind(before, output, settings.on_unconfirmed))
        before = output.stage
    return taken


@given(settings_and_walks())
def test_random_runs_take_rows_of_the_table_and_nothing_else(drawn: tuple[Settings, Walk]) -> None:
    assert rows_taken(*drawn) <= ROWS


# What random runs meet depends on the constants of all modules that are loaded; vectors stand.
def test_the_shipped_vectors_take_every_row() -> None:
    taken: set[Row] = set()
    for vector in shipped():
        trace = vector.trace
        table = np.column_stack([trace.column(name) for name in trace.columns])
        samples = tuple(
            Sample(**dict(zip(trace.columns, row, strict=True))) for row in table.tolist()
        )
        requests = frozenset(vector.equalise_requests)
        walk = Walk(samples, frozenset(vector.power_cycles), vector.soc, requests)
        taken |= rows_taken(vector.settings, walk)
    assert taken == ROWS
