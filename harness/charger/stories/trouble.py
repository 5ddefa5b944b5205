"""Stories of trouble: silence, nonsense, several packs, clocks, and a loss of power."""

from __future__ import annotations

from math import nan

from ctrl.charger import ChargerSettings
from harness.charger.scene import HOLDS, HUT, NOTHING, PACK, TWO, Scene, story


@story("stale/wire-off")
def wire_off() -> Scene:
    """The wire comes off in the middle of the charge, for two minutes."""
    return Scene(HUT).follow(30, PACK).add(120, None).follow(40, PACK)


@story("stale/wire-off-early")
def wire_off_early() -> Scene:
    """The wire comes off while the current still rises, below what fallback allows."""
    return Scene(HUT).follow(2, PACK).add(90, None)


@story("stale/short")
def short() -> Scene:
    """The wire comes off for 20 s."""
    return Scene(HUT).follow(30, PACK).add(20, None).follow(60, PACK)


@story("stale/low-request")
def low_request() -> Scene:
    """The pack has asked for less than fallback would give, and then falls silent."""
    low = PACK.but(request_v=53.0, request_a=8.0, pack_v=51.8)
    return Scene(HUT).follow(30, low, own=(52.5, 5.0)).add(50, None, own=(52.5, 5.0))


@story("stale/compensated")
def compensated() -> Scene:
    """A line that has been made good falls silent, where fallback may be as high as the request."""
    scene = Scene(ChargerSettings(fallback_v=57.0)).follow(30, PACK)
    lacks = PACK.but(pack_v=55.7)
    scene.add(40, lacks, own=HOLDS).add(30, None, own=HOLDS)
    return scene.add(30, PACK, own=HOLDS).add(40, lacks, own=(55.5, 12.0))


@story("stale/high-fallback")
def high_fallback() -> Scene:
    """Fallback may give more than was given when the pack fell silent."""
    settings = ChargerSettings(fallback_v=57.0, fallback_a=80.0)
    return Scene(settings).follow(6, PACK).add(50, None)


@story("recover/loose-plug")
def loose_plug() -> Scene:
    """The plug makes contact for seven seconds, and none for eight, again and again."""
    scene = Scene(HUT).follow(30, PACK)
    for _ in range(6):
        scene.add(8, None).add(7, PACK)
    return scene.add(8, None).follow(30, PACK)


@story("recover/after-a-stop")
def after_a_stop() -> Scene:
    """The charger has stopped; a few words are not enough to go on."""
    scene = Scene(HUT).follow(20, PACK).add(80, None)
    return scene.add(5, PACK).add(12, None).follow(30, PACK)


@story("doubt/garbled-requests")
def garbled_requests() -> Scene:
    """Now and then one request is garbled: too high, negative, or not there."""
    scene = Scene(HUT).follow(30, PACK)
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
    return scene


@story("doubt/garbage-on-time")
def garbage_on_time() -> Scene:
    """From one moment on the link delivers nothing but garbage, on time."""
    garbage = PACK.but(request_v=655.35, request_a=655.35)
    return Scene(HUT).follow(30, PACK).add(90, garbage).add(30, PACK.but(request_a=nan))


@story("doubt/garbage-in-fallback")
def garbage_in_fallback() -> Scene:
    """The pack falls silent, and then says only things that cannot be believed."""
    scene = Scene(ChargerSettings(fallback_v=57.0)).follow(3, PACK).add(12, None)
    return scene.add(30, PACK.but(request_v=75.0, request_a=3000.0))


@story("doubt/no-age")
def no_age() -> Scene:
    """Nobody knows how old the messages are; an age may also be negative."""
    return Scene(HUT).add(30, PACK.but(age_s=nan)).add(30, PACK.but(age_s=-4.0))


@story("doubt/no-reading")
def no_reading() -> Scene:
    """The voltage of the pack is missing, or impossible, while the charger holds its own."""
    scene = Scene(HUT).follow(30, PACK)
    for pack_v in (nan, 0.0, 655.35, nan):
        scene.add(25, PACK.but(pack_v=pack_v), own=HOLDS)
    return scene


@story("doubt/frozen-reading")
def frozen_reading() -> Scene:
    """The pack says the same voltage and current for minutes, to the last digit."""
    scene = Scene(HUT).follow(30, PACK)
    return scene.add(250, PACK.but(pack_v=55.95), own=HOLDS, flicker=False)


@story("doubt/own-meter")
def own_meter() -> Scene:
    """The charger loses its own voltage, then its own current."""
    scene = Scene(HUT).follow(30, PACK)
    lacks = PACK.but(pack_v=55.8)
    scene.add(40, lacks, own=(nan, 10.0)).add(40, lacks, own=(56.05, nan))
    return scene.add(20, lacks, own=(0.0, 10.0))


