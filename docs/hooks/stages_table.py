"""The table of transitions, numbered as in the stage diagram, from `ctrl.transitions.TRANSITIONS`."""

from __future__ import annotations

from stage_diagram import event, number

from ctrl.transitions import TRANSITIONS, Transition
from ctrl.vocabulary import Stage


def stages_table() -> str:
    """The table as Markdown; ways that lead out of several stages alike are one row."""
    leaves: dict[Transition, list[Stage]] = {}
    for stage, rows in TRANSITIONS.items():
        for row in rows:
            leaves.setdefault(row, []).append(stage)
    lines = ["| no. | from | to | when | event |", "|---|---|---|---|---|"]
    for row, stages in sorted(leaves.items(), key=lambda item: number(item[0].way)):
        where = ", ".join(stage.word for stage in stages)
        lines.append(f"| {number(row.way)} | {where} | {row.to.word} | {row.when} | {event(row)} |")
    return "\n".join(lines)
