"""A log explained, as one page of HTML that needs nothing else: it works offline, and prints."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from math import isfinite
from typing import Any

from attrs import frozen
from markupsafe import Markup

from ctrl.settings import Settings
from harness.explain.explained import FINE
from harness.explain.fix import Fix, How
from harness.explain.reason import Cause, Link, Reason, Sure
from harness.explain.ruled import Ruled
from harness.explain.wiring import Between
from harness.report.between_plot import between_plot, beyond
from harness.report.caution import CAUTION
from harness.report.drawing import Drawing, members
from harness.report.drawing_svg import still
from harness.report.explained import (
    Story,
    amount,
    how_many_well,
    how_sure,
    look_first,
    rules_of,
    shared_in_words,
    told_stamp,
    when,
    wiring_in_words,
)
from harness.report.explained_crossing import crossing
from harness.report.explained_rows import Along
from harness.report.explained_timeline import MOST_SAMPLES, parting, timeline
from harness.report.page_parts import rendered
from harness.report.words import changed_settings, count

# All timelines together have so many samples at most, however many packs there are.
MOST_TOGETHER, LEAST_SAMPLES = 40_000, 120
# So many packs have their moment magnified; those that are not well come first.
MOST_MAGNIFIED = 24
HELPS = {True: ("helps", "good"), False: ("does not help", "none"), None: ("not known", "odd")}
DAY_S = 86_400.0


def page(story: Story) -> str:
    """The page.

    Args:
        story: what is told of a log.
    """
    explained = story.explained
    clock = _clock_of(story)
    most = min(MOST_SAMPLES, max(LEAST_SAMPLES, MOST_TOGETHER // len(explained.packs)))
    ordered = sorted(explained.packs, key=lambda pack: explained.main(pack.name).cause in FINE)
    magnified = {pack.name for pack in ordered[:MOST_MAGNIFIED]}
    drawings: list[dict[str, Any]] = []
    packs = [
        _pack(story, pack, number, clock, drawings, most, pack.name in magnified)
        for number, pack in enumerate(explained.packs)
    ]
    top = explained.top
    return rendered(
        "explained.html",
        {
            "midnight_ms": clock.midnight_ms,
            "offset_s": clock.offset_s,
            "drawings": drawings,
        },
        styles="explained.css",
        script="explained.js",
        title=how_many_well(story),
        kind="good" if top.cause in FINE else "odd" if top.cause is Cause.UNKNOWN else "bad",
        first=_sentence(look_first(story).removeprefix("; ")),
        log=str(explained.log.path),
        length=_length(story),
        packs=packs,
        first_pack=next(each["number"] for each in packs if each["name"] == top.pack),
        shared=shared_in_words(explained),
        caution=CAUTION,
    )


@frozen
class _Clock:
    """How positions from left to right are told.

    Attributes:
        midnight_ms: where position 0 is, ms since the epoch of a clock on the wall there; None
            where the log has no dates.
        offset_s: position of the first row of the log, s.
    """

    midnight_ms: float | None
    offset_s: float

    def told(self, along: Along, span_s: float) -> Callable[[float], str]:
        """Positions in a picture of so many seconds as text."""

        def text(position: float) -> str:
            stamp_s = along.stamp(position) + self.offset_s
            if self.midnight_ms is None:
                whole = round(stamp_s)
                hours, rest = divmod(abs(whole), 3600)
                sign = "-" if whole < 0 else ""
                return f"{sign}{hours}:{rest // 60:02d}" + (
                    f":{rest % 60:02d}" if span_s < 3600 else ""
                )
            shape = "%H:%M:%S" if span_s < 3600 else "%H:%M" if span_s < DAY_S else "%m-%d %H:%M"
            at = datetime.fromtimestamp(round(self.midnight_ms / 1000.0 + stamp_s), UTC)
            return at.strftime(shape)

        return text


def _clock_of(story: Story) -> _Clock:
    start = story.explained.log.start
    if start is None:
        return _Clock(None, 0.0)
    on_the_wall = start.replace(tzinfo=UTC)
    midnight = on_the_wall.replace(hour=0, minute=0, second=0, microsecond=0)
    return _Clock(midnight.timestamp() * 1000.0, (on_the_wall - midnight).total_seconds())


def _length(story: Story) -> str:
    explained = story.explained
    rows = sum(len(pack.log) for pack in explained.packs)
    told = [count(len(explained.days), "day"), count(rows, "row")]
    started = told_stamp(explained, 0.0) if explained.log.start is not None else ""
    return ", ".join(told) + (f", from {started}" if started else "")


def _pack(
    story: Story,
    pack: Ruled,
    number: int,
    clock: _Clock,
    drawings: list[dict[str, Any]],
    most: int,
    magnified: bool,
) -> dict[str, Any]:
    explained = story.explained
    main = explained.main(pack.name)
    along = Along(pack.log.trace.t, clock.offset_s)
    seen = crossing(explained, main, along) if magnified and len(along.known) else None
    close = None
    if seen is not None:
        close = {
            "title": seen.title,
            "told": seen.told,
            "every_row": seen.every_row,
            "picture": _picture(seen.drawing, along, clock, drawings),
        }
    whole = timeline(explained, pack, along, main, most)
    between = explained.lines.get(pack.name)
    reasons = explained.of(pack.name)
    days = [_day(story, each) for each in reasons]
    return {
        "number": number,
        "name": pack.name,
        "cause": main.cause.value,
        "kind": _kind(main.cause),
        "amount": amount(main),
        "well": f"{sum(each.cause in FINE for each in reasons)} of {count(len(reasons), 'day')}",
        "chain": [_link(story, link) for link in main.chain],
        "when": when(explained, main),
        "sure": how_sure(main),
        "rules": rules_of(main),
        "settings": changed_settings(pack.settings),
        "all_settings": _settings(pack.settings),
        "crossing": close,
        "timeline": None if whole is None else _picture(whole, along, clock, drawings),
        "parting": _parting(story, pack, along),
        "between": None if between is None else _sentence(wiring_in_words(story, pack.name)),
        "outliers": _outliers(between),
        "plot": "" if between is None else Markup(between_plot(pack.name, between)),
        "fixes": [_fix(fix) for fix in story.fixes.get(pack.name, ())],
        "days": days,
    }


def _picture(
    drawing: Drawing, along: Along, clock: _Clock, drawings: list[dict[str, Any]]
) -> dict[str, Any]:
    low, high = drawing.near or (float(drawing.x[0]), float(drawing.x[-1]))
    drawings.append(members(drawing))
    svg = Markup(still(drawing, clock.told(along, high - low)))
    return {"number": len(drawings) - 1, "still": svg}


def _sentence(text: str) -> str:
    """Words as a sentence; empty for none."""
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _kind(cause: Cause) -> str:
    return "good" if cause in FINE else "odd" if cause is Cause.UNKNOWN else "bad"


def _link(story: Story, link: Link) -> dict[str, str]:
    return {"sentence": link.sentence, "at": told_stamp(story.explained, link.t)}


def _day(story: Story, reason: Reason) -> dict[str, str]:
    return {
        "number": str(reason.day),
        "cause": reason.cause.value,
        "kind": _kind(reason.cause),
        "at": told_stamp(story.explained, reason.t),
        "amount": amount(reason),
        "sure": reason.sure.value if reason.sure is Sure.GUESSED else "",
    }


def _parting(story: Story, pack: Ruled, along: Along) -> str:
    if pack.log.stage is None:
        return "The log does not say in which stage its controller was."
    found = parting(pack, along)
    if found is None:
        return "The stages of the log are those that the rules ask for throughout."
    return (
        f"The log and the rules first part at {told_stamp(story.explained, found.t)}: the log says"
        f" {found.logged}, the rules say {found.ruled}, for {found.length_s:.0f} s."
    )


def _outliers(between: Between | None) -> str:
    if between is None or between.line is None:
        return ""
    line = between.line
    text = f"Each point is a mean over half a minute; the line is drawn through {line.points:,} of them"
    text = f"{text}, less {count(line.outliers, 'outlier')}." if line.outliers else f"{text}."
    outside = beyond(between)
    return f"{text} {count(outside, 'point')} beyond the edge." if outside else text


def _fix(fix: Fix) -> dict[str, str]:
    word, kind = HELPS[fix.helps]
    return {
        "change": fix.change,
        "how": fix.how.value,
        "helps": word,
        "kind": kind,
        "days": f"{fix.days} of {fix.of_days}" if fix.how is How.REPLAYED and fix.of_days else "",
        "cell": f"{fix.highest_cell_v:.3f} V" if isfinite(fix.highest_cell_v) else "",
        "above": f"{fix.above_float_h:.1f} h" if isfinite(fix.above_float_h) else "",
        "risk": fix.risk,
    }


def _settings(settings: Settings) -> list[tuple[str, str]]:
    def told(value: Any) -> str:
        if isinstance(value, tuple | list):
            return " to ".join(f"{part:g}" for part in value)
        return (
            "none" if value is None else f"{value:.10g}" if isinstance(value, float) else str(value)
        )

    return [(name, told(value)) for name, value in settings.to_mapping().items()]
