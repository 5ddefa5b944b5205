"""Messages and readings that cannot be believed. The group is `doubt`."""

from __future__ import annotations

from math import nan

from ctrl.charger import ChargerSettings
from harness.charger.recipe import story
from harness.charger.scene import HOLDS, PACK, QUICK, Scene


@story(
    "doubt/garbled-requests",
    title="Now and then a request is garbled",
    why="One wrong byte asks for 655.35 V, or for 0 A that nobody meant.",
    requirements="FOLLOW.keeps",
    negative="DOUBT.request DOUBT.reading",
    catches=(
        "a charger that believes any number",
        "a request that is missing, taken for 0 A",
        "nonsense that is cut down to the nearest number that can be believed",
        "a charger that gives up at the first nonsense",
    ),
    settings=QUICK,
)
def garbled_requests(scene: Scene) -> None:
    """Seven single messages cannot be believed: too high, negative, missing, without an age.

    Five good ones lie between two of them. State, set-point and limit stay as if the bad ones
    had not come.
    """
    scene.follow(30, PACK)
    for garbled in (
        PACK.but(request_v=655.35, request_a=655.35),
        PACK.but(request_v=nan),
        PACK.but(request_a=nan),
        PACK.but(request_v=0.0, request_a=0.0),
        PACK.but(request_a=-5.0),
        PACK.but(request_v=75.0, request_a=3000.0),
        PACK.but(request_v=57.0, request_a=90.0, age_s=nan),
    ):
        scene.add(1, garbled).add(5, PACK)


@story(
    "doubt/garbage-on-time",
    title="Garbage, on time",
    why="A link that delivers garbage on time looks alive, and is not.",
    requirements="DOUBT.silence STALE.falls-back STALE.stops",
    negative="DOUBT.request",
    catches=("a message that cannot be believed, taken for a sign of life",),
)
def garbage_on_time(scene: Scene) -> None:
    """From one moment on every message asks for 655.35 V and 655.35 A, later for a current that is missing.

    That is silence: the charger falls back after `stale_s` and stops after `silent_s`.
    """
    garbage = PACK.but(request_v=655.35, request_a=655.35)
    scene.follow(30, PACK).add(90, garbage).add(30, PACK.but(request_a=nan))


@story(
    "doubt/garbage-in-fallback",
    title="In fallback there is only garbage",
    why="A charger that has stopped trusting must not be talked into more by nonsense.",
    requirements="STALE.falls-back",
    negative="DOUBT.silence STALE.no-rise",
    catches=("nonsense that is cut down to the nearest number that can be believed",),
    settings=ChargerSettings(fallback_v=57.0),
)
def garbage_in_fallback(scene: Scene) -> None:
    """The pack falls silent for 12 s, and then asks for 75 V and 3000 A for 30 s.

    The charger stays in fallback, and nothing rises.
    """
    scene.follow(3, PACK).add(12, None)
    scene.add(30, PACK.but(request_v=75.0, request_a=3000.0))


@story(
    "doubt/no-age",
    title="Nobody knows how old the messages are",
    why="A message without an age may be of yesterday; one from the future is a broken clock.",
    requirements="BEGIN.stopped",
    negative="DOUBT.silence",
    catches=("a message without an age, or with a negative one, taken for a new one",),
)
def no_age(scene: Scene) -> None:
    """For 30 s the age of every message is missing, for 30 s more it is -4 s.

    No such message is heard, and the charger stays stopped.
    """
    scene.add(30, PACK.but(age_s=nan)).add(30, PACK.but(age_s=-4.0))


@story(
    "doubt/no-reading",
    title="The pack does not say what it reads",
    why="A voltage that is missing, taken for 0 V, is all that an integral needs to run to its bound.",
    requirements="FOLLOW.keeps",
    negative="DOUBT.reading",
    catches=(
        "a reading that is missing, taken for the lowest one",
        "a reading that cannot be believed, cut to one that can",
    ),
    settings=QUICK,
)
def no_reading(scene: Scene) -> None:
    """While the charger holds its voltage, that of the pack cannot be read.

    It is missing, 0 V, 655.35 V and missing again, for 25 s each. Its requests are good, so the
    charger follows; it compensates nothing.
    """
    scene.follow(30, PACK)
    for pack_v in (nan, 0.0, 655.35, nan):
        scene.add(25, PACK.but(pack_v=pack_v), own=HOLDS)


@story(
    "doubt/frozen-reading",
    title="The pack says the same for minutes, to the last digit",
    why="A pack's processor hangs, its bus interface repeats the last voltage, and an integral runs on.",
    requirements="FOLLOW.keeps",
    negative="DOUBT.frozen",
    catches=("a frozen reading that is believed, or is noticed three times too late",),
    settings=QUICK,
)
def frozen_reading(scene: Scene) -> None:
    """Voltage and current of the pack do not change in the last digit.

    For the first 70 s the charger cannot hold its voltage, so nothing is compensated. Then it
    can, for 180 s, and the pack seems to lack 50 mV: by now the reading is older than
    `frozen_s`, and nothing rises for it.
    """
    same = PACK.but(pack_v=55.95)
    scene.follow(30, PACK).add(70, same, flicker=False).add(180, same, own=HOLDS, flicker=False)


@story(
    "doubt/own-meter",
    title="The charger loses its own meter",
    why="Without its own meter a charger cannot know that its set-point is what bounds the charge.",
    requirements="FOLLOW.keeps",
    negative="DOUBT.own",
    catches=(
        "the set-point taken for what its terminals read",
        "a current that is missing, taken for 0 A",
    ),
    settings=QUICK,
)
def own_meter(scene: Scene) -> None:
    """The pack lacks 0.2 V.

    For 40 s the charger's own voltage is missing, for 40 s its own current, and for 20 s its
    voltage reads 0 V. It follows, and compensates nothing.
    """
    scene.follow(30, PACK)
    lacks = PACK.but(pack_v=55.8)
    scene.add(40, lacks, own=(nan, 10.0)).add(40, lacks, own=(56.05, nan))
    scene.add(20, lacks, own=(0.0, 10.0))
