"""What a world is: packs with their leads, meters and settings, charger, sun, loads and policy.

Everything is plain and frozen, so that a scenario file can be read into it and two worlds can be
compared. What does not fit together is refused with the path of the field.
"""

from __future__ import annotations

from math import isfinite
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import field, frozen
from attrs.validators import optional

from ctrl.bank import BankSettings
from ctrl.settings import Settings
from harness.errors import InputError
from harness.world.charger import Charger
from harness.world.checks import number_within, positive, whole_within
from harness.world.daytime import DAY_S, seconds_of, time_of_day
from harness.world.loads import Loads
from harness.world.meter import Meter
from harness.world.network import MOST_PACKS
from harness.world.pack import Pack
from harness.world.plant import PlantSpec
from harness.world.sun import Sun
from harness.world.warmth import daily, daily_course
from harness.world.wiring import Lead

Floats = npt.NDArray[np.float64]


class WorldError(InputError):
    """Parts of a world do not fit together.

    Attributes:
        field: the path of the field at fault, such as `packs[1].meter.interval_s`.
    """

    @property
    def field(self) -> str:
        """The path of the field at fault."""
        return self.column


@frozen(kw_only=True)
class Ambient:
    """Temperature of the air over the day: a cosine between the coldest hour and twelve hours later.

    Attributes:
        mean_c: mean of the day, degrees C.
        swing_c: from the mean to the highest, K.
        coldest_at: time of day, `HH:MM`.
        interval_s: how long a temperature is held, s.
    """

    mean_c: float = field(default=20.0, validator=number_within(-60.0, 80.0, "°C"))
    swing_c: float = field(default=0.0, validator=number_within(0.0, 40.0, "K"))
    coldest_at: str = field(default="05:00", validator=time_of_day)
    interval_s: float = field(default=300.0, validator=positive("s"))

    def at(self, since_midnight_s: float) -> float:
        """Temperature at a time of day, degrees C."""
        since_coldest = (since_midnight_s - seconds_of(self.coldest_at)) / DAY_S
        plain: Any = daily
        return float(plain.py_func(self.mean_c, self.swing_c, since_coldest))

    def course_c(self, start_s: float, duration_s: float) -> Floats:
        """Temperature of each interval, degrees C; one only where it never changes."""
        count = int(np.ceil(duration_s / self.interval_s)) + 1 if self.swing_c > 0.0 else 1
        course = np.empty(count)
        coldest_s = seconds_of(self.coldest_at)
        daily_course(self.mean_c, self.swing_c, start_s, self.interval_s, coldest_s, course)
        return course


@frozen(kw_only=True)
class Branch:
    """A pack in its place: behind its lead, with its meters and the settings of its controller.

    Attributes:
        name: what it is called.
        pack: the pack.
        lead: from the pack to the bus, contacts included.
        contact_ohm: resistance of fuse, switch and clips, on top of the lead, Ω.
        meter: what its controller sees.
        settings: of its controller.
        counted_soc: what its controller starts counting at; None: the pack's true SoC.
        warmer_c: how much warmer than the air its coldest cell is, K.
        temperature_spread_c: from its coldest to its hottest cell, K.
    """

    name: str
    pack: Pack
    lead: Lead = field(factory=lambda: Lead(length_m=1.0, mm2=35.0))
    contact_ohm: float = field(default=0.0, validator=number_within(0.0, 10.0, "Ω"))
    meter: Meter = field(factory=Meter)
    settings: Settings = field(factory=Settings)
    counted_soc: float | None = field(
        default=None, validator=optional(number_within(0.0, 1.0, "(a fraction)"))
    )
    warmer_c: float = field(default=0.0, validator=number_within(-50.0, 50.0, "K"))
    temperature_spread_c: float = field(default=0.0, validator=number_within(0.0, 50.0, "K"))

    @property
    def starting_soc(self) -> float:
        """What its controller starts counting at."""
        return self.pack.soc if self.counted_soc is None else self.counted_soc


@frozen(kw_only=True)
class Recording:
    """How much of a run is kept.

    Attributes:
        interval_s: distance of the kept rows, s; None for every step.
        samples: whether every sample that a controller took is kept; a judged run needs them.
    """

    interval_s: float | None = field(default=None, validator=optional(positive("s")))
    samples: bool = True


