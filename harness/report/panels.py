"""What a picture of a trace shows: panels with lines and levels, before anyone draws them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from attrs import field, frozen

from ctrl.settings import Settings
from harness.report.clocks import Clock
from harness.report.excerpt import Excerpt
from harness.report.words import number
from harness.run import Floats, Trace

# The pack voltages that decide something, from the highest on.
LEVELS = ("absorption_v", "entry_v", "full_v", "sag_v", "float_v", "return_v", "empty_v")
# Those of them that temperature shifts.
SHIFTED = ("absorption_v", "entry_v", "full_v", "sag_v", "float_v", "return_v")
# A quantity that does not change is no noise to look into: the least height of a panel.
LEAST_V, LEAST_A, LEAST_SOC, LEAST_C, LEAST_CELL_V = 0.6, 2.0, 0.01, 5.0, 0.1
# Groups of requirements that need more to be seen than voltage, current and stages.
OF_COUNT = ("SOC", "FULL", "RETURN", "POWER")
OF_TEMPERATURE = ("PROTECT", "REQUEST")
# Where a timer or dwell has run out.
DUE = "due"


@frozen(eq=False)
class Line:
    """One line of a panel.

    Attributes:
        name: what it is called.
        kind: how it is drawn: the name of its colour.
        values: one for each kept sample; NaN where there is none.
        stepped: a value holds until the next sample.
    """

    name: str
    kind: str
    values: Floats
    stepped: bool = False


@frozen
class Level:
    """A setting that a line is compared with.

    Attributes:
        name: the setting.
        at: its value, in the unit of the panel.
        shifted: temperature shifts it.
    """

    name: str
    at: float
    shifted: bool = False

    @property
    def text(self) -> str:
        """Name and value."""
        return self.name if self.name == DUE else f"{self.name} {number(self.at)}"


@frozen(eq=False)
class Panel:
    """Lines over the same samples, in one unit.

    Attributes:
        title: what is shown.
        unit: its unit; empty for none.
        low: lower end of what is shown at first.
        high: upper end.
        least: the least height that is worth showing.
        lines: the lines.
        levels: the settings that lie within it or near.
    """

    title: str
    unit: str
    low: float
    high: float
    least: float
    lines: tuple[Line, ...]
    levels: tuple[Level, ...] = field(default=())


def axis(trace: Trace) -> tuple[Floats, str]:
    """Where samples stand from left to right, and what that is.

    Stamps where they only go on; the numbers of the samples where they do not.
    """
    if stamps_go_on(trace.t):
        return trace.t, "t in s"
    return np.arange(len(trace), dtype=np.float64), "sample"


def stamps_go_on(t: Floats) -> bool:
    """Whether every stamp is a number and later than the one before."""
    return bool(np.all(np.isfinite(t)) and np.all(np.diff(t) > 0))


def across(excerpt: Excerpt) -> tuple[Floats, str]:
    """The same for kept samples, which keep their numbers."""
    t = excerpt.columns["t"]
    if stamps_go_on(t):
        return t, "t in s"
    return excerpt.indices.astype(np.float64), "sample"


def levels_of(settings: Settings) -> tuple[Level, ...]:
    """The pack voltages that are set."""
    set_to = ((name, getattr(settings, name)) for name in LEVELS)
    shifts = settings.compensation_v_per_c != 0.0
    return tuple(
        Level(name, float(at), shifts and name in SHIFTED) for name, at in set_to if at is not None
    )


def panels(excerpt: Excerpt, group: str) -> tuple[Panel, ...]:
    """What shows a finding about a requirement of this group, from the top down."""
    settings = excerpt.settings
    if not isinstance(settings, Settings):
        from harness.report.charger_panels import charger_panels

        return charger_panels(excerpt, group)
    found = [_voltage(excerpt, settings, group), _current(excerpt, settings, group)]
    columns = excerpt.columns
    if "cell_max_v" in columns and group in OF_TEMPERATURE:
        levels = _set(
            ("cell_limit_v", settings.cell_limit_v), ("cell_release_v", settings.cell_release_v)
        )
        cell = Line("cell_max_v", "cell", columns["cell_max_v"])
        found.append(panel_of("highest cell", "V", LEAST_CELL_V, (cell,), levels))
    if "temp_c" in columns and (group in OF_TEMPERATURE or "shift_v" in columns):
        levels = _set(
            ("charge_min_c", settings.charge_min_c), ("charge_max_c", settings.charge_max_c)
        )
        lines = tuple(
            Line(name, kind, columns[name])
            for name, kind in (("temp_c", "cold"), ("temp_max_c", "hot"))
            if name in columns
        )
        found.append(panel_of("temperature", "degrees C", LEAST_C, lines, levels))
    if "soc" in columns and group in OF_COUNT:
        levels = _set(("soc_ceiling", settings.soc_ceiling), ("return_soc", settings.return_soc))
        count = Line("soc", "soc", columns["soc"])
        found.append(panel_of("state of charge", "", LEAST_SOC, (count,), levels))
    if excerpt.clocks:
        found.append(_clocks(excerpt.clocks))
    return tuple(found)


def _voltage(excerpt: Excerpt, settings: Settings, group: str) -> Panel:
    lines = [Line("v", "v", excerpt.columns["v"])]
    if group == "REQUEST" and "voltage_request_v" in excerpt.columns:
        lines.append(
            Line("voltage_request_v", "request", excerpt.columns["voltage_request_v"], stepped=True)
        )
    return panel_of(
        "voltage",
        "V",
        LEAST_V,
        tuple(lines),
        levels_of(settings),
        lambda x: inside(x, settings.plausible_v),
    )


def _current(excerpt: Excerpt, settings: Settings, group: str) -> Panel:
    lines = [Line("i", "i", excerpt.columns["i"])]
    if group == "REQUEST" and "current_request_a" in excerpt.columns:
        lines.append(
            Line("current_request_a", "request", excerpt.columns["current_request_a"], stepped=True)
        )
    return panel_of(
        "current", "A", LEAST_A, tuple(lines), _set(("taper_a", settings.taper_a)),
        lambda x: inside(x, settings.plausible_i),
    )  # fmt: skip


def _clocks(clocks: tuple[Clock, ...]) -> Panel:
    lines = tuple(
        Line(f"{clock.name} of {number(clock.asked_s)} s", f"clock{number_}", clock.share)
        for number_, clock in enumerate(clocks)
    )
    return Panel(
        "timers and dwells, as parts of what is set",
        "",
        0.0,
        1.25,
        0.1,
        lines,
        (Level(DUE, 1.0),),
    )


def _set(*named: tuple[str, float | None]) -> tuple[Level, ...]:
    return tuple(Level(name, float(at)) for name, at in named if at is not None)


def inside(values: Floats, bounds: tuple[float, float]) -> Floats:
    """Those of the values that lie within bounds."""
    with np.errstate(invalid="ignore"):
        within: Floats = values[(values >= bounds[0]) & (values <= bounds[1])]
    return within


def _finite(values: Floats) -> Floats:
    return values[np.isfinite(values)]


def panel_of(
    title: str,
    unit: str,
    least: float,
    lines: tuple[Line, ...],
    levels: tuple[Level, ...],
    believed: Callable[[Floats], Floats] = _finite,
) -> Panel:
    """A panel that is as high as what can be believed of its lines, with the levels near it."""
    values = np.concatenate([believed(line.values) for line in lines])
    low, high = (float(values.min()), float(values.max())) if len(values) else (0.0, least)
    room = max(0.15 * (high - low), least / 2)
    low, high = low - room, high + room
    near = tuple(level for level in levels if low <= level.at <= high)
    return Panel(title, unit, low, high, least, lines, near)
