"""What a picture of a charger shows: set-point against request and readings, limit, and ages."""

from __future__ import annotations

from ctrl.charger import ChargerSettings
from harness.report.excerpt import Excerpt
from harness.report.panels import LEAST_A, LEAST_V, Level, Line, Panel, inside, panel_of

LEAST_S = 2.0
# The colours of what the packs read, one after the other.
PACK_KINDS = ("v", "soc", "cell")
# Groups of requirements in which the age of a request decides.
BY_AGE = ("STALE", "RECOVER", "BEGIN", "CLOCK", "RESTART", "DOUBT", "PACKS")


def charger_panels(excerpt: Excerpt, group: str) -> tuple[Panel, ...]:
    """What shows a finding about a requirement of this group, from the top down."""
    settings = excerpt.settings
    assert isinstance(settings, ChargerSettings)
    shown = [_voltage(excerpt, settings), _current(excerpt, settings)]
    if group in BY_AGE:
        shown.append(_ages(excerpt, settings))
    return tuple(shown)


def _voltage(excerpt: Excerpt, settings: ChargerSettings) -> Panel:
    columns = excerpt.columns
    packs = [name for name in columns if name.startswith("pack_v_")]
    lines = [
        Line("own_v", "own", columns["own_v"]),
        *(
            Line(name, PACK_KINDS[number % len(PACK_KINDS)], columns[name])
            for number, name in enumerate(packs)
        ),
    ]
    if "set_point_v" in columns:
        lines.append(Line("set_point_v", "i", columns["set_point_v"], stepped=True))
    # Where both are the same its dashes show the one under it.
    lines.append(Line("asked_v", "request", columns["asked_v"], stepped=True))
    return panel_of(
        "voltage",
        "V",
        LEAST_V,
        tuple(lines),
        (Level("highest_v", settings.highest_v), Level("fallback_v", settings.fallback_v)),
        lambda values: inside(values, settings.plausible_v),
    )


def _current(excerpt: Excerpt, settings: ChargerSettings) -> Panel:
    columns = excerpt.columns
    lines = [Line("own_a", "own", columns["own_a"])]
    if "limit_a" in columns:
        lines.append(Line("limit_a", "i", columns["limit_a"], stepped=True))
    lines.append(Line("asked_a", "request", columns["asked_a"], stepped=True))
    most_a = settings.plausible_a
    return panel_of(
        "current",
        "A",
        LEAST_A,
        tuple(lines),
        (Level("highest_a", settings.highest_a), Level("fallback_a", settings.fallback_a)),
        lambda values: inside(values, (-most_a, most_a)),
    )


def _ages(excerpt: Excerpt, settings: ChargerSettings) -> Panel:
    names = ("stale_s", "silent_s", "steady_s")
    return panel_of(
        "age of the oldest request in force, and for how long all have been fresh",
        "s",
        LEAST_S,
        (
            Line("oldest_s", "v", excerpt.columns["oldest_s"]),
            Line("fresh_s", "soc", excerpt.columns["fresh_s"]),
        ),
        tuple(Level(name, getattr(settings, name)) for name in names),
    )
