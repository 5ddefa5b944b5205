"""Stories of packs that are heard: the start, requests, and the line between."""

from __future__ import annotations

from ctrl.charger import ChargerSettings
from harness.charger.scene import HOLDS, HUT, NOTHING, PACK, Says, Scene, story
from harness.rules.link import CUTS, FRESH


@story("begin/first-messages", CUTS, FRESH)
def first_messages() -> Scene:
    """Nothing is heard for a while, then the pack speaks, and gets what it asks for."""
    return Scene(HUT).add(8, NOTHING).follow(290, PACK)


@story("begin/never-heard")
def never_heard() -> Scene:
    """No pack ever speaks."""
    return Scene(HUT).add(100, NOTHING)


@story("begin/stammer")
def stammer() -> Scene:
    """The pack speaks a few seconds at a time, and only in the end for good."""
    scene = Scene(HUT)
    for _ in range(5):
        scene.add(6, PACK).add(10, None)
    return scene.follow(20, PACK)


@story("begin/old-message")
def old_message() -> Scene:
    """All that lies before the charger is a message from before it was switched on."""
    return Scene(HUT).add(40, PACK.but(age_s=3600.0)).follow(10, PACK)


@story("begin/pier")
def pier() -> Scene:
    """The bank of 8 cells on the pier: half the voltage, the same rules."""
    settings = ChargerSettings.for_cells(8)
    pack = Says(request_v=28.0, request_a=30.0, pack_v=26.6)
    low = pack.but(request_v=27.0, request_a=10.0)
    scene = Scene(settings).follow(150, pack, own=(26.75, 10.0))
    return scene.add(30, low, own=(26.75, 5.0)).add(90, None, own=(26.75, 5.0))


@story("follow/lowered")
def lowered() -> Scene:
    """The pack asks for less voltage, then for less current, then for more of both again."""
    scene = Scene(HUT).follow(40, PACK)
    scene.add(15, PACK.but(request_v=55.4)).add(15, PACK.but(request_v=55.4, request_a=20.0))
    return scene.add(90, PACK.but(request_v=56.4, request_a=60.0))


@story("follow/zero")
def zero() -> Scene:
    """A cell is at its limit and the pack asks for no current, twice."""
    none = PACK.but(request_a=0.0)
    return Scene(HUT).follow(30, PACK).add(12, none).add(30, PACK).add(5, none).add(20, PACK)


@story("follow/greedy")
def greedy() -> Scene:
    """A pack with the wrong settings asks for more than the charger may ever give."""
    return Scene(HUT).follow(180, PACK.but(request_v=62.0, request_a=180.0), own=(53.8, 40.0))


@story("follow/slow-steps")
def slow_steps() -> Scene:
    """Requests climb in steps while samples come every 4 s."""
    scene = Scene(HUT, step_s=4.0).add(16, PACK)
    for step in range(4):
        scene.add(48, PACK.but(request_v=55.0 + 0.4 * step, request_a=20.0 + 20.0 * step))
    return scene


@story("follow/lost-now-and-then")
def lost_now_and_then() -> Scene:
    """Single messages are lost, and the next ones come in time."""
    scene = Scene(HUT).follow(30, PACK)
    for _ in range(12):
        scene.add(2, None).add(3, PACK)
    return scene


@story("sense/thin-cable")
def thin_cable() -> Scene:
    """The charger holds its voltage, and the pack reads 60 mV too little for minutes."""
    return Scene(HUT).follow(30, PACK).add(300, PACK.but(pack_v=55.94), own=HOLDS)


@story("sense/very-thin-cable")
def very_thin_cable() -> Scene:
    """The line loses so much that the compensation runs to its bound, and stays there."""
    scene = Scene(HUT).follow(30, PACK)
    for second in range(150):
        scene.add(1, PACK.but(pack_v=54.6), own=(56.0 + min(0.01 * second, 0.5), 10.0))
    return scene


@story("sense/meter-reads-high")
def meter_reads_high() -> Scene:
    """The meter of the pack reads 60 mV more than that of the charger."""
    return Scene(HUT).follow(30, PACK).add(300, PACK.but(pack_v=56.06), own=(55.9, 10.0))


@story("sense/far-too-high")
def far_too_high() -> Scene:
    """The meter of the pack reads so high that the compensation runs down to its bound."""
    scene = Scene(HUT).follow(30, PACK)
    for second in range(150):
        scene.add(1, PACK.but(pack_v=57.2), own=(56.0 - min(0.01 * second, 0.5), 10.0))
    return scene


@story("sense/load-takes-the-current")
def load_takes_the_current() -> Scene:
    """The line has been made good; then a load takes its current, and the pack reads too much."""
    scene = Scene(HUT).follow(30, PACK).add(60, PACK.but(pack_v=55.85), own=HOLDS)
    return scene.add(250, PACK.but(pack_v=56.1), own=(56.1, 10.0))


@story("sense/cloud")
def cloud() -> Scene:
    """With a cloud before the sun nothing holds the voltage; the pack reads half a volt too little."""
    scene = Scene(HUT).follow(30, PACK).add(60, PACK.but(pack_v=55.97), own=HOLDS)
    return scene.add(200, PACK.but(pack_v=55.5), own=(55.6, 15.0)).add(20, PACK, own=HOLDS)


@story("sense/at-the-limit")
def at_the_limit() -> Scene:
    """The current is at the limit, and the pack reads too little."""
    scene = Scene(HUT).follow(30, PACK)
    return scene.add(200, PACK.but(pack_v=55.6, pack_a=49.0), own=(56.0, 49.9))


@story("sense/held-up")
def held_up() -> Scene:
    """Another charger holds the bus above the set-point; the pack still reads too little."""
    return Scene(HUT).follow(30, PACK).add(200, PACK.but(pack_v=55.8), own=(56.3, 5.0))


@story("sense/no-current-asked")
def no_current_asked() -> Scene:
    """The pack asks for 0 A, and lacks voltage: there is nothing to compensate."""
    scene = Scene(HUT).follow(30, PACK)
    return scene.add(150, PACK.but(request_a=0.0, pack_v=55.7), own=(55.95, -1.0))
