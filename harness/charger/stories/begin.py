"""The start, and what it takes to be heard the first time. The group is `begin`."""

from __future__ import annotations

from ctrl.charger import ChargerSettings
from harness.charger.recipe import story
from harness.charger.scene import NOTHING, PACK, Says, Scene

PIER = ChargerSettings.for_cells(8)


@story(
    "begin/first-messages",
    title="A pack begins to speak, and gets what it asks for",
    why="This is every morning of every installation: if it does not work, nothing else matters.",
    requirements="BEGIN.stopped BEGIN.follows FOLLOW.slope FOLLOW.reaches LINK.cuts LINK.fresh-start",
    negative="BEGIN.waits",
    catches=(
        "a charger that never begins, or waits three times as long",
        "full current, or full voltage, in one step",
        "a slope so gentle that nothing ever arrives",
        "an answer that depends on how the samples are cut into messages",
    ),
)
def first_messages(scene: Scene) -> None:
    """Nobody speaks for 8 s; then the pack asks for 56 V and 50 A, once a second.

    The charger is stopped until messages have been fresh for `steady_s`, then follows, and
    voltage and current rise by their slopes to what is asked for and stay there.
    """
    scene.add(8, NOTHING).follow(290, PACK)


@story(
    "begin/never-heard",
    title="No pack ever speaks",
    why="A charger that charges whatever is connected does so without knowing what it is.",
    requirements="BEGIN.stopped",
    negative="BEGIN.stopped",
    catches=(
        "a charger that begins in fallback, so that there is some charge from the start",
        "a little current while stopped",
        "a high set-point before anything was heard",
    ),
)
def never_heard(scene: Scene) -> None:
    """No message comes for 100 s.

    The charger stays stopped: no current, and a set-point of no more than `fallback_v`.
    """
    scene.add(100, NOTHING)


@story(
    "begin/stammer",
    title="A pack speaks a few seconds at a time",
    why="Processors restart and connectors wobble just when a system is switched on.",
    requirements="BEGIN.follows RECOVER.unbroken",
    negative="BEGIN.waits",
    catches=(
        "fresh time that is added up over interruptions",
        "an interruption that takes off a second, in place of all of the wait",
        "a charger that follows the first message",
    ),
)
def stammer(scene: Scene) -> None:
    """Five times the pack speaks for 3 s and is silent for 10 s.

    Together its messages are fresh for more than `steady_s`, but never in one piece. The
    charger stays stopped. Then the pack speaks for good, and it follows.
    """
    for _ in range(5):
        scene.add(3, PACK).add(10, None)
    scene.follow(20, PACK)


@story(
    "begin/old-message",
    title="The first message is an hour old",
    why="A gateway hands out the last message that it has, also that of yesterday.",
    requirements="BEGIN.follows",
    negative="BEGIN.waits",
    catches=("the age of a message is not looked at", "the first message counts as just heard"),
)
def old_message(scene: Scene) -> None:
    """For 40 s all that lies before the charger is a message with an age of 3600 s.

    It stays stopped. Then fresh ones come, and it follows after `steady_s`.
    """
    scene.add(40, PACK.but(age_s=3600.0)).follow(10, PACK)


@story(
    "begin/pier",
    title="A whole charge on a bank of 8 cells",
    why="Voltages belong to the settings: a charger built for 16 cells takes every request for nonsense.",
    requirements="BEGIN.follows FOLLOW.lowered STALE.falls-back STALE.bounds STALE.stops",
    negative="CEILING.voltage CEILING.current",
    catches=("voltages of 16 cells built in", "a lower request that is followed by a slope"),
    settings=PIER,
)
def pier(scene: Scene) -> None:
    """The pack on the pier asks for 28 V and 30 A, and gets it.

    Then it asks for 27 V and 10 A, which it gets at once; then it falls silent, and the charger
    falls back, and stops.
    """
    pack = Says(request_v=28.0, request_a=30.0, pack_v=26.6)
    low = pack.but(request_v=27.0, request_a=10.0)
    scene.follow(150, pack, own=(26.75, 10.0))
    scene.add(30, low, own=(26.75, 5.0)).add(90, None, own=(26.75, 5.0))