@frozen(kw_only=True)
class World:
    """A bank in its surroundings, to be run for a while.

    Attributes:
        name: what it is called.
        packs: the branches, in order.
        duration_s: how long it runs, s.
        main: cable from the bus to the charger, contacts included.
        main_contact_ohm: resistance of clips and fuse in it, on top of that, Ω.
        charger: the charger.
        bank: bank policy: whose stage decides.
        sun: what feeds the charger; None: a source that never runs dry.
        loads: what hangs on the bus.
        ambient: temperature of the air.
        start_at: time of day at which it starts, `HH:MM`.
        interval_s: length of a step, s.
        seed: of everything that is random, but for the cells, which have their own.
        resolved: whether every cell is followed on its own.
        recording: how much is kept.

    Raises:
        WorldError: parts that do not fit together, with the path of the field.
    """

    name: str
    packs: tuple[Branch, ...]
    duration_s: float = field(validator=positive("s"))
    main: Lead = field(factory=lambda: Lead(length_m=4.0, mm2=35.0))
    main_contact_ohm: float = field(default=0.0, validator=number_within(0.0, 10.0, "Ω"))
    charger: Charger = field(factory=Charger)
    bank: BankSettings = field(factory=BankSettings)
    sun: Sun | None = None
    loads: Loads = field(factory=Loads)
    ambient: Ambient = field(factory=Ambient)
    start_at: str = field(default="06:00", validator=time_of_day)
    interval_s: float = field(default=1.0, validator=positive("s"))
    seed: int = field(default=0, validator=whole_within(0, 2**63 - 1))
    resolved: bool = True
    recording: Recording = field(factory=Recording)

    def __attrs_post_init__(self) -> None:
        for path, wrong, message, right in _misfits(self):
            if wrong:
                raise WorldError(message, column=path, hint=right)

    @property
    def steps(self) -> int:
        """Steps that a run takes."""
        return max(1, round(self.duration_s / self.interval_s))

    @property
    def start_s(self) -> float:
        """When it starts, s since midnight of the first day."""
        return seconds_of(self.start_at)

    def plant_spec(self) -> PlantSpec:
        """Its physics."""
        packs: Any = [branch.pack for branch in self.packs]
        lead_ohm: Any = [branch.lead.ohm + branch.contact_ohm for branch in self.packs]
        return PlantSpec(
            packs=packs,
            lead_ohm=lead_ohm,
            main_ohm=self.main.ohm + self.main_contact_ohm,
            resolved=self.resolved,
        )


_Misfit = tuple[str, bool, str, str]


def _misfits(world: World) -> list[_Misfit]:
    """Path, whether it is wrong, what is wrong, what would be right."""
    packs, step_s = world.packs, world.interval_s
    count = len(packs)
    found: list[_Misfit] = [
        ("packs", not 1 <= count <= MOST_PACKS, f"{count} packs", f"1 to {MOST_PACKS}"),
        (
            "bank.lead",
            world.bank.lead >= count,
            f"the lead pack is number {world.bank.lead}, counted from 0",
            f"0 to {count - 1}",
        ),
        (
            "duration_s",
            world.duration_s < step_s or not isfinite(world.duration_s / step_s),
            f"duration_s is {world.duration_s!r}, with steps of {step_s!r} s",
            "one step or more",
        ),
    ]
    every_s = world.recording.interval_s
    found.append(
        (
            "recording.interval_s",
            every_s is not None and not _multiple(every_s, step_s),
            f"recording.interval_s is {every_s!r}, with steps of {step_s!r} s",
            "a multiple of interval_s",
        )
    )
    found.append(
        (
            "charger.interval_s",
            world.charger.interval_s < step_s,
            f"the charger listens every {world.charger.interval_s!r} s, with steps of {step_s!r} s",
            "interval_s or longer",
        )
    )
    for k, branch in enumerate(packs):
        found += _misfits_of_branch(f"packs[{k}]", branch, world)
    names = [branch.name for branch in packs]
    found += [
        (f"packs[{k}].name", name in names[:k], f"two packs are called {name!r}", "names differ")
        for k, name in enumerate(names)
    ]
    return found


def _misfits_of_branch(path: str, branch: Branch, world: World) -> list[_Misfit]:
    first = world.packs[0].pack
    return [
        (
            f"{path}.meter.interval_s",
            branch.meter.interval_s < world.interval_s,
            f"samples every {branch.meter.interval_s!r} s, with steps of {world.interval_s!r} s",
            "interval_s of the world or longer",
        ),
        (
            f"{path}.settings.cells",
            branch.settings.cells != branch.pack.count,
            f"settings for {branch.settings.cells} cells on a pack of {branch.pack.count}",
            f"cells = {branch.pack.count}",
        ),
        (
            f"{path}.pack.count",
            branch.pack.count != first.count,
            f"{branch.pack.count} cells in parallel with {first.count}",
            "the same number of cells in every pack",
        ),
        (
            f"{path}.pack.cell.curve",
            branch.pack.cell.curve is not first.cell.curve,
            f"a cell of curve {branch.pack.cell.curve.name!r} in a bank of "
            f"{first.cell.curve.name!r}",
            "one curve for the whole bank",
        ),
        (
            f"{path}.lead",
            not branch.lead.ohm + branch.contact_ohm + branch.pack.cell.series_ohm > 0.0,
            "a branch without resistance",
            "more than 0 Ω in lead, contacts and cells together",
        ),
    ]


def _multiple(longer: float, shorter: float) -> bool:
    times = longer / shorter
    return times >= 1.0 - 1e-9 and abs(times - round(times)) < 1e-9
