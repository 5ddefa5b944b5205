"""Compensation of the line by the voltage that the packs read. The group is `sense`."""

from __future__ import annotations

from harness.charger.recipe import story
from harness.charger.scene import HOLDS, PACK, QUICK, Scene


@story(
    "sense/thin-cable",
    title="The pack reads 60 mV too little for minutes",
    why="Behind a thin cable a pack that is not compensated never reads what it asked for: it is never full.",
    requirements="SENSE.reaches FOLLOW.keeps",
    negative="SENSE.bounds",
    catches=(
        "a charger that holds its own terminals and ignores what the pack reads",
        "a compensation that takes most of a day",
        "a compensation that jumps to its value",
    ),
    settings=QUICK,
)
def thin_cable(scene: Scene) -> None:
    """For 300 s the pack reads 55.94 V in place of 56 V.

    The charger holds its voltage, with current to spare. Within two `sense_time_s` the set-
    point has risen by at least a quarter of what is lacking, and never by more than
    `compensation_v_per_s`.
    """
    scene.follow(30, PACK).add(300, PACK.but(pack_v=55.94), own=HOLDS)


@story(
    "sense/very-thin-cable",
    title="The line loses more than may be compensated",
    why="A sense wire that has come off looks like this, and must cost a bounded voltage and no cell.",
    requirements="FOLLOW.keeps",
    negative="SENSE.bounds CEILING.voltage",
    catches=("a compensation without a bound", "a bound that is a third too wide"),
    settings=QUICK,
)
def very_thin_cable(scene: Scene) -> None:
    """The pack reads 1.4 V too little for 150 s.

    The set-point rises slowly by `compensation_v`, and stays there.
    """
    scene.follow(30, PACK)
    for second in range(150):
        scene.add(1, PACK.but(pack_v=54.6), own=(56.0 + min(0.01 * second, 0.5), 10.0))


@story(
    "sense/meter-reads-high",
    title="The pack reads 60 mV too much for minutes",
    why="Two meters differ. The pack decides by its own, so what it reads is what counts.",
    requirements="SENSE.comes-down",
    negative="SENSE.direction",
    catches=(
        "a charger that compensates upward only",
        "a compensation with the wrong sign",
        "a charger that wants the pack to read more than was asked for",
    ),
    settings=QUICK,
)
def meter_reads_high(scene: Scene) -> None:
    """For 300 s the pack reads 56.06 V in place of 56 V.

    The set-point never rises, and within two `sense_time_s` it has fallen by at least a quarter
    of the excess.
    """
    scene.follow(30, PACK).add(300, PACK.but(pack_v=56.06), own=(55.97, 10.0))


@story(
    "sense/far-too-high",
    title="The pack reads far too much",
    why="A meter that is broken upward must not end the charge: it costs `compensation_v`, no more.",
    requirements="FOLLOW.keeps",
    negative="SENSE.bounds SENSE.direction",
    catches=("a compensation without a bound downward", "a charger that compensates upward only"),
    settings=QUICK,
)
def far_too_high(scene: Scene) -> None:
    """The pack reads 57.2 V in place of 56 V for 150 s.

    The set-point falls slowly, by no more than `compensation_v`.
    """
    scene.follow(30, PACK)
    for second in range(150):
        scene.add(1, PACK.but(pack_v=57.2), own=(55.95 - min(0.01 * second, 0.45), 10.0))


@story(
    "sense/load-takes-the-current",
    title="A load takes the current of a line that was made good",
    why="What the line lost is too much from one moment to the next; it must be taken back, not kept.",
    requirements="SENSE.comes-down",
    negative="SENSE.direction SENSE.bounds",
    catches=("a compensation that is never taken back", "a compensation that runs on upward"),
    settings=QUICK,
)
def load_takes_the_current(scene: Scene) -> None:
    """For 60 s the pack lacks 0.15 V, and the line is compensated.

    Then a load takes the current, and for 250 s the pack reads 0.1 V too much: the set-point
    falls.
    """
    scene.follow(30, PACK).add(60, PACK.but(pack_v=55.85), own=HOLDS)
    scene.add(250, PACK.but(pack_v=56.1), own=(55.95, 10.0))


@story(
    "sense/cloud",
    title="A cloud before the sun",
    why="An integral that runs on under a cloud gives the pack half a volt too much when the sun is back.",
    requirements="FOLLOW.keeps",
    negative="SENSE.idle",
    catches=("a compensation that winds up while the charger cannot hold its voltage",),
    settings=QUICK,
)
def cloud(scene: Scene) -> None:
    """The charger holds its voltage for 60 s.

    Then there is too little sun: its own terminals read 55.6 V, the pack 55.5 V, for 200 s. No
    set-point would make the pack read more, so it does not rise.
    """
    scene.follow(30, PACK).add(60, PACK.but(pack_v=55.97), own=HOLDS)
    scene.add(200, PACK.but(pack_v=55.5), own=(55.6, 15.0)).add(20, PACK, own=HOLDS)


@story(
    "sense/at-the-limit",
    title="The current is at its limit",
    why="At the limit it is the current that bounds the charge. Voltage that is added now is too much later.",
    requirements="FOLLOW.keeps",
    negative="SENSE.idle",
    catches=("a compensation that winds up while the current is at its limit",),
    settings=QUICK,
)
def at_the_limit(scene: Scene) -> None:
    """For 200 s the charger gives 49.9 A of the 50 A that are asked for, and the pack reads 0.4 V too little.

    The set-point does not rise.
    """
    scene.follow(30, PACK)
    scene.add(200, PACK.but(pack_v=55.6, pack_a=49.0), own=(56.0, 49.9))


@story(
    "sense/held-up",
    title="Another charger holds the bus up",
    why="What the pack reads then says nothing about the line of this charger.",
    requirements="FOLLOW.keeps",
    negative="SENSE.idle",
    catches=("a compensation that winds up while something else holds the bus",),
    settings=QUICK,
)
def held_up(scene: Scene) -> None:
    """For 200 s the charger's own terminals are 0.3 V above its set-point.

    The pack reads 0.2 V too little. The set-point stays where it is.
    """
    scene.follow(30, PACK).add(200, PACK.but(pack_v=55.8), own=(56.3, 5.0))


@story(
    "sense/no-current-asked",
    title="The pack lacks voltage, and asks for 0 A",
    why="Without current a line loses nothing. What is missing is not missing because of the line.",
    requirements="FOLLOW.zero",
    negative="SENSE.idle",
    catches=("a compensation that winds up without current", "0 A taken for 'no limit'"),
    settings=QUICK,
)
def no_current_asked(scene: Scene) -> None:
    """The pack asks for 0 A for 150 s, and reads 0.3 V less than it asks for.

    The limit is 0, and the set-point does not rise.
    """
    scene.follow(30, PACK)
    scene.add(150, PACK.but(request_a=0.0, pack_v=55.7), own=(55.95, -1.0))
