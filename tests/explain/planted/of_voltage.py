"""Causes that keep a pack's voltage from the threshold: wiring, meters, noise, settings."""

from __future__ import annotations

from attrs import evolve

from harness.world.bank import World
from tests.explain.planted.bank import (
    hut,
    pier,
    with_bank,
    with_meter,
    with_pack,
    with_settings,
    with_soc,
)
from tests.explain.planted.plant import Planted


def wiring(k: int) -> Planted:
    """A bad joint in the lead of one pack.

    Either heating mats draw so much for good that the pack hovers short of a threshold close to the
    set-point; or the pack gets so little that it is still charging when the bank's wait is over.
    """
    world, pack, ohm = (
        lambda: (_heated(with_settings(hut(101), entry_v=55.97)), 1, 0.035),
        lambda: (with_bank(with_soc(hut(102, packs=4), 0.58), bank_wait_s=1050.0), 2, 0.040),
        lambda: (_heated(with_settings(pier(103), entry_v=27.97)), 0, 0.028),
        lambda: (with_bank(with_soc(pier(104), 0.45), bank_wait_s=3700.0), 1, 0.038),
    )[k]()
    name = world.packs[pack].name
    return Planted(
        name=f"wiring-{k + 1}",
        cause="wiring",
        pack=pack,
        affected=(pack,),
        story=f"a bad joint of {1000 * ohm:g} mOhm in the lead of {name}",
        world=with_pack(world, pack, contact_ohm=world.packs[pack].contact_ohm + ohm),
        without=world,
    )


def _heated(world: World) -> World:
    """Packs with heating mats on their own terminals."""
    for p, branch in enumerate(world.packs):
        world = with_pack(world, p, pack=evolve(branch.pack, own_consumption_a=1.2))
    return world


def meter_offset(k: int) -> Planted:
    """A voltmeter of a pack that reads low, or that of the charger that reads high."""
    world, pack, offset_v = (
        lambda: (with_settings(hut(111), entry_v=55.97, full_v=55.6), 1, -0.045),
        lambda: (with_settings(hut(112, packs=4), entry_v=55.99, full_v=55.7), 3, -0.022),
        lambda: (with_settings(pier(113), entry_v=27.97), 0, -0.060),
        lambda: (with_settings(hut(114, hours=14.0), entry_v=55.98, full_v=55.6), None, 0.040),
    )[k]()
    if pack is None:
        planted = evolve(world, charger=evolve(world.charger, meter_offset_v=offset_v))
        story = f"the charger's meter reads {1000 * offset_v:+g} mV"
    else:
        planted = with_meter(world, pack, voltage_offset_v=offset_v)
        story = f"the meter of {world.packs[pack].name} reads {1000 * offset_v:+g} mV"
    return Planted(
        name=f"meter-offset-{k + 1}",
        cause="meter_offset",
        pack=pack,
        affected=tuple(range(len(world.packs))) if pack is None else (pack,),
        story=story,
        world=planted,
        without=world if pack is None else with_meter(world, pack, voltage_offset_v=0.0),
    )


def dwell_flicker(k: int) -> Planted:
    """A voltage that hovers at the threshold with a noise that breaks every dwell."""
    world, pack, noise_v = (
        lambda: (with_settings(hut(121), entry_v=55.99, entry_dwell_s=60.0), 0, 0.015),
        lambda: (with_settings(hut(122, packs=2), entry_v=56.0, entry_dwell_s=30.0), 1, 0.025),
        lambda: (with_settings(pier(123), entry_v=27.99, entry_dwell_s=45.0), 1, 0.012),
    )[k]()
    world = with_meter(world, pack, voltage_offset_v=0.0)
    return Planted(
        name=f"dwell-flicker-{k + 1}",
        cause="dwell_flicker",
        pack=pack,
        affected=(pack,),
        story=f"readings of {world.packs[pack].name} scatter by {1000 * noise_v:g} mV",
        world=with_meter(world, pack, voltage_noise_v=noise_v),
        without=world,
    )


def wrong_settings(k: int) -> Planted:
    """Settings of one pack unlike those of the others; the last of them nobody knows of."""
    world, pack, changes = (
        lambda: (with_bank(hut(131), policy="any"), 2, {"absorption_v": 56.4, "entry_v": 56.2}),
        lambda: (hut(132, packs=4), 1, {"hold_s": 36_000.0}),
        lambda: (pier(133), 0, {"taper_a": 0.01}),
        lambda: (with_bank(hut(134), policy="any"), 0, {"absorption_v": 56.4, "entry_v": 56.3}),
    )[k]()
    planted: World = with_settings(world, pack, **changes)
    said = ", ".join(f"{name} {value:g}" for name, value in changes.items())
    name, hidden = world.packs[pack].name, k == 3
    given = world if hidden else planted
    return Planted(
        name=f"wrong-settings-{k + 1}",
        cause="wrong_settings",
        pack=pack,
        affected=(pack,),
        story=f"{name} has {said}" + (", and its file says otherwise" if hidden else ""),
        world=planted,
        without=world,
        told=tuple(branch.settings for branch in given.packs),
    )
