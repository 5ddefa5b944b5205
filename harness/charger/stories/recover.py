"""What it takes to follow again. The group is `recover`."""

from __future__ import annotations

from harness.charger.recipe import story
from harness.charger.scene import PACK, Scene


@story(
    "recover/loose-plug",
    title="A plug makes contact for three seconds at a time",
    why="Without the wait, a loose plug switches full current on and off all day.",
    requirements="STALE.falls-back RECOVER.follows",
    negative="RECOVER.waits RECOVER.unbroken",
    catches=(
        "fresh time that is added up over interruptions",
        "an interruption that takes off a second, in place of all of the wait",
        "a wait that is half as long, or that is only made at the start",
    ),
)
def loose_plug(scene: Scene) -> None:
    """Six times the messages end for 8 s and come for 3 s.

    A message stays fresh for `stale_s`, so this is never `steady_s` in one piece. The charger
    falls back the first time and stays there. When the plug sits again it follows after
    `steady_s`.
    """
    scene.follow(30, PACK)
    for _ in range(6):
        scene.add(8, None).add(3, PACK)
    scene.add(8, None).follow(30, PACK)


@story(
    "recover/after-a-stop",
    title="After a stop, a few words are not enough",
    why="A pack that was gone for a minute may be another one, or in another state.",
    requirements="STALE.stops RECOVER.follows",
    negative="RECOVER.waits BEGIN.stopped",
    catches=("a charger that follows the first words", "a way from stopped to fallback"),
)
def after_a_stop(scene: Scene) -> None:
    """The pack is silent for 80 s, and the charger stops.

    Then it speaks for 5 s and is silent for 12 s: the charger stays stopped, and does not fall
    back. When it speaks for good the charger follows after `steady_s`.
    """
    scene.follow(20, PACK).add(80, None)
    scene.add(5, PACK).add(12, None).follow(30, PACK)
