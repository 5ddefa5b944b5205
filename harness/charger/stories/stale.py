"""What happens when messages get old. The group is `stale`."""

from __future__ import annotations

from ctrl.charger import ChargerSettings
from harness.charger.recipe import story
from harness.charger.scene import HOLDS, PACK, Scene


@story(
    "stale/wire-off",
    title="The wire comes off for two minutes",
    why="Without this a pack is charged with what it asked for an hour ago, and cannot say no.",
    requirements="STALE.falls-back STALE.bounds STALE.stops RECOVER.follows",
    negative="RECOVER.waits",
    catches=(
        "the age of a message is not looked at",
        "the charger's own sample taken for a sign of life of the pack",
        "silence that is never noticed, or a third too late",
        "a charger that never follows again",
    ),
)
def wire_off(scene: Scene) -> None:
    """After 30 s of following the messages end.

    The charger falls back when the last one is older than `stale_s`, to `fallback_v` and
    `fallback_a` at most, and stops when it is older than `silent_s`. The wire is back after 120
    s: it follows again after `steady_s`.
    """
    scene.follow(30, PACK).add(120, None).follow(40, PACK)


@story(
    "stale/wire-off-early",
    title="The wire comes off while the current still rises",
    why="Fallback is a bound, and nothing to rise to while nobody is heard.",
    requirements="STALE.falls-back STALE.stops",
    negative="STALE.no-rise STALE.bounds",
    catches=("a current that goes to what fallback allows, up or down",),
)
def wire_off_early(scene: Scene) -> None:
    """The messages end when the current has risen for 2 s and is still below `fallback_a`.

    It rises as long as the message is fresh, and no more after that.
    """
    scene.follow(2, PACK).add(90, None)


@story(
    "stale/short",
    title="The wire comes off for 20 s",
    why="A charger that switches off at once makes a lost plug out of a loose one.",
    requirements="STALE.falls-back STALE.bounds RECOVER.follows",
    negative="STALE.in-order RECOVER.waits",
    catches=("a stop where fallback is due", "a return to following without steady messages"),
)
def short(scene: Scene) -> None:
    """The messages end for 20 s, longer than `stale_s` and shorter than `silent_s`.

    The charger is in fallback, never stopped, and follows again when messages have been steady
    for `steady_s`.
    """
    scene.follow(30, PACK).add(20, None).follow(60, PACK)


@story(
    "stale/low-request",
    title="A pack that asked for little falls silent",
    why="What was enough when the pack was last heard is the most that is known to be allowed.",
    requirements="STALE.falls-back",
    negative="STALE.no-rise STALE.obeys",
    catches=("a voltage, or a current, that goes up to that of fallback",),
)
def low_request(scene: Scene) -> None:
    """The pack has asked for 53 V and 8 A, less than fallback would give, and falls silent for 50 s.

    Voltage and current stay at what it asked for.
    """
    low = PACK.but(request_v=53.0, request_a=8.0, pack_v=51.8)
    scene.follow(30, low, own=(52.5, 5.0)).add(50, None, own=(52.5, 5.0))


@story(
    "stale/compensated",
    title="A line that was made good falls silent",
    why="Compensation lives on what the pack reads. When nobody is heard it is only too much voltage.",
    requirements="STALE.falls-back RECOVER.follows",
    negative="STALE.no-rise SENSE.idle",
    catches=("a compensation that is kept in fallback",),
    settings=ChargerSettings(fallback_v=57.0),
)
def compensated(scene: Scene) -> None:
    """With `fallback_v` above the request, the pack lacks 0.3 V for 40 s and the line is compensated.

    Then nobody is heard for 30 s: what was added is lost at once. Later the charger follows
    again, and under a cloud nothing is added anew.
    """
    scene.follow(30, PACK)
    lacks = PACK.but(pack_v=55.7)
    scene.add(40, lacks, own=HOLDS).add(30, None, own=HOLDS)
    scene.add(30, PACK, own=HOLDS).add(40, lacks, own=(55.5, 12.0))


@story(
    "stale/high-fallback",
    title="Fallback may give more than was given",
    why="A generous fallback is a bound like any other: silence is no reason to give more.",
    requirements="STALE.falls-back",
    negative="STALE.no-rise STALE.bounds CEILING.highest",
    catches=("a current that goes to what fallback allows, up or down",),
    settings=ChargerSettings(fallback_v=57.0, fallback_a=80.0),
)
def high_fallback(scene: Scene) -> None:
    """`fallback_v` and `fallback_a` are above what the pack asks for.

    It falls silent 6 s after the charger began to follow, while the current still rises:
    nothing rises in fallback.
    """
    scene.follow(6, PACK).add(50, None)
