"""A picture of a failing trace: voltage and thresholds, current, and who was in which stage."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from harness.errors import InputError
from harness.hunt.compare import reference_run
from harness.report.bank_panels import COLOURS, SHADES, SMALL
from harness.report.panels import axis, levels_of
from harness.report.picture import refuse_without_library
from harness.run import Case, Finding, Floats, Run

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INCHES, DOTS_PER_INCH = (9.0, 5.6), 100
# Of two levels nearer than this part of the panel one name is left out.
NEAREST = 0.045


def draw(case: Case, run: Run | None, finding: Finding, file: Path) -> None:
    """Draw a failing case into a file; its kind follows from the name.

    Args:
        case: the case.
        run: what the controller answered; None where it failed to.
        finding: what is wrong; its index counts in this case.
        file: a .png or a .svg.

    Raises:
        InputError: the library is missing, or the file cannot be written.
    """
    answers = None if run is None else run.answers
    said = reference_run(case).answers

    def fill(panels: Sequence[Axes], x: Floats) -> None:
        _voltages(panels[0], x, case)
        panels[1].plot(x, case.trace.i, color=COLOURS[1], marker="s", markersize=4)
        panels[1].set_ylabel("i, A")
        low, high = panels[1].get_ylim()
        # A current that does not change is no noise to look into.
        panels[1].set_ylim(min(low, high - 2.0), max(high, low + 2.0))
        stage = None if answers is None else answers.stage
        bars(panels[2], x, SHADES, ("reference", said.stage), ("controller", stage))
        for place, given in enumerate((said, answers)):
            if given is not None and given.full_reset is not None:
                at = x[given.full_reset]
                panels[2].plot(at, [place] * len(at), linestyle="none", marker="*", color="#000000")

    painted(case, finding, file, fill)


def painted(
    case: Any, finding: Finding, file: Path, fill: Callable[[Sequence[Axes], Floats], None]
) -> None:
    """A picture of a failing case of any role: three panels over one another.

    Args:
        case: the case.
        finding: what is wrong.
        file: a .png or a .svg.
        fill: draws into the panels, over the given places of the samples.

    Raises:
        InputError: the library is missing, or the file cannot be written.
    """
    refuse_without_library()
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    # The same case gives the same file; text in a vector picture stays text.
    style: Any = {"svg.hashsalt": "fullproof", "svg.fonttype": "none", "font.size": 9.5,
             "axes.spines.top": False, "axes.spines.right": False, "hatch.linewidth": 0.6}  # fmt: skip
    with mpl.rc_context(style):
        figure = Figure(figsize=INCHES, dpi=DOTS_PER_INCH, facecolor="white")
        FigureCanvasAgg(figure)
        panels = figure.subplots(3, 1, sharex=True, height_ratios=[2.6, 1.0, 0.9])
        figure.subplots_adjust(left=0.11, right=0.83, top=0.86, bottom=0.1, hspace=0.14)
        figure.text(0.02, 0.955, finding.requirement, fontsize=12, weight="bold")
        figure.text(0.02, 0.905, finding.sentence, fontsize=SMALL, color="#444444", wrap=True)
        x, called = axis(case.trace)
        fill(panels, x)
        panels[2].set_xlabel(f"{called}; the line through all panels is the finding")
        for axes in panels:
            if finding.index >= 0:
                axes.axvline(x[finding.index], color="#D55E00", linewidth=1.2, zorder=5)
            # Nobody asks a charger for an equalisation.
            for k in (*case.power_cycles, *getattr(case, "equalise_requests", ())):
                axes.axvline(x[k], color="#555555", linewidth=0.9, linestyle=":", zorder=4)
        metadata = {"Date": None} if file.suffix.lower() == ".svg" else {}
        try:
            figure.savefig(file, metadata=metadata)
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", file=file) from None


def _voltages(axes: Axes, x: Floats, case: Case) -> None:
    v, settings = case.trace.v, case.settings
    axes.plot(x, v, color=COLOURS[0], marker="o", markersize=4.5)
    axes.set_ylabel("v, V")
    known = v[np.isfinite(v)]
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    room = max(0.15 * (high - low), 0.3)
    axes.set_ylim(low - room, high + room)
    named: list[float] = []
    for name, level in ((each.name, each.at) for each in levels_of(settings)):
        if not low - room <= level <= high + room:
            continue
        axes.axhline(level, color="#777777", linewidth=0.8, linestyle=(0, (4, 2)), zorder=1)
        if all(abs(level - other) > NEAREST * (high - low + 2 * room) for other in named):
            named.append(level)
            axes.annotate(
                f"{name} {level:g}", xy=(1.01, level), xycoords=("axes fraction", "data"),
                fontsize=SMALL, va="center", color="#555555", annotation_clip=False,
            )  # fmt: skip


def bars(
    axes: Axes,
    x: Floats,
    shades: Mapping[Any, tuple[str, str]],
    *rows: tuple[str, Any],
) -> None:
    """Who was in which state: one bar each, from the bottom up.

    Args:
        axes: the panel.
        x: the places of the samples.
        shades: colour and hatch of each state; a state has a `word`.
        rows: whose bar it is, and the states; None where there was no answer.
    """
    from matplotlib.patches import Patch

    # A sample's state holds until the next sample; the last one is drawn as long as the rest is.
    width = float(x[-1] - x[0]) / max(len(x) - 1, 1) or 1.0
    edges_x = np.concatenate([x, [x[-1] + width]])
    kind = type(next(iter(shades)))
    used: set[Any] = set()
    for place, (_, given) in enumerate(rows):
        if given is None:
            axes.text(x[0], place, "no answer", va="center", fontsize=SMALL)
            continue
        edges = [0, *(np.flatnonzero(np.diff(given)) + 1).tolist(), len(x)]
        for first, behind in pairwise(edges):
            state = kind(given[first])
            used.add(state)
            shade, hatch = shades[state]
            span = [(edges_x[first], edges_x[behind] - edges_x[first])]
            axes.broken_barh(
                span, (place - 0.36, 0.72), facecolor=shade, hatch=hatch,
                edgecolor="#555555", linewidth=0.6,
            )  # fmt: skip
    axes.set_yticks(range(len(rows)), [label for label, _ in rows])
    axes.set_ylim(-0.6, len(rows) - 0.4)
    keys: list[Any] = [
        Patch(facecolor=shades[s][0], hatch=shades[s][1], edgecolor="#555555", label=s.word)
        for s in kind
        if s in used
    ]
    axes.legend(
        handles=keys, loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False, fontsize=SMALL
    )
