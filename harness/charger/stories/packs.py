"""Several packs on one charger. The group is `packs`."""

from __future__ import annotations

from math import nan

from ctrl.charger import ChargerSettings
from harness.charger.recipe import story
from harness.charger.scene import HOLDS, NOTHING, PACK, QUICK, TWO, Scene


@story(
    "packs/two-requests",
    title="Two packs ask for different voltages and currents",
    why="Packs in parallel share one voltage: the mean of two requests is too much for one of them.",
    requirements="FOLLOW.reaches FOLLOW.lowered",
    negative="PACKS.voltage CEILING.current",
    catches=(
        "the highest of two requests, or their mean",
        "as much for every pack as the strongest one asks for",
    ),
    settings=TWO,
)
def two_requests(scene: Scene) -> None:
    """One pack asks for 56 V and 50 A, the other for 55.4 V and 30 A: together 55.4 V and 80 A, for 180 s.

    Then the first asks for less, and then the second for more. The lower voltage counts each
    time.
    """
    scene.follow(180, PACK, PACK.but(request_v=55.4, request_a=30.0))
    scene.add(20, PACK.but(request_v=55.0, request_a=20.0), PACK)
    scene.add(20, PACK.but(request_v=55.0), PACK.but(request_v=56.4))


@story(
    "packs/one-zero",
    title="One of two packs asks for 0 A",
    why="A charger cannot single out one pack of a bank: what it gives, the full one gets too.",
    requirements="PACKS.zero FOLLOW.slope",
    negative="CEILING.current",
    catches=(
        "currents that are added, with the 0 A taking nothing off",
        "0 A taken for 'no limit'",
    ),
    settings=TWO,
)
def one_zero(scene: Scene) -> None:
    """Two packs ask for 50 A each.

    The second asks for 0 A for 12 s, later the first: each time the limit is 0 within `zero_s`,
    whatever the other one asks for.
    """
    scene.follow(30, PACK, PACK).add(12, PACK, PACK.but(request_a=0.0))
    scene.add(30, PACK, PACK).add(12, PACK.but(request_a=0.0), PACK)


@story(
    "packs/two-cables",
    title="A good cable and a thin one",
    why="Compensated by the mean, or by the lowest, the pack with the good cable gets too much.",
    requirements="FOLLOW.keeps",
    negative="PACKS.reading SENSE.direction",
    catches=("compensation by the mean of the readings", "compensation by the lowest reading"),
    settings=QUICK.changed(packs=2),
)
def two_cables(scene: Scene) -> None:
    """For 200 s one pack reads 56.03 V, and the one behind the thin cable 55.7 V.

    Both ask for 56 V. The highest reading counts, and it lacks nothing, so the set-point does
    not rise.
    """
    scene.follow(30, PACK, PACK)
    scene.add(200, PACK.but(pack_v=56.03), PACK.but(pack_v=55.7), own=HOLDS)


@story(
    "packs/one-silent",
    title="One of two packs falls silent",
    why="The pack that nobody hears is the one that cannot ask for less; the other one still can.",
    requirements="PACKS.every STALE.obeys STALE.stops RECOVER.follows",
    negative="STALE.no-rise",
    catches=(
        "a charger that follows as long as one pack is heard",
        "a charger that listens to nobody in fallback, or to the voltage alone",
    ),
    settings=TWO,
)
def one_silent(scene: Scene) -> None:
    """One pack falls silent, and the charger falls back.

    The other one asks for 53.4 V, then for 53 V and 0 A, and gets no more than that. When it
    asks for more again nothing rises. After `silent_s` the charger stops, and it follows when
    both are heard.
    """
    scene.follow(30, PACK, PACK).add(15, PACK, None)
    scene.add(10, PACK.but(request_v=53.4, request_a=50.0), None)
    scene.add(10, PACK.but(request_v=53.0, request_a=0.0), None)
    scene.add(60, PACK, None).follow(30, PACK, PACK)


@story(
    "packs/one-low-in-fallback",
    title="In fallback one pack asks for less than both have got",
    why="Fallback bounds what is given. It is no licence to give it to a pack that asks for less.",
    requirements="PACKS.every STALE.falls-back",
    negative="STALE.obeys",
    catches=("in fallback the voltage alone is obeyed, or nobody",),
    settings=ChargerSettings(packs=2, fallback_a=60.0),
)
def one_low_in_fallback(scene: Scene) -> None:
    """The second pack falls silent while the first asks for 20 A.

    Fallback allows 60 A, less than the 20 A and the 50 A that the second last asked for. Then
    the first asks for 53 V and 2 A: no more than 53 V and 52 A may be given.
    """
    scene.follow(60, PACK, PACK)
    scene.add(15, PACK.but(request_a=20.0), None)
    scene.add(15, PACK.but(request_v=53.0, request_a=2.0), None)


@story(
    "packs/second-never-heard",
    title="One of two packs never speaks",
    why="A pack that was never heard is on the same wires, and may be full, empty or on fire.",
    requirements="BEGIN.stopped",
    negative="PACKS.every",
    catches=("a pack that has never spoken, taken for one that is not there",),
    settings=TWO,
)
def second_never_heard(scene: Scene) -> None:
    """The settings say two packs, and one of them speaks for 60 s.

    The charger stays stopped.
    """
    scene.add(60, PACK, NOTHING)


@story(
    "packs/garbage-from-one",
    title="One of two packs says only garbage",
    why="Garbage from one pack is silence of that pack, however well the other one is heard.",
    requirements="PACKS.every STALE.falls-back STALE.stops",
    negative="DOUBT.silence",
    catches=(
        "a message that cannot be believed, taken for a sign of life",
        "a charger that follows as long as one pack is heard",
    ),
    settings=TWO,
)
def garbage_from_one(scene: Scene) -> None:
    """For 90 s the voltage that the second pack asks for is missing in every message.

    The charger has followed for 20 s before. It falls back after `stale_s` and stops after
    `silent_s`.
    """
    scene.follow(20, PACK, PACK).add(90, PACK, PACK.but(request_v=nan))
