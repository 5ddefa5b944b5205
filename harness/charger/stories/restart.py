"""What a charger knows after it has lost power. The group is `restart`."""

from __future__ import annotations

from harness.charger.recipe import story
from harness.charger.scene import HOLDS, NOTHING, PACK, QUICK, Scene


@story(
    "restart/while-following",
    title="Power is lost while the charger follows and compensates",
    why="What the packs did meanwhile is not known, nor whether they are the same packs.",
    requirements="RESTART.forgets BEGIN.follows LINK.cuts LINK.fresh-start",
    negative="BEGIN.waits",
    catches=(
        "a state that is kept over a loss of power",
        "a set-point or a compensation that is kept",
        "a start in fallback",
    ),
    settings=QUICK,
)
def while_following(scene: Scene) -> None:
    """The charger follows, and compensates a line for 40 s; then it loses power, and the pack speaks on.

    It is stopped, gives nothing, and waits for `steady_s` as at its first start; then all rises
    by its slopes.
    """
    lacks = PACK.but(pack_v=55.7)
    scene.follow(30, PACK).add(40, lacks, own=HOLDS).power_cycle()
    scene.follow(60, PACK).add(40, lacks, own=HOLDS)


@story(
    "restart/while-waiting",
    title="Power is lost while the charger waits, twice",
    why="Half of a wait before a loss of power and half of it after are no wait.",
    requirements="RESTART.forgets BEGIN.follows",
    negative="BEGIN.waits",
    catches=("a wait for steady messages that is kept over a loss of power",),
)
def while_waiting(scene: Scene) -> None:
    """The pack speaks for 7 s, less than `steady_s`, and the charger loses power.

    That happens once more; then it follows after a whole wait. It loses power again, and nobody
    speaks: it stays stopped.
    """
    scene.add(7, PACK).power_cycle().add(7, PACK).power_cycle().follow(20, PACK)
    scene.power_cycle().add(70, NOTHING)
