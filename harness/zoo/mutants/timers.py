"""Mutants of timers and dwells: not set back where they should be, or set back where they should not."""

from __future__ import annotations

import ast
from collections.abc import Iterator

from attrs import evolve, fields

from ctrl.limits import Limits
from ctrl.state import Charge, Sensor, Upkeep, Watch
from ctrl.transitions import Way
from ctrl.vocabulary import Stage
from harness.zoo.mutants.breaks import (
    DWELLS,
    OF_FUNCTION,
    OF_SETTING,
    OF_WAY,
    breaks_of,
)
from harness.zoo.mutants.guards import WHERE, source_mutant
from harness.zoo.mutants.mutant import Change, Mutant, Names
from harness.zoo.mutants.operators import RESET
from harness.zoo.mutants.syntax import (
    compiled,
    condition,
    find,
    nodes,
    replaced,
    shown,
    slug,
    text_of,
    tree_of,
)

# The parts of the state that run, what stands in each when it does not run, and what it is called.
RUNNING: dict[str, tuple[str, str]] = {
    "dwell_since_s": ("NEVER", "the start of the dwell of the stage"),
    "timer_from_s": ("NEVER", "the start of the timer"),
    "counted_s": ("0.0", "what the hold timer had counted"),
    "expired_s": ("NEVER", "when the hold expired"),
    "cell_since_s": ("NEVER", "the start of the trip dwell of the cells"),
    "temperature_since_s": ("NEVER", "the start of the trip dwell of the temperature"),
    "tripped": ("0", "what has tripped"),
    "empty_since_s": ("NEVER", "the start of the empty dwell"),
    "emptied": ("False", "that the count has been set to 0"),
    "quiet": ("True", "that nothing of protection runs"),
    "first_t": ("NEVER", "the stamp of the first sample"),
    "shift_v": ("0.0", "the shift with temperature"),
    "sensor": ("NO_SENSOR", "what is known of the temperature"),
    "upkeep": ("NOTHING_DUE", "when the next equalisation is due"),
    "temp_c": ("nan", "the temperature that was believed last"),
    "read_s": ("NEVER", "when the temperature was read last"),
    "changed_s": ("NEVER", "when the temperature changed last"),
    "from_s": ("nan", "the start of the schedule of equalisation"),
    "requested": ("False", "that an equalisation was asked for"),
    "not_before_s": ("-inf", "the wait after an equalisation that was abandoned"),
}
OF_RUNNING: dict[str, frozenset[str]] = {
    "dwell_since_s": DWELLS,
    "timer_from_s": OF_SETTING["hold_s"]
    | OF_SETTING["equalisation_s"]
    | {"FLOAT", "TIME.backward-step", "TIME.float-timer-runs-on"},
    "counted_s": OF_SETTING["hold_s"],
    "expired_s": OF_WAY[Way.WAITED_TOO_LONG] | OF_FUNCTION["warm_since"],
    "cell_since_s": OF_WAY[Way.TRIP_CELL],
    "temperature_since_s": OF_WAY[Way.TRIP_TEMPERATURE],
    "tripped": frozenset({"PROTECT"}),
    "empty_since_s": OF_SETTING["empty_dwell_s"],
    "emptied": OF_SETTING["empty_dwell_s"],
    "quiet": frozenset({"PROTECT", "SOC.empty"}),
    "first_t": OF_WAY[Way.TRIP_NO_READING],
    "shift_v": OF_SETTING["reference_c"],
    **dict.fromkeys(("sensor", "temp_c", "read_s", "changed_s"), OF_FUNCTION["sensed"]),
    "upkeep": OF_FUNCTION["counting"],
    "from_s": OF_SETTING["equalisation_every_s"],
    "requested": frozenset({"EQUALISE.remembered", "EQUALISE.starts", "EQUALISE.due"}),
    "not_before_s": OF_SETTING["equalisation_retry_s"],
}
# Which parts a rule of the stage reads after it has been entered.
READ_IN: tuple[tuple[Stage, str], ...] = (
    (Stage.BULK, "dwell_since_s"),
    (Stage.ABSORPTION, "dwell_since_s"),
    (Stage.ABSORPTION, "timer_from_s"),
    (Stage.ABSORPTION, "counted_s"),
    (Stage.FLOAT, "dwell_since_s"),
    (Stage.FLOAT, "timer_from_s"),
    (Stage.EQUALISATION, "dwell_since_s"),
    (Stage.EQUALISATION, "timer_from_s"),
    (Stage.EQUALISATION, "expired_s"),
    (Stage.INHIBITED, "dwell_since_s"),
)
_PARTS = {
    cls.__name__: tuple(each.name for each in fields(cls))
    for cls in (Charge, Watch, Sensor, Upkeep)
}
# What the state before is called where it is no argument of the name of its class.
_BEFORE = {("decide", "Upkeep"): "watch.upkeep", ("sensed", "Sensor"): "before"}
# The names under which its parts are carried over there.
_CARRIED = {"known_c": "temp_c", "read_s": "read_s", "changed_s": "changed_s"}
OF_STAGE = {
    Stage.BULK: OF_FUNCTION["bulk"],
    Stage.ABSORPTION: OF_FUNCTION["absorption"],
    Stage.FLOAT: OF_FUNCTION["floating"],
    Stage.EQUALISATION: OF_FUNCTION["equalising"],
    Stage.INHIBITED: OF_FUNCTION["all_clear"],
}