@story("packs/two-requests")
def two_requests() -> Scene:
    """Two packs ask for different voltages and currents; then the other one asks for less."""
    scene = Scene(TWO).follow(180, PACK, PACK.but(request_v=55.4, request_a=30.0))
    scene.add(20, PACK.but(request_v=55.0, request_a=20.0), PACK)
    return scene.add(20, PACK.but(request_v=55.0), PACK.but(request_v=56.4))


@story("packs/one-zero")
def one_zero() -> Scene:
    """One of two packs asks for 0 A, the other goes on asking for 50 A."""
    scene = Scene(TWO).follow(30, PACK, PACK).add(12, PACK, PACK.but(request_a=0.0))
    return scene.add(30, PACK, PACK).add(12, PACK.but(request_a=0.0), PACK)


@story("packs/two-cables")
def two_cables() -> Scene:
    """Behind the good cable a pack has what it asked for; behind the thin one it lacks 0.3 V."""
    scene = Scene(TWO).follow(30, PACK, PACK)
    return scene.add(200, PACK.but(pack_v=56.03), PACK.but(pack_v=55.7), own=HOLDS)


@story("packs/one-silent")
def one_silent() -> Scene:
    """One pack falls silent; the other asks for less, and then for no current."""
    scene = Scene(TWO).follow(30, PACK, PACK).add(15, PACK, None)
    scene.add(10, PACK.but(request_v=53.4, request_a=50.0), None)
    scene.add(10, PACK.but(request_v=53.0, request_a=0.0), None)
    return scene.add(60, PACK, None).follow(30, PACK, PACK)


@story("packs/one-low-in-fallback")
def one_low_in_fallback() -> Scene:
    """In fallback the pack that is still heard asks for less than both together have got."""
    scene = Scene(ChargerSettings(packs=2, fallback_a=60.0)).follow(60, PACK, PACK)
    scene.add(15, PACK.but(request_a=20.0), None)
    low = PACK.but(request_v=53.0, request_a=2.0)
    return scene.add(15, low, None)


@story("packs/second-never-heard")
def second_never_heard() -> Scene:
    """One of two packs never speaks."""
    return Scene(TWO).add(60, PACK, NOTHING)


@story("packs/garbage-from-one")
def garbage_from_one() -> Scene:
    """One of two packs says only garbage."""
    garbage = PACK.but(request_v=nan)
    return Scene(TWO).follow(20, PACK, PACK).add(90, PACK, garbage)


@story("clock/gap")
def gap() -> Scene:
    """The code of the charger hangs for 40 s, once while it waits and once while it follows."""
    scene = Scene(HUT).add(6, PACK).gap(40, PACK).add(4, PACK).follow(20, PACK)
    return scene.gap(40, PACK).add(6, PACK).gap(25, PACK).follow(30, PACK)


@story("clock/set-back")
def set_back() -> Scene:
    """The clock of the charger is set back by an hour, and the pack falls silent."""
    scene = Scene(HUT).follow(30, PACK).gap(-3600, None)
    scene.add(100, None).follow(30, PACK)
    return scene.gap(-50, PACK).follow(30, PACK)


@story("clock/set-back-while-silent")
def set_back_while_silent() -> Scene:
    """The pack is silent already when the clock is set back, again and again."""
    scene = Scene(HUT).follow(30, PACK)
    for _ in range(14):
        scene.add(9, None).gap(-10, None)
    return scene


@story("clock/no-stamp")
def no_stamp() -> Scene:
    """Some samples have no stamp, with messages that ask for something else."""
    scene = Scene(HUT).follow(3, PACK)
    for other in (
        PACK,
        PACK.but(request_a=0.0),
        PACK.but(request_v=53.0),
        PACK.but(request_v=57.5),
    ):
        scene.add(3, other, stamped=False).add(4, PACK)
    scene.add(30, PACK).add(3, PACK.but(request_v=57.0, request_a=90.0), stamped=False)
    return scene.add(3, PACK.but(request_a=0.0), stamped=False).add(10, PACK)


@story("restart/while-following")
def while_following() -> Scene:
    """The charger loses power while it follows and compensates, and the packs speak on."""
    lacks = PACK.but(pack_v=55.7)
    scene = Scene(HUT).follow(30, PACK).add(40, lacks, own=HOLDS).power_cycle()
    return scene.follow(60, PACK).add(40, lacks, own=HOLDS)


@story("restart/while-waiting")
def while_waiting() -> Scene:
    """The charger loses power while it waits for steady messages, twice; then nobody speaks."""
    scene = Scene(HUT).add(7, PACK).power_cycle().add(7, PACK).power_cycle().follow(20, PACK)
    return scene.power_cycle().add(70, NOTHING)
