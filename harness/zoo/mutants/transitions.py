"""Mutants of the table of transitions: other targets, other sources, stages that are never left."""

from __future__ import annotations

import ast
from collections.abc import Iterator

from ctrl.transitions import TRANSITIONS, Transition, Way
from ctrl.vocabulary import Stage
from harness.zoo.mutants.breaks import ENTERING, LEAVING, OF_WAY
from harness.zoo.mutants.mutant import Change, Mutant, Names
from harness.zoo.mutants.operators import SINK, SOURCE, TARGET
from harness.zoo.mutants.syntax import before, compiled, condition, find, replaced

ROWS: dict[Way, Transition] = {row.way: row for rows in TRANSITIONS.values() for row in rows}
STAGES_OF: dict[Way, tuple[Stage, ...]] = {
    way: tuple(stage for stage, rows in TRANSITIONS.items() if row in rows)
    for way, row in ROWS.items()
}
# Where the code says that a row is taken.
TAKEN_IN = {
    Way.ENTRY_HELD: "bulk",
    Way.CONFIRMED: "absorption",
    Way.UNCONFIRMED_TO_FLOAT: "absorption",
    Way.UNCONFIRMED_TO_BULK: "absorption",
    Way.WAITED_TOO_LONG: "absorption",
    Way.VOLTAGE_LOW: "floating",
    Way.SOC_LOW: "floating",
    Way.FLOAT_OVER: "floating",
    Way.EQUALISE_BY_REQUEST: "due",
    Way.EQUALISE_BY_SCHEDULE: "due",
    Way.EQUALISED: "equalising",
    Way.EQUALISING_TOO_WARM: "equalising",
    Way.EQUALISING_WITHOUT_CURRENT: "equalising",
}
# A break in time is asked before the rules of the stage.
BREAKS = (Way.BREAK_IN_TIME, Way.EQUALISING_BROKEN)
TRIPS_BY_READING = (Way.TRIP_CELL, Way.TRIP_TEMPERATURE)
# A row that works in a stage that it does not belong to; without its dwell, which the stage there
# has no room for.
ELSEWHERE: tuple[tuple[Way, Stage, str], ...] = (
    (Way.ENTRY_HELD, Stage.FLOAT, "level_v >= limits.entry_v"),
    (Way.ENTRY_HELD, Stage.INHIBITED, "level_v >= limits.entry_v"),
    (Way.BREAK_IN_TIME, Stage.BULK, "isfinite(state.t) and not joined"),
    (Way.BREAK_IN_TIME, Stage.FLOAT, "not joined"),
    (Way.BREAK_IN_TIME, Stage.INHIBITED, "not joined"),
    (Way.CONFIRMED, Stage.BULK, "proves(rule, limits, level_v, i)"),
    (Way.CONFIRMED, Stage.FLOAT, "proves(rule, limits, level_v, i)"),
    (Way.CONFIRMED, Stage.INHIBITED, "proves(rule, limits, level_v, i)"),
    (Way.UNCONFIRMED_TO_BULK, Stage.FLOAT, "not proves(rule, limits, level_v, i)"),
    (Way.WAITED_TOO_LONG, Stage.BULK, "t - charge.dwell_since_s >= limits.wait_limit_s"),
    (Way.VOLTAGE_LOW, Stage.ABSORPTION, "level_v < limits.return_v"),
    (Way.VOLTAGE_LOW, Stage.INHIBITED, "level_v < limits.return_v"),
    (Way.SOC_LOW, Stage.ABSORPTION, "soc < limits.return_soc"),
    (Way.SOC_LOW, Stage.INHIBITED, "soc < limits.return_soc"),
    (Way.FLOAT_OVER, Stage.ABSORPTION, "t - charge.timer_from_s >= limits.float_s"),
    (Way.TRIP_CELL, Stage.INHIBITED, "watch.tripped & CELL_VOLTAGE"),
    (Way.TRIP_TEMPERATURE, Stage.INHIBITED, "watch.tripped & TEMPERATURE"),
    (Way.HOLD_OVER, Stage.FLOAT, "t - charge.timer_from_s >= limits.hold_s"),
    (Way.ALL_CLEAR, Stage.ABSORPTION, "all_clear(limits, CELL_VOLTAGE, sample)"),
    *(
        (way, stage, f"equalises and due(limits, watch.upkeep, sample) == {way.name}")
        for way in (Way.EQUALISE_BY_REQUEST, Way.EQUALISE_BY_SCHEDULE)
        for stage in (Stage.BULK, Stage.ABSORPTION, Stage.INHIBITED)
    ),
    (Way.EQUALISING_TOO_WARM, Stage.ABSORPTION, "equalises and not cool(limits, sample)"),
    (Way.EQUALISING_WITHOUT_CURRENT, Stage.ABSORPTION, "equalises and not i > 0.0"),
    (Way.ENTRY_HELD, Stage.EQUALISATION, "level_v >= limits.entry_v"),
    (Way.CONFIRMED, Stage.EQUALISATION, "proves(rule, limits, level_v, i)"),
    (Way.VOLTAGE_LOW, Stage.EQUALISATION, "level_v < limits.return_v"),
    (Way.SOC_LOW, Stage.EQUALISATION, "soc < limits.return_soc"),
    (Way.FLOAT_OVER, Stage.EQUALISATION, "t - charge.timer_from_s >= limits.float_s"),
    (Way.ALL_CLEAR, Stage.EQUALISATION, "all_clear(limits, CELL_VOLTAGE, sample)"),
)


