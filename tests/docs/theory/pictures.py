"""The pictures of docs/explanation/theory.md: `python -m tests.docs.theory.pictures` draws them anew."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from tests.docs.theory import runs
from tests.docs.theory.chart import STYLES, Course, Floats, Level, Moment, Panel, chart

IMAGES = Path(__file__).resolve().parents[3] / "docs" / "images"
# Its title, and its panels from the top down.
Drawn = tuple[str, Sequence[Panel]]
TIME_OF_DAY = "time of day"


def _clock(hours: Sequence[float]) -> list[tuple[float, str]]:
    return [(h, f"{int(h) % 24:02d}:{round(60 * (h % 1)):02d}") for h in hours]


def never_starts() -> Drawn:
    """What the charger holds and what the pack reads, through a day."""
    result = runs.never_starts()
    hours = runs.clock_h(result)
    t, read_v = runs.read_v(result, 0)
    charger = Course("charger's terminals", "first", hours, result.bank.charger_v)
    terminals = Course("pack's terminals", "third", hours, result.packs[0].true_v)
    reading = Course("pack's own reading", "second", t, read_v)
    entry = result.world.packs[0].settings.entry_v
    return "A day on which the hold never starts", (
        Panel(
            "Voltage of a whole day, V", 52.8, 56.6, (53, 54, 55, 56), 0, 24,
            _clock((0, 6, 12, 18, 24)), TIME_OF_DAY,
            (charger, reading),
            (Level(f"entry_v {entry:.2f}", entry, right=False),),
        ),
        Panel(
            "The same, magnified, V", 55.7, 56.05, (55.7, 55.8, 55.9, 56.0), 6, 24,
            _clock((6, 9, 12, 15, 18, 21, 24)), TIME_OF_DAY,
            (charger, terminals, reading),
            (Level(f"entry_v {entry:.2f}", entry), Level("asked 56.00", 56.0)),
            height=190,
        ),
    )  # fmt: skip


def recheck() -> Drawn:
    """A load in the hold, with and without a second look at the voltage."""
    kept, only = runs.recheck("voltage_after_hold"), runs.recheck("hold_only")
    t, read_v = runs.read_v(kept, 0)
    hours = runs.clock_h(kept)
    settings = kept.world.packs[0].settings
    (start, *_), (end, *_) = (
        runs.events(kept, name, 0) for name in ("hold_started", "full_denied")
    )
    moments = [runs.event_h(kept, event) for event in (start, end)]
    span = (8.0, 12.0, _clock((8, 9, 10, 11, 12)), TIME_OF_DAY)
    full_v = settings.full_v
    assert full_v is not None
    return "A load in the hold", (
        Panel(
            "Voltage that the pack reads, V", 52, 56.9, (52, 53, 54, 55, 56), *span,
            (Course("pack's own reading", "first", t, read_v),),
            (Level("full_v", full_v, right=False),),
            (Moment("hold starts", moments[0], 0.97), Moment("timer ends", moments[1], 0.97)),
        ),
        Panel(
            "State of charge, %", 70, 102, (70, 80, 90, 100), *span,
            (Course("true", "first", hours, 100 * kept.packs[0].true_soc),
             Course("counted without the recheck", "second",
                    runs.clock_h(only), 100 * only.packs[0].counted_soc),
             Course("counted with it", "third", hours, 100 * kept.packs[0].counted_soc)),
            (),
            (Moment("", moments[0]), Moment("", moments[1])),
        ),
    )  # fmt: skip


def left_behind() -> Drawn:
    """One pack finishes and the voltage falls for all."""
    result = runs.shipped_run("lead-finishes-first")
    kinds = ("first", "second", "third")
    readings, errors = [], []
    for p, (pack, kind) in enumerate(zip(result.packs, kinds, strict=True)):
        t, read_v = runs.read_v(result, p)
        t, read_v = _highest_a_minute(t, read_v)
        short_mv = 1000.0 * (read_v - result.world.packs[p].settings.entry_v)
        readings.append(Course(pack.name, kind, t, short_mv, stepped=True))
        wrong = 100.0 * (pack.counted_soc - pack.true_soc)
        errors.append(Course(pack.name, kind, runs.clock_h(result), wrong))
    start, reset = (
        runs.events(result, "hold_started", 0)[0],
        runs.events(result, "full_reset", 0)[0],
    )
    return "One pack finishes, and the others are left behind", (
        Panel(
            "Highest reading a minute, less entry_v, mV", -75, 40, (-60, -40, -20, 0, 20), 9.5, 11,
            _clock((9.5, 10, 10.5, 11)), "time of day, day 1", readings,
            (Level("entry_v", 0.0),),
            (Moment("hold of east", runs.event_h(result, start)),
             Moment("east is full", runs.event_h(result, reset), before=True)),
            height=170,
        ),
        Panel(
            "Counted less true, % of capacity", -4.5, 1.5, (-4, -3, -2, -1, 0, 1), 6, 78,
            [(24.0 * day + 6, f"day {day + 1}") for day in range(3)], "from 06:00 of each day", errors,
        ),
    )  # fmt: skip


def _highest_a_minute(t: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Where each minute begins, h, and its highest value: a meter's last digit flickers."""
    minutes = np.floor(60.0 * t + 1e-6)
    starts, first = np.unique(minutes, return_index=True)
    return starts / 60.0, np.maximum.reduceat(values, first)


def remote_sense() -> Drawn:
    """The same day on the pier, with and without compensation."""
    panels = []
    for title, name in (
        ("Without compensation, V", "long-cable-without-remote-sense"),
        ("With compensation, V", "long-cable-remote-sense"),
    ):
        result = runs.shipped_run(name)
        t, read_v = runs.read_v(result, 0)
        entry = result.world.packs[0].settings.entry_v
        panels.append(
            Panel(
                title, 26.4, 28.8, (26.5, 27, 27.5, 28, 28.5), 8, 13,
                _clock((8, 9, 10, 11, 12, 13)), TIME_OF_DAY,
                (Course("charger's terminals", "first", runs.clock_h(result), result.bank.charger_v),
                 Course("pack's own reading", "second", t, read_v)),
                (Level(f"entry_v {entry:.2f}", entry, right=False, under=True),),
                [Moment("full reset", runs.event_h(result, event), 0.95)
                 for event in runs.events(result, "full_reset", 0)],
            )
        )  # fmt: skip
    return "The same day with and without compensation of the cable", panels


PICTURES: dict[str, Callable[[], Drawn]] = {
    "never-starts": never_starts,
    "recheck": recheck,
    "left-behind": left_behind,
    "remote-sense": remote_sense,
}


def drawn(name: str, scheme: str) -> str:
    """A picture, one of `PICTURES`, for a `light` or a `dark` page."""
    title, panels = PICTURES[name]()
    return chart(title, panels, scheme)


def place(name: str, scheme: str) -> Path:
    """Where a picture is stored."""
    return IMAGES / f"theory-{name}-{scheme}.svg"


def main() -> None:
    """Draw all of them."""
    for name in PICTURES:
        for scheme in STYLES:
            file = place(name, scheme)
            file.write_text(drawn(name, scheme), encoding="utf-8")
            print(file.name, file.stat().st_size)


if __name__ == "__main__":
    main()
