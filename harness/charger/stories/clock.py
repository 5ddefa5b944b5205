"""Stamps that are missing, that jump, and that step back. The group is `clock`."""

from __future__ import annotations

from harness.charger.recipe import story
from harness.charger.scene import PACK, QUICK, Scene


@story(
    "clock/gap",
    title="The code of the charger hangs",
    why="Code that hung for 40 s does not know what the packs asked for meanwhile.",
    requirements="CLOCK.break BEGIN.follows RECOVER.follows",
    negative="FOLLOW.slope",
    catches=(
        "a gap that is taken for a long interval",
        "a wait for steady messages that runs on over a gap",
        "a rise for all of the time of the gap at once",
    ),
)
def gap(scene: Scene) -> None:
    """Three times there is a long gap between two samples.

    It is 40 s while the charger waits, and 40 s and 25 s while it follows. The wait begins
    anew, following ends in fallback, and nothing rises over the gap.
    """
    scene.add(6, PACK).gap(40, PACK).add(4, PACK).follow(20, PACK)
    scene.gap(40, PACK).add(6, PACK).gap(25, PACK).follow(30, PACK)


@story(
    "clock/set-back",
    title="The clock is set back by an hour, and the pack falls silent",
    why="By the stamps alone a pack that has just died looks fresh for an hour.",
    requirements="CLOCK.ages CLOCK.break STALE.stops RECOVER.follows",
    catches=(
        "ages taken from stamps that lie in the future",
        "a clock that is set back makes everything just heard",
    ),
    tags="backward",
)
def set_back(scene: Scene) -> None:
    """While the charger follows, its clock steps back by 3600 s and the messages end.

    It falls back at once, and stops when the last message is older than `silent_s`, counted on
    over the step. Later the pack speaks again, and the clock steps back by 50 s: once more it
    falls back, and waits.
    """
    scene.follow(30, PACK).gap(-3600, None)
    scene.add(100, None).follow(30, PACK)
    scene.gap(-50, PACK).follow(30, PACK)


@story(
    "clock/set-back-while-silent",
    title="The clock is set back again and again while the pack is silent",
    why="A clock that is corrected every few seconds must not keep a dead pack alive.",
    requirements="STALE.falls-back STALE.stops",
    catches=("a clock that is set back makes everything just heard",),
    tags="backward",
)
def set_back_while_silent(scene: Scene) -> None:
    """The pack is silent.

    Fourteen times the clock runs for 9 s and steps back by 10 s. The charger falls back, and
    stops when 9 s each time have added up to more than `silent_s`.
    """
    scene.follow(30, PACK)
    for _ in range(14):
        scene.add(9, None).gap(-10, None)


@story(
    "clock/no-stamp",
    title="Some samples have no stamp",
    why="A reading that belongs to no time belongs to no decision.",
    requirements="FOLLOW.keeps",
    negative="CLOCK.invalid",
    catches=(
        "a stamp that is guessed",
        "a charger that gives nothing at a sample without a stamp",
        "a request in such a sample that is followed",
    ),
    settings=QUICK,
)
def no_stamp(scene: Scene) -> None:
    """Six times samples without a stamp come in between.

    Their messages ask for the same, for 0 A, for less and for more. State, set-point and limit
    stay as they were.
    """
    scene.follow(3, PACK)
    for other in (
        PACK,
        PACK.but(request_a=0.0),
        PACK.but(request_v=53.0),
        PACK.but(request_v=57.5),
    ):
        scene.add(3, other, stamped=False).add(4, PACK)
    scene.add(30, PACK).add(3, PACK.but(request_v=57.0, request_a=90.0), stamped=False)
    scene.add(3, PACK.but(request_a=0.0), stamped=False).add(10, PACK)
