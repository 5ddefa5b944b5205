"""Settings and traces that are made to hit the edges: each value sits on a threshold or just beside.

On the *exact* grid every voltage, current, stamp and shift is a multiple of a power of two, so that
two programs that follow the same rules in another order of operations get the same bits, and may
be compared at the thresholds themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, inf, isfinite, nan
from typing import Any

from attrs import frozen
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy, composite

from ctrl.settings import Settings
from ctrl.state import Sample

HAIR_V = 1 / 1024
HAIR_A = 1 / 64
HAIR_CELL_V = 1 / 1024
# A capacity at which one coulomb is 1/1024 of the pack, in floating point too.
EXACT_CAPACITY_AH = 1024 / 3600


@composite
def settings_of_any_kind(draw: DrawFn, *, exact: bool = False, upkeep: bool = True) -> Settings:
    """Settings without contradiction: every word, every setting that may be off, short timers.

    Args:
        draw: given by the library.
        exact: keep to the exact grid.
        upkeep: with equalisation, and with checks of the sensor and bounds of the compensation.
    """

    def one_of(*choices: Any) -> Any:
        return draw(st.sampled_from(choices))

    def down_v() -> float:
        choices = (0.0, HAIR_V, 0.25, 0.5) if exact else (0.0, 0.01, 0.2, 1 / 3)
        return float(one_of(*choices))

    def seconds(*more: float) -> float:
        return float(one_of(0.0, 1.0, 2.5, *more, *(() if exact else (0.3, 0.7))))

    absorption_v = one_of(56.0, 57.5)
    entry_v = absorption_v - down_v()
    full_v = entry_v - down_v()
    float_v = absorption_v - one_of(0.0, 0.5, 2.0)
    return_v = float_v - one_of(HAIR_V, 0.25, 1.0)
    empty_v = one_of(None, return_v - HAIR_V, return_v - 2.0)
    cell_limit_v = one_of(None, 3.75, 3.625) if exact else one_of(None, 3.75, 3.65)
    charge_min_c, band_c = one_of(None, 0.0, -10.0), one_of(0.0, 3.0, 0.25)
    high_v = absorption_v + one_of(0.0, 8.0)
    more: dict[str, Any] = {}
    if upkeep:
        more = {
            "compensation_min_c": one_of(None, None, 18.0, 20.0),
            "compensation_max_c": one_of(None, None, 25.0, 26.0),
            "sensor_lost_s": one_of(None, None, 0.5, 5.0, 12.0),
            "sensor_frozen_s": one_of(None, None, 3.0, 20.0),
            "sensor_jump_c": one_of(None, None, 5.0, 10.0),
            "equalisation_v": one_of(None, absorption_v, min(absorption_v + 0.25, high_v)),
            "equalisation_s": one_of(0.5, 4.0, 10.0, 30.0),
            "equalisation_every_s": one_of(None, 0.5, 20.0, 60.0),
            "equalisation_max_c": one_of(None, 22.0, 40.0),
            "equalisation_loss_s": seconds(5.0),
            "equalisation_retry_s": one_of(0.0, 3.0, 25.0),
        }
    return Settings(
        cells=16,
        capacity_ah=EXACT_CAPACITY_AH if exact else one_of(0.05, 1.0, 280.0),
        absorption_v=absorption_v,
        entry_v=entry_v,
        entry_dwell_s=seconds(),
        hold_s=one_of(0.5, 4.0, 10.0, 30.0),
        sag_v=one_of(None, entry_v, entry_v - HAIR_V, entry_v - 1.0),
        on_sag=one_of("run", "pause", "restart"),
        full_v=full_v,
        confirm_s=seconds(5.0),
        taper_a=one_of(None, 0.0, 8.0),
        on_unconfirmed=one_of("float", "bulk", "wait"),
        wait_limit_s=one_of(0.5, 3.0, 20.0),
        float_v=float_v,
        float_s=one_of(None, None, 0.5, 12.0),
        return_v=return_v,
        return_dwell_s=seconds(5.0),
        return_soc=one_of(None, 0.0, 0.9, 0.3),
        charge_current_a=one_of(0.0, 100.0),
        charge_efficiency=one_of(1.0, 0.5, 0.75 if exact else 0.97),
        soc_ceiling=one_of(0.99, 1.0, 0.6),
        empty_v=empty_v,
        empty_dwell_s=seconds(5.0),
        cell_limit_v=cell_limit_v,
        cell_release_v=3.5 if cell_limit_v is None else cell_limit_v - one_of(HAIR_CELL_V, 0.125),
        charge_min_c=charge_min_c,
        charge_max_c=one_of(None, 45.0, 7.0),
        temp_band_c=band_c,
        trip_dwell_s=seconds(),
        release_dwell_s=seconds(5.0),
        max_gap_s=one_of(3.0, 30.0),
        plausible_v=(16.0, high_v),
        plausible_i=one_of((-500.0, 500.0), (-64.0, 64.0)),
        compensation_v_per_c=one_of(0.0, 0.0, -1 / 16, 1 / 32 if exact else 0.03),
        reference_c=25.0,
        **more,
    )


@frozen
class Walk:
    """A trace with the places at which something happens just before a sample.

    Attributes:
        samples: in the order in which they reach the controller.
        power_cycles: indices at which the power is lost.
        soc: starting state of charge, 0..1.
        requests: indices at which somebody asks for an equalisation; after a loss of power.
    """

    samples: tuple[Sample, ...]
    power_cycles: frozenset[int]
    soc: float
    requests: frozenset[int] = frozenset()

    def columns(self, *names: str) -> list[list[float]]:
        """Some of the columns of the trace."""
        return [[getattr(sample, name) for sample in self.samples] for name in names]


@composite
def walks(draw: DrawFn, settings: Settings, *, exact: bool = False, faults: bool = True) -> Walk:
    """A trace that hovers around the thresholds and the ends of the timers of `settings`.

    Args:
        draw: given by the library.
        settings: what the thresholds are taken from.
        exact: keep to the exact grid.
        faults: with gaps, steps back in time, invalid readings and losses of power.
    """
    any_stretch = _stretch(settings, exact, faults)
    some = st.lists(st.one_of(any_stretch, _deeds(settings, faults)), min_size=1, max_size=12)
    stretches = draw(some) + draw(some)
    t = draw(st.sampled_from((0.0, 0.0, -7.5, 1_700_000_000.0)))
    samples: list[Sample] = []
    for count, dt, readings in stretches:
        for _ in range(count):
            t = t + dt if isfinite(t + dt) else t
            samples.append(Sample(t if isfinite(dt) else dt, *readings))
    cycles: frozenset[int] = frozenset()
    if faults:
        where = st.integers(0, len(samples) - 1)
        cycles = frozenset(draw(st.lists(where, max_size=2)))
    soc = draw(st.sampled_from((0.5, 0.0, 1.0, 0.875, 0.96875)))
    asked: frozenset[int] = frozenset()
    if settings.equalisation_v is not None:
        asked = frozenset(draw(st.lists(st.integers(0, len(samples) - 1), max_size=3)))
    return Walk(tuple(samples), cycles, soc, asked)


Stretch = tuple[int, float, tuple[float, ...]]


def _deeds(settings: Settings, faults: bool) -> SearchStrategy[Stretch]:
    """Stretches with a purpose, each one just long enough for it, or a sample longer."""
    shift_v = settings.compensation_v_per_c * (20.0 - settings.reference_c)

    def lasting(seconds: float, **readings: float) -> list[Stretch]:
        calm = {
            "v": settings.absorption_v + shift_v,
            "i": 0.0,
            "cell": 3.4,
            "temp": 20.0,
            "hot": nan,
        }
        row = tuple((calm | readings).values())
        return [(max(1, ceil(seconds)) + more, 1.0, row) for more in (0, 1, 2)]

    begins = settings.entry_dwell_s
    runs_out = begins + settings.hold_s
    return_v = settings.return_v + shift_v
    deeds = [
        *lasting(begins),
        *lasting(runs_out) * 2,
        *lasting(runs_out + settings.confirm_s) * 3,
        *lasting(3.0, v=settings.full_v + shift_v - HAIR_V),
        *lasting(settings.wait_limit_s, v=settings.full_v + shift_v - HAIR_V),
        *lasting(settings.return_dwell_s, v=return_v - HAIR_V),
        *lasting(5.0, v=return_v, i=settings.plausible_i[0]),
        *lasting(settings.release_dwell_s + 1.0, cell=3.0),
    ]
    if settings.float_s is not None:
        deeds += lasting(settings.float_s, v=settings.float_v + shift_v)
    if settings.empty_v is not None:
        deeds += lasting(settings.empty_dwell_s, v=settings.empty_v, i=-32.0)
    if settings.equalisation_v is not None:
        gassing_v, flowing_a = settings.equalisation_v + shift_v, 4.0
        begun = runs_out + settings.confirm_s + 2.0
        for seconds in (begun, settings.equalisation_s, settings.equalisation_retry_s):
            deeds += lasting(seconds, i=flowing_a) * 2
        deeds += lasting(settings.equalisation_every_s or 1.0, v=gassing_v, i=flowing_a)
        deeds += lasting(settings.equalisation_loss_s, i=0.0)
    if not faults:
        return st.sampled_from(deeds)
    if settings.equalisation_max_c is not None:
        deeds += lasting(settings.trip_dwell_s, hot=settings.equalisation_max_c + 0.25, i=4.0) * 4
    for seconds_or_none in (settings.sensor_lost_s, settings.sensor_frozen_s):
        if seconds_or_none is not None:
            deeds += lasting(seconds_or_none, temp=nan) + lasting(seconds_or_none, temp=15.0)
    if settings.cell_limit_v is not None:
        deeds += lasting(settings.trip_dwell_s, cell=settings.cell_limit_v)
    if settings.charge_max_c is not None:
        deeds += lasting(settings.trip_dwell_s, hot=settings.charge_max_c + 0.25)
    nothing = (nan, nan, nan, nan, nan)
    deeds += [(count, settings.max_gap_s * 0.75, nothing) for count in (1, 2, 3)]
    return st.sampled_from(deeds)


def _stretch(settings: Settings, exact: bool, faults: bool) -> SearchStrategy[Stretch]:
    """Some samples of the same readings at the same distance."""
    shift = settings.compensation_v_per_c

    def shifted(parts: tuple[Any, ...]) -> Stretch:
        count, dt, v, i, cell, temp, hot, follows = parts
        # Half of the time the voltage follows the temperature, and stays on its threshold.
        if follows and isfinite(temp) and isfinite(v):
            v += shift * (temp - settings.reference_c)
        return count, dt, (v, i, cell, temp, hot)

    return st.tuples(
        st.sampled_from((1, 1, 2, 3, 5, 12, 40)),
        st.sampled_from(_intervals(settings, exact, faults)),
        st.sampled_from(_voltages(settings, faults)),
        st.sampled_from(_currents(settings, faults)),
        st.sampled_from(_cells(settings, faults)),
        st.sampled_from(_temperatures(settings, faults)),
        st.sampled_from((nan, nan, *_temperatures(settings, faults))),
        st.booleans(),
    ).map(shifted)


def _intervals(settings: Settings, exact: bool, faults: bool) -> Sequence[float]:
    some = [1.0] * 12 + [0.0, 0.125, 0.5, 2.0, settings.max_gap_s]
    some += [length for length in (settings.hold_s, settings.confirm_s) if length <= 30.0]
    if not exact:
        some += [0.1, 1 / 3, settings.max_gap_s + 1e-10]
    if faults:
        some += [settings.max_gap_s + 1 / 64, 100.0, -1.0, -50.0, -1e-12, nan, inf]
    return some


def _voltages(settings: Settings, faults: bool) -> Sequence[float]:
    low_v, high_v = settings.plausible_v
    levels = [settings.entry_v, settings.full_v, settings.float_v, settings.return_v]
    levels += [level for level in (settings.sag_v, settings.empty_v) if level is not None]
    some = [settings.absorption_v] * 6
    for level in levels:
        some += [level, level - HAIR_V, level + HAIR_V]
    some += [settings.return_v - 1.0, high_v, low_v]
    if faults:
        some += [high_v + HAIR_V, low_v - HAIR_V, nan, inf, -inf, 0.0]
    return some


def _currents(settings: Settings, faults: bool) -> Sequence[float]:
    low_a, high_a = settings.plausible_i
    some = [0.0, 0.0, 32.0, 32.0, -32.0, high_a, low_a, HAIR_A, -HAIR_A]
    if settings.taper_a is not None:
        tapered = settings.taper_a
        some += [tapered, -tapered, tapered + HAIR_A, -tapered - HAIR_A]
    if faults:
        some += [high_a + HAIR_A, low_a - HAIR_A, nan, -inf]
    return some


def _cells(settings: Settings, faults: bool) -> Sequence[float]:
    some = [nan] * 6 + [3.4] * 6
    if settings.cell_limit_v is not None and faults:
        for level in (settings.cell_limit_v, settings.cell_release_v):
            some += [level, level - HAIR_CELL_V, level + HAIR_CELL_V]
        some += [inf, -inf]
    return some


def _temperatures(settings: Settings, faults: bool) -> Sequence[float]:
    some = [nan] * 6 + [20.0] * 6 + [25.0, 10.0]
    if not faults:
        return some
    for level in (settings.compensation_min_c, settings.compensation_max_c):
        some += [] if level is None else [level, level - 0.25, level + 0.25]
    if settings.sensor_jump_c is not None:
        some += [20.0 - settings.sensor_jump_c, 20.0 + settings.sensor_jump_c + 0.25]
    if settings.equalisation_v is not None and settings.equalisation_max_c is not None:
        some += [settings.equalisation_max_c, settings.equalisation_max_c + 0.25]
    band_c = settings.temp_band_c
    for level, inward in ((settings.charge_min_c, 1.0), (settings.charge_max_c, -1.0)):
        if level is not None:
            inside = level + inward * band_c
            some += [level, level - 0.25, level + 0.25, inside, inside - 0.25, inside + 0.25]
    return [*some, inf, -inf]


@composite
def settings_and_walks(
    draw: DrawFn, *, exact: bool = False, faults: bool = True, upkeep: bool = True
) -> tuple[Settings, Walk]:
    """Settings, and a trace that is made for them."""
    settings = draw(settings_of_any_kind(exact=exact, upkeep=upkeep))
    return settings, draw(walks(settings, exact=exact, faults=faults))
