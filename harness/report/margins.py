"""What keeps two settings apart, and what eats of it: the margins of a pack, pair by pair.

The verdict on a pair is that of `ctrl.advice.warnings`; here are the numbers behind it.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil, nan

from attrs import asdict, evolve, frozen

from ctrl.advice import (
    DAY_S,
    Advice,
    highest_v,
    smallest_absorption_v,
    usual_rest_cell_v,
    usual_taper_a,
    warnings,
)
from ctrl.advice_upkeep import coldest_c
from ctrl.limits import TIME_SLACK_S
from ctrl.settings import Settings

# Dwells of which samples that are far apart make longer ones.
DWELLS = (
    "entry_dwell_s",
    "confirm_s",
    "return_dwell_s",
    "empty_dwell_s",
    "trip_dwell_s",
    "release_dwell_s",
)
MILLI = 1000.0
PERCENT = 100.0


@frozen(kw_only=True)
class Installation:
    """What the settings meet in the field.

    Attributes:
        meter_error_v: how far the charger's and the pack's meters may differ, V.
        meter_noise_v: how far a reading may stray from the next, V.
        wiring_ohm: resistance of the conductors between charger and pack, both ways, ohm.
        interval_s: distance of the samples, s.
        rest_cell_v: voltage of a full cell at rest, V; None: that of the chemistry that the settings
            look like.
        taper_a: current at which the drop of the wiring counts, A; None: that of the settings, or a
            twentieth of the capacity in an hour.
    """

    meter_error_v: float = 0.1
    meter_noise_v: float = 0.02
    wiring_ohm: float = 0.005
    interval_s: float = 1.0
    rest_cell_v: float | None = None
    taper_a: float | None = None


@frozen
class Eaten:
    """A part of a margin that is used up.

    Attributes:
        by: what uses it up, in a few words.
        amount: how much, in the unit of the margin.
    """

    by: str
    amount: float


@frozen
class Margin:
    """Two settings, or a setting and what it meets, and what lies between them.

    Attributes:
        wanted: what the margin is for, as a sentence that should be true.
        pair: what is over what, in the names of the settings.
        fields: the settings that a warning about it names.
        unit: `mV`, `s` or `%`.
        amount: what lies between them; NaN where nothing bounds it.
        eaten: what uses it up.
        rules: ids of the requirements that it follows from.
        advice: the warnings about it.
    """

    wanted: str
    pair: str
    fields: tuple[str, ...]
    unit: str
    amount: float
    eaten: tuple[Eaten, ...] = ()
    rules: tuple[str, ...] = ()
    advice: tuple[Advice, ...] = ()

    @property
    def left(self) -> float:
        """What is left, in `unit`."""
        return self.amount - sum(part.amount for part in self.eaten)

    @property
    def enough(self) -> bool:
        """Whether nobody has to be warned."""
        return not self.advice


@frozen
class LateDwell:
    """A dwell that samples far apart make longer.

    Attributes:
        name: the setting.
        set_s: what it is set to, s.
        takes_s: what it takes at the least, s.
    """

    name: str
    set_s: float
    takes_s: float


@frozen
class SmallestSetting:
    """The smallest charger setting that clears what the meters and the wiring take.

    Attributes:
        absorption_v: the setting, V.
        a_cell_v: the same a cell, V.
        under_cell_limit: whether that is under the cell limit; None where there is none.
        set_v: what is set now, V.
    """

    absorption_v: float
    a_cell_v: float
    under_cell_limit: bool | None
    set_v: float


@frozen
class Margins:
    """The margins of one pack.

    Attributes:
        settings: its settings.
        installation: what they meet.
        margins: pair by pair.
        late: dwells that take longer than they are set to.
        smallest: the smallest charger setting that clears the entry threshold.
    """

    settings: Settings
    installation: Installation
    margins: tuple[Margin, ...]
    late: tuple[LateDwell, ...]
    smallest: SmallestSetting

    @property
    def advice(self) -> tuple[Advice, ...]:
        """All warnings, in the order of the margins."""
        return tuple(advice for margin in self.margins for advice in margin.advice)


def margins_of(settings: Settings, installation: Installation | None = None) -> Margins:
    """The margins of a pack, each with the warnings about it.

    Raises:
        ValueError: a number of the installation is negative or not finite.
    """
    found = _whole(settings, Installation() if installation is None else installation)
    advice = warnings(settings, **asdict(found))
    margins = [
        evolve(margin, advice=tuple(one for one in advice if one.fields == margin.fields))
        for margin in _pairs(settings, found)
    ]
    told = {margin.fields for margin in margins}
    for one in advice:
        if one.fields in told:
            continue
        if not one.wanted:
            # Whoever adds a warning adds its margin, or says what is wanted.
            raise LookupError(f"a warning without a margin: {one.fields}")
        margins.append(Margin(one.wanted, "no margin", one.fields, "", nan, advice=(one,)))
    return Margins(
        settings, found, tuple(margins), tuple(_late(settings, found)), _smallest(settings, found)
    )


def _whole(settings: Settings, given: Installation) -> Installation:
    if given.rest_cell_v is None:
        given = evolve(given, rest_cell_v=usual_rest_cell_v(settings))
    if given.taper_a is None:
        given = evolve(given, taper_a=usual_taper_a(settings))
    return given


def _pairs(settings: Settings, found: Installation) -> Iterator[Margin]:
    yield from _of_voltage(settings, found)
    yield from _of_count(settings)
    yield from _of_time(settings, found)
    yield from _of_temperature(settings)


def _of_voltage(settings: Settings, found: Installation) -> Iterator[Margin]:
    rest_v = settings.cells * (found.rest_cell_v or 0.0)
    yield Margin(
        "The hold starts.",
        "absorption_v over entry_v",
        ("absorption_v", "entry_v"),
        "mV",
        MILLI * (settings.absorption_v - settings.entry_v),
        _eaters(found),
        ("ENTRY.held-long-enough",),
    )
    yield Margin(
        "Noise does not deny a full pack.",
        "entry_v over full_v",
        ("full_v", "entry_v"),
        "mV",
        MILLI * (settings.entry_v - settings.full_v),
        (Eaten("noise", MILLI * found.meter_noise_v),),
        ("FULL.voltage", "FULL.denied"),
    )
    yield Margin(
        "A pack that merely rests is not called full.",
        "full_v over a full pack at rest",
        ("full_v", "cells"),
        "mV",
        MILLI * (settings.full_v - rest_v),
        rules=("FULL.voltage",),
    )
    yield Margin(
        "A full pack rests in float.",
        "a full pack at rest over return_v",
        ("return_v", "cells"),
        "mV",
        MILLI * (rest_v - settings.return_v),
        rules=("RETURN.low-voltage",),
    )


def _eaters(found: Installation) -> tuple[Eaten, ...]:
    """What stands between the voltage that is asked for and the one that the pack reads."""
    taper_a = found.taper_a or 0.0
    return (
        Eaten("meters", MILLI * found.meter_error_v),
        Eaten("wiring", MILLI * (found.wiring_ohm * taper_a)),
    )


def _of_count(settings: Settings) -> Iterator[Margin]:
    if settings.return_soc is not None:
        yield Margin(
            "A pack that was denied stays in float.",
            "soc_ceiling over return_soc",
            ("return_soc", "soc_ceiling"),
            "%",
            PERCENT * (settings.soc_ceiling - settings.return_soc),
            rules=("SOC.ceiling", "RETURN.low-soc"),
        )


def _of_time(settings: Settings, found: Installation) -> Iterator[Margin]:
    samples = (Eaten("sampling", found.interval_s),)
    yield Margin(
        "Samples hang together.",
        "max_gap_s over the distance of the samples",
        ("max_gap_s",),
        "s",
        settings.max_gap_s,
        samples,
        ("TIME.gap-abandons-hold",),
    )
    yield Margin(
        "The hold is longer than a sample.",
        "hold_s over the distance of the samples",
        ("hold_s",),
        "s",
        settings.hold_s,
        samples,
        ("HOLD.full-length",),
    )
    for name, wanted, rule in (
        ("entry_dwell_s", "The entry dwell is no longer than the hold.", "ENTRY.held-long-enough"),
        ("confirm_s", "The confirmation is no longer than the hold.", "FULL.confirmed"),
    ):
        yield Margin(
            wanted,
            f"hold_s over {name}",
            (name, "hold_s"),
            "s",
            settings.hold_s - getattr(settings, name),
            rules=(rule,),
        )
    if settings.on_unconfirmed == "wait":
        yield Margin(
            "The wait leaves time for the confirmation.",
            "wait_limit_s over confirm_s",
            ("wait_limit_s", "confirm_s"),
            "s",
            settings.wait_limit_s - settings.confirm_s,
            rules=("FULL.wait",),
        )
    if settings.float_s is not None:
        yield Margin(
            "The float timer ends within a day.",
            "a day over float_s",
            ("float_s",),
            "s",
            DAY_S - settings.float_s,
            rules=("FLOAT.timer-ends",),
        )


def _of_temperature(settings: Settings) -> Iterator[Margin]:
    if settings.compensation_v_per_c == 0.0:
        return
    rules = ("REQUEST.compensated",)
    wanted = "Cold or heat does not raise the voltage too far."
    worst_c = coldest_c(settings)
    if worst_c is None:
        fields = ("compensation_v_per_c", "charge_min_c", "charge_max_c")
        yield Margin(wanted, "no temperature limit bounds it", fields, "mV", nan, rules=rules)
        return
    shift_v = settings.compensation_v_per_c * (worst_c - settings.reference_c)
    yield Margin(
        wanted,
        "the highest voltage over absorption_v",
        ("compensation_v_per_c", "absorption_v", "plausible_v", "cell_limit_v"),
        "mV",
        MILLI * (highest_v(settings) - settings.absorption_v),
        (Eaten(f"compensation at {worst_c:g} °C", MILLI * shift_v),),
        rules,
    )


def _late(settings: Settings, found: Installation) -> Iterator[LateDwell]:
    if found.interval_s <= 0.0:
        return
    for name in DWELLS:
        set_s = float(getattr(settings, name))
        # A dwell is over at a sample; the slack is that with which times are compared.
        takes_s = ceil((set_s - TIME_SLACK_S) / found.interval_s) * found.interval_s
        if takes_s > set_s + TIME_SLACK_S:
            yield LateDwell(name, set_s, takes_s)


def _smallest(settings: Settings, found: Installation) -> SmallestSetting:
    needed_v = found.meter_error_v + found.wiring_ohm * (found.taper_a or 0.0)
    least_v = smallest_absorption_v(settings, needed_v)
    a_cell_v = least_v / settings.cells
    limit_v = settings.cell_limit_v
    under = None if limit_v is None else a_cell_v < limit_v
    return SmallestSetting(least_v, a_cell_v, under, settings.absorption_v)
