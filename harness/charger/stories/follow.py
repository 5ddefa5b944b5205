"""How requests are followed, down and up. The group is `follow`."""

from __future__ import annotations

from harness.charger.recipe import story
from harness.charger.scene import PACK, QUICK, Scene


@story(
    "follow/lowered",
    title="Less voltage, then less current, then more of both",
    why="A pack asks for less because a cell is full; each second of delay goes into that cell.",
    requirements="FOLLOW.lowered FOLLOW.slope",
    negative="CEILING.voltage CEILING.current",
    catches=(
        "a set-point or a limit that falls by the slope by which it rises",
        "outputs that come one sample late",
        "a higher request that is given in one step",
    ),
)
def lowered(scene: Scene) -> None:
    """After 40 s of following, the request falls to 55.4 V, and 15 s later to 20 A.

    Base and limit are no higher at that very sample. Then the pack asks for 56.4 V and 60 A,
    and both rise by their slopes.
    """
    scene.follow(40, PACK)
    scene.add(15, PACK.but(request_v=55.4)).add(15, PACK.but(request_v=55.4, request_a=20.0))
    scene.add(90, PACK.but(request_v=56.4, request_a=60.0))


@story(
    "follow/zero",
    title="A request of 0 A, twice",
    why="It is the last word of a pack before it opens its switch under load.",
    requirements="FOLLOW.zero FOLLOW.slope",
    negative="CEILING.current",
    catches=(
        "0 A taken for 'no limit'",
        "a current that ramps down",
        "all of the current at once when 0 A is over",
    ),
)
def zero(scene: Scene) -> None:
    """A cell is at its limit and the pack asks for 0 A, for 12 s and later for 5 s.

    The limit is 0 within `zero_s`, and afterwards rises from 0 by its slope.
    """
    none = PACK.but(request_a=0.0)
    scene.follow(30, PACK).add(12, none).add(30, PACK).add(5, none).add(20, PACK)


@story(
    "follow/greedy",
    title="A pack asks for more than the charger may give",
    why="One wrong setting in one pack must end at a number that whoever built the system has chosen.",
    requirements="FOLLOW.reaches",
    negative="CEILING.voltage CEILING.current CEILING.highest",
    catches=(
        "no highest voltage",
        "no highest current",
        "compensation on top of the highest voltage",
    ),
)
def greedy(scene: Scene) -> None:
    """The pack asks for 62 V and 180 A, which can both be believed.

    Set-point and limit rise to `highest_v` and `highest_a`, and not any further.
    """
    scene.follow(180, PACK.but(request_v=62.0, request_a=180.0), own=(53.8, 40.0))


@story(
    "follow/slow-steps",
    title="Requests climb in steps while samples come every 4 s",
    why="A slope is an amount in a second. Counted in samples it is another one in every installation.",
    requirements="BEGIN.follows FOLLOW.slope",
    negative="CEILING.voltage CEILING.current",
    catches=("slopes counted in samples", "timers counted in samples"),
    step_s=4.0,
)
def slow_steps(scene: Scene) -> None:
    """One sample every 4 s.

    Four times the pack asks for 0.4 V and 20 A more. Set-point and limit rise by what their
    slopes allow in 4 s, and stop at what is asked for.
    """
    scene.add(16, PACK)
    for step in range(4):
        scene.add(48, PACK.but(request_v=55.0 + 0.4 * step, request_a=20.0 + 20.0 * step))


@story(
    "follow/lost-now-and-then",
    title="Single messages are lost",
    why="On a long wire beside an inverter this is a normal day, and no reason to charge less.",
    requirements="FOLLOW.keeps",
    negative="FOLLOW.keeps",
    catches=(
        "a charger that falls back at the first message that is lost",
        "a set-point that sags while a message is late",
        "a current that drops out now and then",
    ),
    settings=QUICK,
)
def lost_now_and_then(scene: Scene) -> None:
    """Twelve times no message comes for 2 s, less than `stale_s`.

    The charger follows on, and gives all that it gave.
    """
    scene.follow(30, PACK)
    for _ in range(12):
        scene.add(2, None).add(3, PACK)
