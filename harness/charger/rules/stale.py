"""STALE: what happens when messages get old."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.conduct import conduct
from harness.charger.rules.current import limit
from harness.charger.rules.voltage import set_point
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.FALLS_BACK,
        title="an old message ends following",
        statement=(
            "A charger that follows leaves `following` when the message in force of a pack is older "
            "than `stale_s`."
        ),
        reason="The wire comes off, and the pack is charged with what it asked for an hour ago.",
        check=conduct,
    ),
    Requirement(
        id=names.BOUNDS,
        title="fallback has bounds of its own",
        statement="In `fallback` the set-point is at most `fallback_v` and the limit at most `fallback_a`.",
        reason="A pack that cannot ask for less must get what no pack can be hurt by.",
        check=set_point,
    ),
    Requirement(
        id=names.NO_RISE,
        title="nothing rises while the packs are not heard",
        statement=(
            "Outside `following` neither base nor limit rises, and a positive compensation is lost at"
            " once."
        ),
        reason="What was enough when the pack was last heard is the most that is known to be allowed.",
        check=set_point,
    ),
    Requirement(
        id=names.OBEYS,
        title="a pack that is still heard is obeyed downward",
        statement=(
            "In `fallback` the set-point is at most the lowest request in force, and the limit what "
            "the requests in force allow."
        ),
        reason=(
            "One pack falls silent, the other reaches its cell limit and asks for 0 A, and nobody "
            "listens."
        ),
        check=limit,
    ),
    Requirement(
        id=names.STOPS,
        title="a silent pack ends the charge",
        statement=(
            "When the message in force of a pack is older than `silent_s` the charger is `stopped`, "
            "and gives no current."
        ),
        reason="What a pack does that has said nothing for a minute is not known; its cells may be full.",
        check=conduct,
    ),
    Requirement(
        id=names.IN_ORDER,
        title="no state is left without its reason",
        statement=(
            "`following` is left only for an old message or a break in time, and `stopped` comes only"
            " when a pack is silent."
        ),
        reason="A charger that gives up at every lost message charges no pack on a noisy line.",
        check=conduct,
    ),
)
