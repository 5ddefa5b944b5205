"""What came of the zoo, for people: what was missed, which vectors are idle, and a table of operators."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from harness.report.console import columns, line, paragraph
from harness.report.words import count, listed
from harness.zoo.hunting import Hunted
from harness.zoo.matrix import Row
from harness.zoo.whole import Tally, Whole

# So many names fit on a screen; all of them are in the files.
MOST = 12
_HEADS = ("operator", "publication", "real", "found", "named")
_HUNT_HEADS = ("all seeds", "some")
_LAST_HEADS = ("same", "allowed")


def show(console: Console, result: Whole, *, about_vectors: bool = True) -> None:
    """Print the whole story; the sum of it comes last.

    Args:
        console: where.
        result: what came of it.
        about_vectors: whether to say which vectors find nothing; where only some of the faults were
            tried, that would say nothing about the vectors.
    """
    _missed(console, result)
    _refuted(console, result)
    if about_vectors:
        _vectors(console, result)
    if result.seeds:
        _hunt(console, result)
    _alarms(console, result)
    _table(console, result)
    _sum(console, result)


def _missed(console: Console, result: Whole) -> None:
    if result.missed:
        line(console, ("Not found by any vector", "bold red"))
        for row in result.missed[:MOST]:
            _named(console, row)
        _rest(console, len(result.missed))
    if result.elsewhere:
        line(console, ("Found by vectors, in requirements that they do not break", "bold"))
        for row in result.elsewhere[:MOST]:
            paragraph(
                console,
                f"{row.subject.name}: found in {', '.join(sorted(row.found))}; it breaks"
                f" {', '.join(sorted(row.subject.breaks))}",
                indent=2,
            )
        _rest(console, len(result.elsewhere))


def _named(console: Console, row: Row) -> None:
    paragraph(console, f"{row.subject.name}: {row.subject.title}", indent=2)


def _rest(console: Console, many: int) -> None:
    if many > MOST:
        line(console, f"  and {many - MOST} more")
    console.print()


def _refuted(console: Console, result: Whole) -> None:
    for each in result.refuted:
        subject = each.subject
        assert subject.reason is not None
        line(console, (f"Said never to be found, and found: {subject.name}", "bold red"))
        paragraph(console, f"The reason was: {subject.reason.text}.", indent=2)
        if isinstance(each, Row):
            where = ", ".join(sorted(each.cases)[:3])
        else:
            found = next(find for find in each.finds if find.traces is not None)
            where = f"the trace hunt/{find_id(found.seed, found.traces)}"
        paragraph(console, f"Found by {where}.", indent=2)
        console.print()


def find_id(seed: int, traces: int | None) -> str:
    """The id of a swept trace behind `hunt/`, from how many traces it took."""
    return f"{seed}-{(traces or 1) - 1}"


def _vectors(console: Console, result: Whole) -> None:
    told: tuple[tuple[str, Sequence[str]], ...] = (
        ("Vectors that find nothing", result.idle),
        ("Vectors that find nothing that others do not", result.redundant),
    )
    for title, names in told:
        if names:
            text = f"{title}: {len(names)} of {len(result.cases)}: {listed(list(names), MOST)}"
            paragraph(console, text, indent=2)
    some = count(len(result.cover), "vector finds", "vectors find")
    paragraph(console, f"{some} all that the {len(result.cases)} do.\n", indent=2)


def _hunt(console: Console, result: Whole) -> None:
    hard = [each for each in result.hunted if each.subject.reason is None]
    hard = [each for each in hard if each.found_in < len(each.finds)]
    if not hard:
        return
    line(console, (f"Not found by every seed within {result.traces:,} traces", "bold"))
    for each in sorted(hard, key=lambda one: (one.found_in, one.subject.name))[:MOST]:
        text = f"{each.subject.name}: in {each.found_in} of {len(each.finds)} seeds"
        paragraph(console, f"{text}; {each.subject.title}", indent=2)
    _rest(console, len(hard))


def _table(console: Console, result: Whole) -> None:
    hunted = bool(result.seeds)
    heads = (*_HEADS, *(_HUNT_HEADS if hunted else ()), *_LAST_HEADS)
    rows = [_cells(tally, hunted) for tally in result.tallies()]
    right = [False, False, *[True] * (len(heads) - 2)]
    columns(console, heads, rows, right)
    legend = "real: can be found. found, named: by a vector, and in a requirement that it breaks."
    if hunted:
        legend += " all seeds, some: by the hunt."
    legend += " same, allowed: no answer differs, or by no more than the requirements allow."
    paragraph(console, legend, style="dim")
    console.print()


def _cells(tally: Tally, hunted: bool) -> list[Text]:
    operator = tally.operator
    if operator is None:
        first = [Text("all", style="bold"), Text("")]
    else:
        source = operator.publication
        first = [Text(operator.name), Text(source.short if source else "-")]
    numbers = [tally.real, tally.by_vectors, tally.named]
    if hunted:
        numbers += [tally.in_every_seed, tally.in_some_seed]
    numbers += [tally.exact, tally.tolerated]
    cells = [Text(str(number)) for number in numbers]
    if tally.by_vectors < tally.real:
        cells[1].stylize("bold red")
    return [*first, *cells]


def hunt_rates(hunted: Sequence[Hunted]) -> tuple[int, int, int]:
    """How many hunts for real faults there were, how many found them, how many named them right."""
    real = [each for each in hunted if each.subject.reason is None]
    hunts = sum(len(each.finds) for each in real)
    return hunts, sum(each.found_in for each in real), sum(each.right_in for each in real)


def quiet_sentence(result: Whole) -> str:
    """How many controllers that keep the rules were judged, how often, and what was found."""
    runs = sum(each.vectors + each.traces for each in result.quiet)
    alarms = "no false alarm" if not result.alarms else count(result.alarms, "false alarm")
    return f"{len(result.quiet)} {result.role}s that keep the rules, {runs:,} runs judged: {alarms}"


def _alarms(console: Console, result: Whole) -> None:
    """What was found in controllers that keep the rules, the first ones in full."""
    told = [(each.name, alarm) for each in result.quiet for alarm in each.alarms]
    if not told:
        return
    line(console, ("False alarms", "bold red"))
    for name, alarm in told[:MOST]:
        text = f"{name}: {alarm.requirement} in {alarm.case}: {alarm.sentence}"
        paragraph(console, text, indent=2)
    _rest(console, len(told))


def _sum(console: Console, result: Whole) -> None:
    total = result.tally()
    text = f"The vectors find {total.by_vectors} of {count(total.real, f'faulty {result.role}')}"
    text += f", {total.named} of them in a requirement that they break."
    paragraph(console, text)
    hunts, found, right = hunt_rates(result.hunted)
    if hunts:
        share = f"{found / hunts:.1%}" if found < hunts else "all"
        text = (
            f"The hunt ({count(len(result.seeds), 'seed')}, {result.traces:,} traces each) finds"
            f" {share} of {hunts:,}"
        )
        if found:
            named = f"{right / found:.1%}" if right < found else "all"
            text += f", and names a requirement that is broken in {named} of those"
        paragraph(console, f"{text}.")
    unfound = total.exact + total.tolerated
    if unfound:
        paragraph(
            console,
            f"{unfound} more can never be found: {total.exact} are equivalent, {total.tolerated} differ"
            " by no more than the requirements allow.",
        )
    if result.quiet:
        paragraph(
            console, f"{quiet_sentence(result)}.", style="" if not result.alarms else "bold red"
        )
    if not result.complete:
        paragraph(console, "Interrupted: this is what was done until then.", style="bold")
