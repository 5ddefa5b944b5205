"""The margins of a pack, told to a person: plain words, then numbers, then requirements."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

import click

from ctrl.advice import CAUTION, beside_limit, cautions
from harness.report.margins import Margin, Margins

WIDTH = 96
_INDENT = "   "


def margins_text(margins: Margins, name: str) -> str:
    """What is told of the margins.

    Args:
        margins: the margins of a pack.
        name: of the file of settings.
    """
    count = len(margins.advice)
    lines = [f"{name}: {_headline(count)}", "", *_table(margins)]
    if count:
        lines += ["", *_warnings(margins)]
    lines += ["", *_wrapped(_smallest(margins))]
    if margins.late:
        lines += ["", *_late(margins)]
    lines += ["", *_wrapped(_assumed(margins)), "", f"warnings: {count}"]
    for caution in cautions(margins.settings):
        lines += _wrapped(caution)
    return "\n".join(lines) + "\n"


def _headline(count: int) -> str:
    if count == 0:
        return "every margin is enough for this installation"
    return "one margin is not enough" if count == 1 else f"{count} margins are not enough"


def _table(margins: Margins) -> Iterator[str]:
    rows = [("wanted", "margin", "less", "left", "")]
    for each in margins.margins:
        eaten = ", ".join(f"{part.by} {_number(part.amount)}" for part in each.eaten)
        verdict = "enough" if each.enough else "WARNING"
        rows.append(
            (each.wanted, _amount(each.amount, each), eaten, _amount(each.left, each), verdict)
        )
    wide = [max(len(row[k]) for row in rows) for k in range(5)]
    for wanted, margin, eaten, left, verdict in rows:
        yield (
            f"{wanted:<{wide[0]}}  {margin:>{wide[1]}}  {eaten:<{wide[2]}}  {left:>{wide[3]}}"
            f"  {verdict}"
        ).rstrip()


def _warnings(margins: Margins) -> Iterator[str]:
    number = 0
    for each in margins.margins:
        for advice in each.advice:
            number += 1
            hint = advice.hint.removesuffix(CAUTION).rstrip()
            first, *rest = _wrapped(f"{advice.sentence} {hint}", WIDTH - len(_INDENT))
            yield f"{number}. {first}"
            yield from (f"{_INDENT}{line}" for line in rest)
            if each.rules:
                yield f"{_INDENT}{each.pair}; {', '.join(each.rules)}"


def _smallest(margins: Margins) -> str:
    smallest, settings = margins.smallest, margins.settings
    beside = beside_limit(settings, smallest.absorption_v)
    return (
        "The smallest absorption_v that clears what the meters and the wiring take is"
        f" {smallest.absorption_v:.3f} V (set: {smallest.set_v:.3f} V), {beside}"
    )


def _late(margins: Margins) -> Iterator[str]:
    interval_s = margins.installation.interval_s
    yield f"Dwells end at a sample, and samples are {interval_s:g} s apart:"
    for each in margins.late:
        yield f"{_INDENT}{each.name} {each.set_s:g} s takes {each.takes_s:g} s or more"


def _assumed(margins: Margins) -> str:
    found = margins.installation
    return (
        f"Taken for the installation: meters that differ by {1000 * found.meter_error_v:g} mV, noise"
        f" of {1000 * found.meter_noise_v:g} mV, wiring of {1000 * found.wiring_ohm:g} mΩ at"
        f" {found.taper_a:g} A, a sample every {found.interval_s:g} s, a full cell at rest at"
        f" {found.rest_cell_v:g} V. --help names the options that change them."
    )


def _amount(value: float, margin: Margin) -> str:
    if isfinite(value):
        return f"{_number(value)} {margin.unit}"
    return "no bound" if margin.unit else ""


def _number(value: float) -> str:
    # One decimal of a millivolt, second or percent is more than anybody measures.
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def _wrapped(text: str, width: int = WIDTH) -> list[str]:
    return click.wrap_text(text, width=width).splitlines()
