"""What came of the zoo as JSON: the whole matrix."""

from __future__ import annotations

from typing import Any

import orjson

from harness.zoo.alarms import Quiet
from harness.zoo.hunting import Hunted
from harness.zoo.matrix import Row
from harness.zoo.mutants.operators import Operator
from harness.zoo.whole import Tally, Whole

FORMAT = 1


def to_json(result: Whole, exit_code: int) -> str:
    """Every faulty controller with what found it; what is not known is null."""
    document = {
        "format": FORMAT,
        "role": result.role,
        "complete": result.complete,
        "exit_code": exit_code,
        "vectors": {
            "all": result.cases,
            "idle": result.idle,
            "redundant": result.redundant,
            "cover": result.cover,
        },
        "hunt": {"seeds": result.seeds, "traces": result.traces} if result.seeds else None,
        "keep_the_rules": [_quiet(each) for each in result.quiet],
        "operators": [_tally(each) for each in result.tallies()],
        "faults": [_fault(row, result.hunted_of(row.subject)) for row in result.rows],
    }
    option = orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE
    return orjson.dumps(document, option=option).decode()


def _tally(tally: Tally) -> dict[str, Any]:
    operator = tally.operator
    return {
        "operator": operator.name if operator else "all",
        "sentence": operator.sentence if operator else "",
        "publication": _publication(operator) if operator else None,
        "real": tally.real,
        "found_by_vectors": tally.by_vectors,
        "named_by_vectors": tally.named,
        "hunted": tally.hunted,
        "found_by_every_seed": tally.in_every_seed,
        "found_by_some_seeds": tally.in_some_seed,
        "equivalent": tally.exact,
        "tolerated": tally.tolerated,
    }


def _quiet(quiet: Quiet) -> dict[str, Any]:
    return {
        "name": quiet.name,
        "vectors": quiet.vectors,
        "traces": quiet.traces,
        "false_alarms": [
            {"requirement": alarm.requirement, "case": alarm.case, "sentence": alarm.sentence}
            for alarm in quiet.alarms
        ],
    }


def _publication(operator: Operator) -> dict[str, Any] | None:
    source = operator.publication
    if source is None:
        return None
    return {
        "authors": source.authors,
        "title": source.title,
        "where": source.where,
        "year": source.year,
        "doi": source.doi or None,
    }


def _fault(row: Row, hunted: Hunted | None) -> dict[str, Any]:
    subject = row.subject
    reason = subject.reason
    return {
        "name": subject.name,
        "operator": subject.operator.name,
        "title": subject.title,
        "about": subject.about,
        "breaks": sorted(subject.breaks),
        "never_found_because": None
        if reason is None
        else {"text": reason.text, "equivalent": reason.exact, "proved": reason.proved},
        "vectors": {
            "differs": row.differs,
            "found": {name: list(cases) for name, cases in sorted(row.found.items())},
            "named": row.killed,
        },
        "hunt": None if hunted is None else _hunted(hunted),
    }


def _hunted(hunted: Hunted) -> dict[str, Any]:
    return {
        "found_in": hunted.found_in,
        "named_in": hunted.right_in,
        "median_traces": hunted.median_traces,
        "most_traces": hunted.most_traces,
        "seeds": [
            {
                "seed": find.seed,
                "traces": find.traces,
                "differs": find.differs,
                "requirements": find.requirements,
            }
            for find in hunted.finds
        ],
    }