def _kept(stage: Stage, part: str) -> Change:
    tree = replaced(
        "decide",
        find("decide", ast.Call, "entered(limits, TO[way]"),
        condition("entered_from(charge, limits, TO[way], t, level_v)"),
    )
    source = compiled(tree)

    def change(names: Names) -> None:
        def entered_from(
            charge: Charge, limits: Limits, to: Stage, t: float, level_v: float
        ) -> Charge:
            new: Charge = names["entered"](limits, to, t, level_v)
            return evolve(new, **{part: getattr(charge, part)}) if to is stage else new

        names["entered_from"] = entered_from
        source(names)

    return change


def _at_entry() -> Iterator[Mutant]:
    for stage, part in READ_IN:
        yield Mutant(
            name=f"reset-{part.replace('_', '-')}-kept-into-{stage.word}",
            operator=RESET,
            title=f"{RUNNING[part][1]} is not set back when {stage.word} is entered",
            subject=stage.word,
            breaks=OF_STAGE[stage] | OF_RUNNING[part],
            change=_kept(stage, part),
        )


def _bare(node: ast.expr) -> str:
    return text_of(node)


def _in_dwells() -> Iterator[Mutant]:
    """Every place at which a dwell is taken one sample on."""
    for function in WHERE:
        for node in nodes(function):
            if not (isinstance(node, ast.Call) and _bare(node.func) == "since"):
                continue
            holds, _, joined, before = node.args
            dwell = slug(text_of(before if _bare(before) != "NEVER" else holds))
            changes: list[tuple[ast.expr, str, str, str]]
            if _bare(before) == "NEVER":
                changes = [
                    (holds, "True", f"{dwell}-runs-at-once", "runs whatever the voltage is then"),
                    (holds, "False", f"{dwell}-not-at-entry", "does not count the first sample"),
                ]
            else:
                changes = [(before, "NEVER", f"{dwell}-begins-anew", "begins anew at every sample")]
                if _bare(joined) == "joined":
                    changes.append(
                        (joined, "True", f"{dwell}-over-breaks", "runs on over a break in time")
                    )
            for place, by, name, title in changes:
                yield source_mutant(
                    RESET,
                    function,
                    place,
                    replaced(function, place, condition(by)),
                    name=name,
                    title=f"the dwell `{shown(text_of(node))}` {title}",
                    around=ast.Tuple([node, ast.Name("joined")] if by == "True" else [node]),
                )


def _constructed() -> Iterator[Mutant]:
    """Every part of the state that is carried over is set back, and the reverse."""
    for function in WHERE:
        for node in nodes(function):
            cls = _bare(node.func) if isinstance(node, ast.Call) else ""
            if cls not in _PARTS:
                continue
            assert isinstance(node, ast.Call)
            old = _BEFORE.get((function, cls), cls.lower())
            for part, value in zip(_PARTS[cls], node.args, strict=True):
                if part not in RUNNING:
                    continue
                idle, said = RUNNING[part]
                text = _bare(value)
                if text == f"{old}.{part}" or _CARRIED.get(text) == part:
                    by, how = idle, "is lost"
                elif text == f"{old}.{part} + interval_s":
                    by, how = f"{old}.{part}", "stays where it is when the clock is set back"
                elif text in (idle, "t", "elapsed_s", "from_s") and _has(function, old):
                    by, how = f"{old}.{part}", "is kept as it was"
                else:
                    continue
                yield _part(function, node, part, value, by, f"{said} {how}")


def _has(function: str, name: str) -> bool:
    first = name.partition(".")[0]
    known = {argument.arg for argument in tree_of(function).args.args}
    return first in known or (function, name) in {(k[0], v) for k, v in _BEFORE.items()}


def _part(function: str, node: ast.Call, part: str, value: ast.expr, by: str, title: str) -> Mutant:
    tree = replaced(function, value, condition(by))
    kept = "kept" if by.endswith(part) else "lost"
    # One function makes the same part in two ways: at first, and when the clock is set back.
    back = "-when-set-back" if "interval_s" in text_of(node) else ""
    return Mutant(
        name=f"reset-{function.replace('_', '-')}-{part.replace('_', '-')}-{kept}{back}",
        operator=RESET,
        title=f"{WHERE[function]}, {title}",
        subject=function,
        breaks=breaks_of(function, node.args[0]) | OF_RUNNING[part],
        change=compiled(tree),
        tree=tree,
    )


def mutants() -> Iterator[Mutant]:
    """Timers and dwells at the entry of a stage, at every sample, and wherever the state is made."""
    yield from _at_entry()
    yield from _in_dwells()
    yield from _constructed()
