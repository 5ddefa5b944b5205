"""False fulls over missed full days, each arm with its intervals as a cross: who is beaten by nobody."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from math import hypot, isfinite

from harness.report import svg
from harness.report.study_axis import Axis
from harness.report.study_signs import Signs
from harness.report.study_words import estimate_text, unit_text
from harness.study.measures import measure_named
from harness.study.table import GOALS, Estimate, Table

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 760, 470, 62, 16, 14, 46
LETTER, LINE, REACH = 5.7, 12.0, 8.0
TICKS = 7
ROOTED = ", on a scale of square roots"
# A label finds its place this far from its point, or is left out.
DISTANCES = (9.0, 20.0, 34.0, 50.0, 70.0)
SIDES = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (1, 1), (-1, -1), (-1, 1))
# With more arms than this, only those that nobody beats have their names; the others have numbers.
MOST_NAMED = 20
Box = tuple[float, float, float, float]


def plane(table: Table, signs: Signs) -> str:
    """The picture; empty where no arm has both.

    Args:
        table: of a study.
        signs: how arms look.
    """
    across, up = (table.of(goal) for goal in GOALS)
    shown = [k for k in range(len(across)) if isfinite(across[k].value) and isfinite(up[k].value)]
    if not shown:
        return ""
    x = _axis([across[k] for k in shown], GOALS[0], LEFT, WIDTH - RIGHT)
    y = _axis([up[k] for k in shown], GOALS[1], HEIGHT - FOOT, TOP)
    front = set(table.front)
    # Those that nobody beats come last, so that they lie on top.
    ordered = sorted(shown, key=lambda k: k in front)
    places = {k: (x.at(across[k].value), y.at(_shown(up[k].value))) for k in shown}
    parts = [*_axes(x, y), *_front(table, places)]
    for k in ordered:
        parts += _point(table, signs, k, places[k], (x, across[k]), (y, up[k]))
    crosses = [_box(places[k], (x, across[k]), (y, up[k])) for k in shown]
    taken = [one for some in crosses for one in some]
    parts += _labels(table, signs, sorted(shown, key=lambda k: (k not in front, k)), places, taken)
    label = "False fulls over missed full days, each arm with its intervals"
    return (
        f'<svg class="still plane2" role="img" aria-label="{label}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}">{"".join(parts)}</svg>'
    )


def _shown(value: float) -> float:
    return 100.0 * value


def _axis(values: Sequence[Estimate], goal: str, start: float, stop: float) -> Axis:
    scale = 100.0 if measure_named(goal).is_fraction else 1.0
    ends = [scale * end for each in values for end in (each.value, each.low, each.high)]
    return Axis(ends, start, stop, rooted=True)


def _axes(x: Axis, y: Axis) -> Iterator[str]:
    bottom, right = HEIGHT - FOOT, WIDTH - RIGHT
    yield f'<rect class="frame" x="{LEFT}" y="{TOP}" width="{right - LEFT}" height="{bottom - TOP}"/>'
    for value in x.ticks(TICKS + 1):
        yield f'<path class="grid" d="M{x.at(value):.1f} {TOP}V{bottom}"/>'
        yield svg.text(x.at(value), bottom + 15, f"{value:g}", "middle")
    for value in y.ticks(TICKS):
        yield f'<path class="grid" d="M{LEFT} {y.at(value):.1f}H{right}"/>'
        yield svg.text(LEFT - 6, y.at(value) + 4, f"{value:g}", "end")
    words = [f"{(m := measure_named(goal)).title}, {unit_text(m)}" for goal in GOALS]
    told = f"{words[0]}{ROOTED if x.rooted else ''}"
    yield svg.text((LEFT + right) / 2, HEIGHT - 8, told, "middle")
    yield (
        f'<text class="middle" transform="translate(14 {(TOP + bottom) / 2:.0f}) rotate(-90)">'
        f"{words[1]}{ROOTED if y.rooted else ''}</text>"
    )


def _front(table: Table, places: dict[int, tuple[float, float]]) -> Iterator[str]:
    """The steps between those that nobody beats: what lies above and right of them is beaten."""
    points = sorted(places[k] for k in table.front)
    if len(points) > 1:
        steps = "".join(f"H{px:.1f}V{py:.1f}" for px, py in points[1:])
        yield f'<path class="front" d="M{points[0][0]:.1f} {points[0][1]:.1f}{steps}"/>'


def _point(
    table: Table,
    signs: Signs,
    arm: int,
    place: tuple[float, float],
    across: tuple[Axis, Estimate],
    up: tuple[Axis, Estimate],
) -> Iterator[str]:
    (axis, along), (upright, tall) = across, up
    px, py = place
    cross = ""
    if isfinite(along.low):
        cross += f"M{axis.at(along.low):.1f} {py:.1f}H{axis.at(along.high):.1f}"
    if isfinite(tall.low):
        low, high = upright.at(_shown(tall.low)), upright.at(_shown(tall.high))
        cross += f"M{px:.1f} {low:.1f}V{high:.1f}"
    kind = signs.kind(arm)
    told = (
        f"{table.facts.labels[arm]}: {estimate_text(along)} false fulls a pack-year, "
        f"{estimate_text(tall)} % of full days missed"
    )
    yield f"<g><title>{escape(told)}</title>"
    if cross:
        yield f'<path class="cross {kind}" d="{cross}"/>'
    beaten = "" if arm in table.front else " beaten"
    yield f'<path class="mark {kind}{beaten}" d="M{px:.1f} {py:.1f}{signs.path(arm)}"/></g>'


def _box(
    place: tuple[float, float], across: tuple[Axis, Estimate], up: tuple[Axis, Estimate]
) -> Iterator[Box]:
    """What a mark and its cross take up."""
    px, py = place
    (axis, along), (upright, tall) = across, up
    yield px - 6, py - 6, px + 6, py + 6
    if isfinite(along.low):
        yield axis.at(along.low), py - 2, axis.at(along.high), py + 2
    if isfinite(tall.low):
        yield px - 2, upright.at(_shown(tall.high)), px + 2, upright.at(_shown(tall.low))


def _labels(
    table: Table,
    signs: Signs,
    arms: Sequence[int],
    places: dict[int, tuple[float, float]],
    taken: list[Box],
) -> Iterator[str]:
    for arm in arms:
        named = len(arms) <= MOST_NAMED or arm in table.front
        for words in (table.facts.labels[arm], str(arm + 1))[0 if named else 1 :]:
            # Far from its mark a number is of no use, where there are so many.
            reach = DISTANCES if named else DISTANCES[:1]
            found = _free(places[arm], LETTER * len(words), taken, reach)
            if found is not None:
                taken.append(found)
                yield from _label(words, signs.kind(arm), places[arm], found)
                break


def _free(
    place: tuple[float, float], width: float, taken: Sequence[Box], reach: Sequence[float]
) -> Box | None:
    """Room for a label near a point; None where there is none."""
    px, py = place
    for distance in reach:
        for right, down in SIDES:
            cx = px + right * (distance + width / 2)
            cy = py + down * (distance + LINE / 2)
            box = (cx - width / 2, cy - LINE / 2, cx + width / 2, cy + LINE / 2)
            inside = box[0] > LEFT + 2 and box[2] < WIDTH - RIGHT and box[1] > TOP
            if inside and box[3] < HEIGHT - FOOT and not any(_touch(box, one) for one in taken):
                return box
    return None


def _touch(one: Box, other: Box) -> bool:
    apart = one[2] < other[0] or other[2] < one[0] or one[3] < other[1] or other[3] < one[1]
    return not apart


def _label(words: str, kind: str, place: tuple[float, float], box: Box) -> Iterator[str]:
    px, py = place
    nx, ny = min(max(px, box[0]), box[2]), min(max(py, box[1] + 2), box[3] - 2)
    if hypot(nx - px, ny - py) > 2 * REACH:
        yield f'<path class="leader {kind}" d="M{px:.1f} {py:.1f}L{nx:.1f} {ny:.1f}"/>'
    yield svg.text(box[0], box[3] - 2.5, escape(words), "label")