def _word(way: Way) -> str:
    return way.name.lower().replace("_", "-")


def _decided() -> ast.stmt:
    """The statement of `decide` before which the way out is settled."""
    return find("decide", ast.Assign, "news = 0")


def _stage_rules() -> ast.stmt:
    """The statement of `decide` that asks the rules of the stage."""
    return find("decide", ast.If, "if way == STAY:")


def _led_to(way: Way, stage: Stage) -> tuple[Change, ast.FunctionDef | None]:
    if way is Way.TRIP_NO_READING:
        call = find("unreadable", ast.Call, "entered(limits, INHIBITED")
        tree = replaced("unreadable", call.args[1], condition(stage.name))
    elif way is Way.HOLD_OVER:
        other = {
            Stage.BULK: Way.UNCONFIRMED_TO_BULK,
            Stage.FLOAT: Way.UNCONFIRMED_TO_FLOAT,
            Stage.EQUALISATION: Way.EQUALISE_BY_REQUEST,
            Stage.INHIBITED: Way.TRIP_CELL,
        }[stage]
        place = find("absorption", ast.Assign, "happened = HAPPENED[HOLD_OVER]")
        tree = before("absorption", place, f"return charge, {int(other)}, happened")
    else:

        def change(names: Names) -> None:
            names["TO"] = tuple(stage if k == way else to for k, to in enumerate(names["TO"]))

        return change, None
    return compiled(tree), tree


def _targets() -> Iterator[Mutant]:
    for way, row in ROWS.items():
        sources = STAGES_OF[way]
        for stage in Stage:
            if stage is row.to:
                continue
            change, tree = _led_to(way, stage)
            yield Mutant(
                name=f"target-{_word(way)}-to-{stage.word}",
                operator=TARGET,
                title=f"{row.when}: leads to {stage.word}, not to {row.to.word}",
                subject=way.name,
                breaks=OF_WAY[way].union(ENTERING[stage], *(LEAVING[each] for each in sources)),
                change=change,
                tree=tree,
            )


def _without(way: Way, stage: Stage) -> ast.FunctionDef:
    if way in TRIPS_BY_READING:
        return before(
            "decide",
            _stage_rules(),
            f"if was is {stage.name} and way == {way.name}: way = STAY",
        )
    if way is Way.TRIP_NO_READING:
        test = find("unreadable", ast.If, "if silent:").test
        return replaced("unreadable", test, condition(f"silent and stage is not {stage.name}"))
    if way in BREAKS:
        taken = find("decide", ast.Assign, f"way = {way.name}")
        return replaced("decide", taken, ast.Pass())
    if way is Way.ALL_CLEAR:
        test = find("decide", ast.If, "if t - since_s >= limits.release_dwell_s").test
        return replaced("decide", test, ast.Constant(False))
    if way is Way.HOLD_OVER:
        test = find("absorption", ast.If, "if elapsed_s >= limits.hold_s").test
        return replaced("absorption", test, ast.Constant(False))
    function = TAKEN_IN[way]
    said = way.name if function == "due" else f"(charge, {way.name}"
    return replaced(function, find(function, ast.Return, f"return {said}"), ast.Pass())


def _missing() -> Iterator[Mutant]:
    for stage, rows in TRANSITIONS.items():
        for row in rows:
            tree = _without(row.way, stage)
            yield Mutant(
                name=f"source-{_word(row.way)}-missing-in-{stage.word}",
                operator=SOURCE,
                title=f"in {stage.word}, `{row.when}` has no effect",
                subject=row.way.name,
                breaks=OF_WAY[row.way],
                change=compiled(tree),
                tree=tree,
            )


def _elsewhere() -> Iterator[Mutant]:
    for way, stage, holds in ELSEWHERE:
        # A stage that is entered again and again is not left in time.
        again = frozenset[str]()
        if ROWS[way].to is stage:
            again = again.union(*(OF_WAY[row.way] for row in TRANSITIONS[stage]))
        tree = before(
            "decide",
            _decided(),
            f"if way == STAY and was is {stage.name} and {holds}: way = {int(way)}",
        )
        yield Mutant(
            name=f"source-{_word(way)}-in-{stage.word}",
            operator=SOURCE,
            title=f"in {stage.word} as well, at once: {ROWS[way].when}",
            subject=way.name,
            breaks=OF_WAY[way] | LEAVING[stage] | ENTERING[ROWS[way].to] | again,
            change=compiled(tree),
            tree=tree,
        )


def _sinks() -> Iterator[Mutant]:
    for stage, rows in TRANSITIONS.items():
        tree = before("decide", _decided(), f"if was is {stage.name}: way = STAY")
        yield Mutant(
            name=f"sink-{stage.word}",
            operator=SINK,
            title=f"never leaves {stage.word} by any decision at a valid sample",
            subject=stage.word,
            breaks=frozenset().union(*(OF_WAY[row.way] for row in rows)),
            change=compiled(tree),
            tree=tree,
        )


def mutants() -> Iterator[Mutant]:
    """Every row to every other stage, missing in every stage of its own, and in others."""
    yield from _targets()
    yield from _missing()
    yield from _elsewhere()
    yield from _sinks()
