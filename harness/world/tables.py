"""The tables of a scenario file, each with its fields; most are the parts of a bank themselves."""

from __future__ import annotations

from typing import Literal

from attrs import field, frozen

from ctrl.settings import Settings
from harness.world.bank import Ambient
from harness.world.cell import Cell
from harness.world.charger import Charger
from harness.world.checks import positive, whole_within
from harness.world.expectation import Expectation
from harness.world.loads import Loads
from harness.world.meter import Meter
from harness.world.pack import Balancer, OddCell, Spread
from harness.world.sun import Sun
from harness.world.wiring import Lead


@frozen(kw_only=True)
class RunTable:
    """How long the bank is watched, and how closely.

    Attributes:
        hours: how long, h.
        start_at: time of day at which it starts, `HH:MM`.
        interval_s: length of a step, s.
        seed: of everything that is random, but for the cells, which have their own.
        each_cell: whether every cell is followed on its own; otherwise a pack is all alike.
        kept_every_s: distance of the kept rows, s; left out: every step.
    """

    hours: float = field(validator=positive("h"))
    start_at: str = "06:00"
    interval_s: float = 1.0
    seed: int = 0
    each_cell: bool = True
    kept_every_s: float | None = None


@frozen(kw_only=True)
class BankTable:
    """What all packs have in common, and whose stage decides.

    Attributes:
        cells: cells in series in every pack.
        policy: whose stage decides: `every` pack's, that of the `lead`, or that of `any` pack.
        lead: name of the lead pack; left out: the first.
        bank_wait_s: with `every`, the longest wait after the first pack has finished, s.
    """

    cells: int = field(validator=whole_within(1, 1000, "cells"))
    policy: str = "every"
    lead: str | None = None
    bank_wait_s: float = 7200.0


@frozen(kw_only=True)
class PackTable:
    """One pack; what `[every_pack]` says holds where the pack itself says nothing.

    Attributes:
        name: what it is called.
        cell: what its cells are alike in.
        soc: mean true SoC at the start.
        counted_soc: what its controller starts counting at; left out: the true SoC.
        spread: how its cells differ.
        odd_cells: cells that differ by more.
        balancer: left out for none.
        own_consumption_a: what the pack's electronics draw, A.
        inhibited: what its switch does when the controller inhibits.
        lead: from the pack to the bus.
        contact_ohm: resistance of fuse, switch and clips, on top of the lead, Ω.
        meter: what its controller sees.
        settings: of its controller; what is left out has its default for so many cells.
        warmer_c: how much warmer than the air its coldest cell is, K.
        temperature_spread_c: from its coldest to its hottest cell, K.
    """

    name: str
    cell: Cell
    settings: Settings
    soc: float = 0.5
    counted_soc: float | None = None
    spread: Spread = field(factory=Spread)
    odd_cells: tuple[OddCell, ...] = ()
    balancer: Balancer | None = None
    own_consumption_a: float = 0.0
    inhibited: Literal["open", "charge blocked"] = "open"
    lead: Lead = field(factory=lambda: Lead(length_m=1.0, mm2=35.0))
    contact_ohm: float = 0.0
    meter: Meter = field(factory=Meter)
    warmer_c: float = 0.0
    temperature_spread_c: float = 0.0


@frozen(kw_only=True)
class WiringTable:
    """The cable between the bus and the charger.

    Attributes:
        main: the cable.
        main_contact_ohm: resistance of clips and fuse in it, on top of that, Ω.
    """

    main: Lead = field(factory=lambda: Lead(length_m=4.0, mm2=35.0))
    main_contact_ohm: float = 0.0


@frozen(kw_only=True)
class ScenarioTable:
    """A scenario for the simulated bank.

    Attributes:
        title: what happens, in a few words.
        shows: what there is to learn from it.
        source: where its numbers come from.
        run: how long the bank is watched, and how closely.
        bank: what all packs have in common, and whose stage decides.
        pack: the packs, in order.
        wiring: the cable between the bus and the charger.
        charger: the charger.
        sun: what feeds the charger; left out: a source that never runs dry.
        loads: what hangs on the bus.
        ambient: temperature of the air.
        expect: what must come of it with the reference controller in every pack.
    """

    title: str
    shows: str
    run: RunTable
    bank: BankTable
    pack: tuple[PackTable, ...]
    source: str = ""
    wiring: WiringTable = field(factory=WiringTable)
    charger: Charger = field(factory=Charger)
    sun: Sun | None = None
    loads: Loads = field(factory=Loads)
    ambient: Ambient = field(factory=Ambient)
    expect: tuple[Expectation, ...] = ()
