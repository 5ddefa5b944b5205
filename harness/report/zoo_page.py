"""What came of the zoo as one page of HTML that needs nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from harness.report.zoo import hunt_rates, quiet_sentence
from harness.zoo.hunting import Hunted
from harness.zoo.matrix import Row
from harness.zoo.mutants.operators import Operator
from harness.zoo.whole import Tally, Whole

_STYLE = """
body { font: 16px/1.5 system-ui, sans-serif; margin: 2rem auto; max-width: 75rem; padding: 0 1rem;
  color: #111; background: #fff; }
table { border-collapse: collapse; margin: 1rem 0; }
caption { text-align: left; font-weight: 600; padding: .25rem 0; }
th, td { border: 1px solid #767676; padding: .25rem .5rem; text-align: left; vertical-align: top; }
td.number { text-align: right; font-variant-numeric: tabular-nums; }
thead th { background: #eee; }
.wide { overflow-x: auto; }
.missed { font-weight: 600; color: #a30000; }
code { overflow-wrap: anywhere; }
"""


def page(result: Whole) -> str:
    """The page; whatever comes from a name or a sentence is escaped."""
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>The zoo of faulty {result.role}s</title><style>{_STYLE}</style></head><body>",
        f"<main><h1>The zoo of faulty {result.role}s</h1>",
        *_summary(result),
        *_operators(result),
        *_missed(result),
        *_vectors(result),
        *_faults(result),
        *_unfound(result),
        "</main></body></html>",
    ]
    return "\n".join(parts) + "\n"


def _summary(result: Whole) -> Iterable[str]:
    total = result.tally()
    if not result.complete:
        yield '<p class="missed">Interrupted: this is what was done until then.</p>'
    yield (
        f"<p>The {len(result.cases)} vectors find {total.by_vectors} of {total.real} faulty"
        f" {result.role}s, {total.named} of them in a requirement that they break. {total.exact} more are"
        f" equivalent, and {total.tolerated} differ by no more than the requirements allow.</p>"
    )
    hunts, found, right = hunt_rates(result.hunted)
    if hunts:
        yield (
            f"<p>{hunts:,} hunts of at most {result.traces:,} traces, by the seeds"
            f" {_text(', '.join(map(str, result.seeds)))}: {found:,} found the fault, {right:,} in a"
            " requirement that it breaks.</p>"
        )
    if result.quiet:
        yield f"<p>{_text(quiet_sentence(result))}.</p>"
        alarms = [
            (each.name, alarm.requirement, alarm.case, alarm.sentence)
            for each in result.quiet
            for alarm in each.alarms
        ]
        if alarms:
            yield from _table("False alarms", (result.role, "requirement", "case", "what"), alarms)


def _text(value: object) -> str:
    return escape(str(value))


def _table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterable[str]:
    yield f'<div class="wide" tabindex="0" role="region" aria-label="{_text(caption)}"><table>'
    yield f"<caption>{_text(caption)}</caption><thead><tr>"
    yield "".join(f'<th scope="col">{_text(head)}</th>' for head in heads)
    yield "</tr></thead><tbody>"
    for first, *rest in rows:
        cells = "".join(_cell(value) for value in rest)
        yield f'<tr><th scope="row">{_text(first)}</th>{cells}</tr>'
    yield "</tbody></table></div>"


def _cell(value: object) -> str:
    if isinstance(value, int | float):
        return f'<td class="number">{value:g}</td>'
    return f"<td>{_text(value)}</td>"


def _source(operator: Operator | None) -> str:
    source = operator.publication if operator else None
    if source is None:
        return "-"
    doi = f", doi {source.doi}" if source.doi else ""
    return f"{source.authors}: {source.title}. {source.where}, {source.year}{doi}"


def _operators(result: Whole) -> Iterable[str]:
    def row(tally: Tally) -> list[object]:
        operator = tally.operator
        return [
            operator.name if operator else "all",
            operator.sentence if operator else "",
            _source(operator),
            tally.real,
            tally.by_vectors,
            tally.named,
            tally.hunted,
            tally.in_every_seed,
            tally.in_some_seed,
            tally.exact,
            tally.tolerated,
        ]

    heads = (
        *("operator", "what it changes", "publication", "real faults", "found by vectors"),
        *("named by vectors", "hunted", "found by every seed", "by some seeds", "equivalent"),
        "tolerated",
    )
    yield "<h2>Operators</h2>"
    yield from _table(f"Faulty {result.role}s by operator", heads, map(row, result.tallies()))


def _missed(result: Whole) -> Iterable[str]:
    if not result.missed:
        return
    yield '<h2 class="missed">Not found by any vector</h2><ul>'
    for row in result.missed:
        yield f"<li><code>{_text(row.subject.name)}</code>: {_text(row.subject.title)}</li>"
    yield "</ul>"


def _vectors(result: Whole) -> Iterable[str]:
    finds = {case: [0, 0] for case in result.cases}
    for row in result.rows:
        for case in row.cases:
            finds[case][0] += 1
            finds[case][1] += len(row.cases) == 1
    kept = set(result.cover)
    rows = [
        (case, some, alone, "yes" if case in kept else "no")
        for case, (some, alone) in finds.items()
    ]
    yield "<h2>Vectors</h2>"
    heads = ("vector", "faults found", "found by no other", "needed by the smallest set")
    yield from _table("What each vector finds", heads, rows)


def _faults(result: Whole) -> Iterable[str]:
    yield f"<h2>Faulty {result.role}s</h2>"
    heads = ["fault", "what it does", "breaks", "found by vectors in"]
    if result.seeds:
        heads += ["seeds that find it", "named right", "median traces", "most traces"]
    rows = (_fault(row, result.hunted_of(row.subject), result) for row in result.real)
    yield from _table(f"Every faulty {result.role} that can be found", heads, rows)


def _fault(row: Row, hunted: Hunted | None, result: Whole) -> list[object]:
    found = ", ".join(f"{name} ({len(cases)})" for name, cases in sorted(row.found.items()))
    cells: list[object] = [
        row.subject.name,
        row.subject.title,
        ", ".join(sorted(row.subject.breaks)),
        found or "none",
    ]
    if not result.seeds:
        return cells
    if hunted is None:
        return [*cells, "not hunted", "-", "-", "-"]
    middle, most = hunted.median_traces, hunted.most_traces
    return [
        *cells,
        hunted.found_in,
        hunted.right_in,
        "-" if middle is None else middle,
        "-" if most is None else most,
    ]


def _unfound(result: Whole) -> Iterable[str]:
    rows = [
        (
            row.subject.name,
            row.subject.title,
            "equivalent" if row.subject.reason.exact else "tolerated",
            row.subject.reason.text,
            "from its code" if row.subject.reason.proved else "listed",
        )
        for row in result.rows
        if row.subject.reason is not None
    ]
    if rows:
        yield "<h2>What can never be found</h2>"
        heads = ("fault", "what it does", "kind", "reason", "known")
        yield from _table("Equivalent and tolerated ones", heads, rows)
