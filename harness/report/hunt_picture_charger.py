"""A picture of a failing trace of a charger: voltages, currents, and who was in which state."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ctrl.charger import Conduct
from harness.charger.case import ChargerCase, ChargerRun
from harness.report.bank_panels import COLOURS, SMALL
from harness.report.charger_heard import in_force, reference_answers
from harness.report.hunt_picture import bars, painted
from harness.run import Finding, Floats

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHADES = {
    Conduct.STOPPED: ("#DDDDDD", ""),
    Conduct.FALLBACK: ("#F0E442", "//"),
    Conduct.FOLLOWING: ("#9AD1B5", ""),
}
LEAST_V, LEAST_A = 0.3, 2.0


def draw_charger(case: ChargerCase, run: ChargerRun | None, finding: Finding, file: Path) -> None:
    """Draw a failing case into a file; its kind follows from the name.

    Args:
        case: the case.
        run: what the charger answered; None where it failed to.
        finding: what is wrong; its index counts in this case.
        file: a .png or a .svg.

    Raises:
        InputError: the library is missing, or the file cannot be written.
    """
    answers = None if run is None else run.answers
    said, heard = reference_answers(case), in_force(case)
    s, trace = case.settings, case.trace

    def fill(panels: Sequence[Axes], x: Floats) -> None:
        volts = [("asked for", heard["asked_v"]), ("reference", said.set_point_v)]
        amps = [("asked for", heard["asked_a"]), ("reference", said.limit_a)]
        if answers is not None:
            volts.append(("set-point", answers.set_point_v))
            amps.append(("limit", answers.limit_a))
        packs = range(1, trace.packs + 1)
        reads = [(f"pack {p} reads", trace.column(f"pack_v_{p}")) for p in packs]
        believable = [(name, _inside(values, s.plausible_v)) for name, values in reads]
        own_v = _inside(trace.own_v, s.plausible_v)
        _lines(panels[0], x, volts, [("own", own_v), *believable], LEAST_V)
        panels[0].set_ylabel("V")
        own_a = _inside(trace.own_a, (-s.plausible_a, s.plausible_a))
        _lines(panels[1], x, amps, [("own", own_a)], LEAST_A)
        panels[1].set_ylabel("A")
        state = None if answers is None else answers.state
        bars(panels[2], x, SHADES, ("reference", said.state), ("charger", state))

    painted(case, finding, file, fill)


def _inside(values: Floats, bounds: tuple[float, float]) -> Floats:
    """The values that can be believed: one that cannot would flatten all others."""
    low, high = bounds
    with np.errstate(invalid="ignore"):
        return np.where((low <= values) & (values <= high), values, np.nan)


def _lines(
    axes: Axes,
    x: Floats,
    steps: Sequence[tuple[str, Floats]],
    points: Sequence[tuple[str, Floats]],
    least: float,
) -> None:
    """What holds until the next sample as steps, and what is read as points."""
    dashes = ("-", (0, (4, 2)), "-")
    for (name, values), colour, dash in zip(steps, COLOURS, dashes, strict=False):
        axes.step(x, values, where="post", color=colour, linestyle=dash, label=name)
    markers = "osD^v<>"
    for number, (name, values) in enumerate(points):
        axes.plot(
            x,
            values,
            color="#555555",
            linestyle="none",
            marker=markers[number % len(markers)],
            markersize=4,
            label=name,
        )
    low, high = axes.get_ylim()
    # What does not change is no noise to look into.
    middle, room = (low + high) / 2, max(high - low, least) / 2
    axes.set_ylim(middle - room, middle + room)
    axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False, fontsize=SMALL)
