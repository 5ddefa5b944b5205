"""Draws the stage diagram from the table of transitions: `python docs/hooks/stage_diagram.py`.

What is drawn (stages, arrows, labels, numbers) comes from `ctrl.transitions.TRANSITIONS`; only where it
is drawn stands here. An arrow that has no place here is an error, so the diagram cannot lose one.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from xml.sax.saxutils import escape

from attrs import frozen

from ctrl.transitions import TRANSITIONS, Transition, Way
from ctrl.vocabulary import Phase, Stage

PLACE = Path(__file__).resolve().parents[1] / "images" / "stages.svg"

WIDTH, HEIGHT, LINE_HEIGHT = 740, 630, 17

# A panel of its own, so that the text can be read on a page of any colour.
STYLE = """
  .panel { fill: #ffffff } text { fill: #1b1f24; font: 13px sans-serif }
  .name { font: bold 15px sans-serif; text-anchor: middle } .phase { text-anchor: middle }
  .box { fill: #eef3f8; stroke: #33475b; stroke-width: 1.5 }
  .blocked { fill: #fbece6; stroke: #a63a00 }
  .arrow { fill: none; stroke: #33475b; stroke-width: 1.5; marker-end: url(#head) }
  .head { fill: #33475b } .end { text-anchor: end } .middle { text-anchor: middle }
  @media (prefers-color-scheme: dark) {
    .panel { fill: #1e2129 } text { fill: #e6e8ec } .box { fill: #2b3342; stroke: #9fb3c8 }
    .blocked { fill: #43291f; stroke: #ff9d70 } .arrow { stroke: #9fb3c8 } .head { fill: #9fb3c8 }
  }
"""


@frozen
class Route:
    """Where an arrow runs, and where its label stands.

    Attributes:
        path: the arrow, as an SVG path.
        label: left, middle or right end of the first line's base; None: as another arrow's label.
        anchor: which of the three it is: `start`, `middle` or `end`.
    """

    path: str
    label: tuple[int, int] | None
    anchor: str = "start"


# Left edge, top edge, width, height.
BOXES: dict[Stage, tuple[int, int, int, int]] = {
    Stage.BULK: (230, 20, 180, 44),
    Stage.ABSORPTION: (190, 170, 260, 96),
    Stage.FLOAT: (230, 420, 180, 44),
    Stage.EQUALISATION: (230, 564, 180, 44),
    Stage.INHIBITED: (580, 196, 140, 44),
}
PHASES: dict[Phase, tuple[int, int, int, int]] = {
    Phase.HOLD: (202, 216, 64, 34),
    Phase.CONFIRM: (366, 216, 72, 34),
}
ROUTES: dict[tuple[Stage, Stage], Route] = {
    (Stage.BULK, Stage.ABSORPTION): Route("M290 64V168", (282, 120), "end"),
    (Stage.ABSORPTION, Stage.BULK): Route("M350 170V66", (358, 112)),
    (Stage.ABSORPTION, Stage.ABSORPTION): Route("M266 233H364", (316, 227), "middle"),
    (Stage.ABSORPTION, Stage.FLOAT): Route("M320 266V418", (328, 316)),
    (Stage.FLOAT, Stage.BULK): Route("M230 442H40V42H228", (48, 316)),
    (Stage.FLOAT, Stage.EQUALISATION): Route("M290 464V562", (282, 510), "end"),
    (Stage.EQUALISATION, Stage.FLOAT): Route("M350 564V466", (358, 491)),
    (Stage.BULK, Stage.INHIBITED): Route("M410 52H620V194", None),
    (Stage.ABSORPTION, Stage.INHIBITED): Route("M450 218H578", None),
    (Stage.FLOAT, Stage.INHIBITED): Route("M410 442H650V242", (642, 316), "end"),
    (Stage.EQUALISATION, Stage.INHIBITED): Route("M410 586H700V242", None),
    (Stage.INHIBITED, Stage.BULK): Route("M680 196V32H412", (550, 25), "middle"),
}


def number(way: Way) -> int:
    """The number that the diagram and the table of transitions give to a way out of a stage."""
    return int(way) + 1


def event(row: Transition) -> str:
    """What is said to have happened, with its cause where it has one."""
    name = str(row.happened.name).lower()
    return f"{name}: {row.cause.word}" if row.cause.word else name


def drawn() -> str:
    """The diagram as the text of an SVG file."""
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img">',
        "<title>Stages of charge control and the ways between them</title>",
        f"<style>{STYLE}</style>",
        '<marker id="head" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="8" markerHeight="8"'
        ' orient="auto" markerUnits="userSpaceOnUse">',
        '<path class="head" d="M0 0L8 4L0 8z"/></marker>',
        f'<rect class="panel" width="{WIDTH}" height="{HEIGHT}" rx="8"/>',
        *_boxes(),
        *_arrows(),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _boxes() -> Iterator[str]:
    for stage in TRANSITIONS:
        left, top, width, height = BOXES[stage]
        kind = "box blocked" if stage is Stage.INHIBITED else "box"
        yield _rectangle(kind, left, top, width, height)
        base = top + 21 if stage is Stage.ABSORPTION else top + height // 2 + 5
        yield _text("name", left + width // 2, base, stage.word)
    for phase, (left, top, width, height) in PHASES.items():
        yield _rectangle("box", left, top, width, height)
        yield _text("phase", left + width // 2, top + height // 2 + 5, phase.name.lower())


def _arrows() -> Iterator[str]:
    labels: dict[Stage, list[str]] = {}
    unlabelled: list[tuple[Stage, list[str]]] = []
    for stage, rows in TRANSITIONS.items():
        for to in dict.fromkeys(row.to for row in rows):
            route = ROUTES[stage, to]
            texts = [f"{number(row.way)} {event(row)}" for row in rows if row.to is to]
            yield f'<path class="arrow" d="{route.path}"/>'
            if route.label is None:
                unlabelled.append((to, texts))
                continue
            labels[to] = texts
            for k, text in enumerate(texts):
                yield _text(route.anchor, route.label[0], route.label[1] + k * LINE_HEIGHT, text)
    for to, texts in unlabelled:
        if labels[to] != texts:
            raise ValueError(f"the arrows to {to.word} differ and need a label each: {texts}")


def _rectangle(kind: str, left: int, top: int, width: int, height: int) -> str:
    return f'<rect class="{kind}" x="{left}" y="{top}" width="{width}" height="{height}" rx="6"/>'


def _text(kind: str, x: int, y: int, words: str) -> str:
    return f'<text class="{kind}" x="{x}" y="{y}">{escape(words)}</text>'


if __name__ == "__main__":
    PLACE.write_text(drawn(), encoding="utf-8")
