"""What a controller sees of its pack: meters with errors of their own, and a clock of its own.

    reading = quantised(true · gain + offset + drift · t + noise)

A meter samples at its own instants, `phase + n · interval` with some jitter, n = 1, 2, ...; inside
a step of the world it reads what lies between the ends of the step on a straight line. The true
values stay in the plant. Random numbers come by sample number, so a run can be cut anywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, nan
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from attrs import field, fields, frozen

from harness.errors import InputError
from harness.world.chance import stream_key, two_normal, uniform
from harness.world.checks import not_negative, number_within, positive
from harness.world.compiling import part
from harness.world.windows import checked_windows, windows_array, within

Floats = npt.NDArray[np.float64]
Keys = npt.NDArray[np.uint64]
DAY_S = 86_400.0
# What the streams of random numbers are for.
METER_STREAM = 1


def _any(unit: str, size: float) -> Any:
    return field(default=0.0, validator=number_within(-size, size, unit))


@frozen(kw_only=True)
class Meter:
    """The meters of one pack, and the clock that stamps what they read.

    Attributes:
        interval_s: distance of the samples, s.
        phase_s: by how much the samples come later than multiples of that, s.
        jitter_s: the greatest deviation from these instants, evenly distributed, s.
        voltage_offset_v: what the voltmeter shows too much, V.
        voltage_gain: factor of the voltmeter.
        voltage_drift_v_per_day: how the offset grows, V a day.
        voltage_noise_v: standard deviation of its noise, V.
        voltage_step_v: its resolution, V; 0 for none.
        current_offset_a: what the ammeter shows too much, A.
        current_gain: factor of the ammeter.
        current_drift_a_per_day: how the offset grows, A a day.
        current_noise_a: standard deviation of its noise, A.
        current_step_a: its resolution, A; 0 for none.
        reads_cells: whether the highest cell voltage is read.
        cell_offset_v: what is shown too much of it, V.
        cell_step_v: the resolution of it, V; 0 for none.
        reads_temperature: whether cell temperatures are read.
        temperature_offset_c: what is shown too much, degrees C.
        temperature_step_c: the resolution, degrees C; 0 for none.
        clock_offset_s: what the clock shows at the start, s.
        clock_drift_ppm: how fast the clock is, millionths.
        clock_wrap_s: the clock starts at 0 again here, s; None for never.
        missing_probability: share of the samples that never reach the controller.
        unreadable_probability: share of the samples that arrive without voltage and current.
        outages: stretches `(from s, to s)` in which no sample reaches the controller.

    Raises:
        InputError: a value that no meter has.
    """

    interval_s: float = field(default=1.0, validator=positive("s"))
    phase_s: float = field(default=0.0, validator=not_negative("s"))
    jitter_s: float = field(default=0.0, validator=not_negative("s"))
    voltage_offset_v: float = _any("V", 10.0)
    voltage_gain: float = field(default=1.0, validator=number_within(0.5, 2.0, "(a factor)"))
    voltage_drift_v_per_day: float = _any("V a day", 1.0)
    voltage_noise_v: float = field(default=0.0, validator=not_negative("V"))
    voltage_step_v: float = field(default=0.0, validator=not_negative("V"))
    current_offset_a: float = _any("A", 100.0)
    current_gain: float = field(default=1.0, validator=number_within(0.5, 2.0, "(a factor)"))
    current_drift_a_per_day: float = _any("A a day", 10.0)
    current_noise_a: float = field(default=0.0, validator=not_negative("A"))
    current_step_a: float = field(default=0.0, validator=not_negative("A"))
    reads_cells: bool = True
    cell_offset_v: float = _any("V", 1.0)
    cell_step_v: float = field(default=0.0, validator=not_negative("V"))
    reads_temperature: bool = True
    temperature_offset_c: float = _any("°C", 50.0)
    temperature_step_c: float = field(default=0.0, validator=not_negative("°C"))
    clock_offset_s: float = field(default=0.0, validator=number_within(0.0, 1e10, "s"))
    clock_drift_ppm: float = field(default=0.0, validator=number_within(-1e5, 1e5, "ppm"))
    clock_wrap_s: float | None = field(default=None)
    missing_probability: float = field(
        default=0.0, validator=number_within(0.0, 1.0, "(a probability)")
    )
    unreadable_probability: float = field(
        default=0.0, validator=number_within(0.0, 1.0, "(a probability)")
    )
    outages: tuple[tuple[float, float], ...] = field(default=(), validator=checked_windows)

    def __attrs_post_init__(self) -> None:
        # With half an interval and more a sample could overtake the one before it.
        if self.jitter_s >= 0.5 * self.interval_s:
            raise InputError(
                f"jitter_s {self.jitter_s!r} of samples every {self.interval_s!r} s",
                column="jitter_s",
                hint=f"less than half of interval_s: under {0.5 * self.interval_s:g} s",
            )
        if self.clock_wrap_s is not None:
            positive("s")(self, fields(Meter).clock_wrap_s, self.clock_wrap_s)


# Rows of `Meters.rows`.
INTERVAL_S, PHASE_S, JITTER_S = range(3)
V_OFFSET, V_GAIN, V_DRIFT_PER_S, V_NOISE, V_PER_UNIT = range(3, 8)
I_OFFSET, I_GAIN, I_DRIFT_PER_S, I_NOISE, I_PER_UNIT = range(8, 13)
READS_CELLS, CELL_OFFSET, CELL_PER_UNIT = range(13, 16)
READS_TEMPERATURE, TEMP_OFFSET, TEMP_PER_UNIT = range(16, 19)
CLOCK_OFFSET_S, CLOCK_RATE, CLOCK_WRAP_S, MISSING, UNREADABLE = range(19, 24)
METER_ROWS = 24
# Rows of the state of the meters: when the next sample is due, its number.
DUE_S, NUMBER = range(2)
METER_STATE_ROWS = 2
# Columns of a reading: the stamp of the pack's own clock, what is read, and the true time.
STAMP_S, READ_V, READ_A, READ_CELL_V, READ_COLDEST_C, READ_HOTTEST_C, TRUE_S = range(7)
READING_COLUMNS = 7
# Random numbers of a sample.
_OF_JITTER, _OF_NOISE, _OF_LOSS, _PER_SAMPLE = range(4)


class Meters(NamedTuple):
    """The meters of all packs, as the compiled functions take them.

    Attributes:
        rows: shape (packs, METER_ROWS).
        keys: of the streams of random numbers; shape (packs,).
        outages: rows of pack, start and end.
    """

    rows: Floats
    keys: Keys
    outages: Floats


def meters_of(meters: Sequence[Meter], seed: int) -> Meters:
    """The meters of the packs of a bank, with their random numbers."""
    rows = [
        (
            m.interval_s, m.phase_s, m.jitter_s,
            m.voltage_offset_v, m.voltage_gain, m.voltage_drift_v_per_day / DAY_S,
            m.voltage_noise_v, steps_per_unit(m.voltage_step_v),
            m.current_offset_a, m.current_gain, m.current_drift_a_per_day / DAY_S,
            m.current_noise_a, steps_per_unit(m.current_step_a),
            float(m.reads_cells), m.cell_offset_v, steps_per_unit(m.cell_step_v),
            float(m.reads_temperature), m.temperature_offset_c,
            steps_per_unit(m.temperature_step_c),
            m.clock_offset_s, 1.0 + 1e-6 * m.clock_drift_ppm,
            inf if m.clock_wrap_s is None else m.clock_wrap_s,
            m.missing_probability, m.unreadable_probability,
        )
        for m in meters
    ]  # fmt: skip
    return Meters(
        np.array(rows, dtype=np.float64),
        np.array([stream_key(seed, METER_STREAM, p) for p in range(len(meters))], np.uint64),
        windows_array([m.outages for m in meters]),
    )


def steps_per_unit(step: float) -> float:
    """Steps per unit; a whole number where it is one, so that 10 mV steps are decimal numbers."""
    if step == 0.0:
        return 0.0
    whole = round(1.0 / step)
    return float(whole) if whole > 0 and abs(whole * step - 1.0) < 1e-9 else 1.0 / step


@part
def quantised(x: float, per_unit: float) -> float:
    """The nearest of the values that a meter can show; compiled."""
    return x if per_unit == 0.0 else float(np.floor(x * per_unit + 0.5)) / per_unit


@part
def due_s(meters: Meters, p: int, number: int) -> float:
    """When sample `number` of a pack is taken, s; compiled."""
    rows = meters.rows[p]
    due: float = rows[PHASE_S] + number * rows[INTERVAL_S]
    if rows[JITTER_S] > 0.0:
        chance = uniform(meters.keys[p], number * _PER_SAMPLE + _OF_JITTER)
        due += rows[JITTER_S] * (2.0 * chance - 1.0)
    return due


@part
def luck_of(meters: Meters, p: int, number: int, t: float) -> tuple[bool, bool, float, float]:
    """What chance does to sample `number` of a pack at time `t`; compiled.

    Returns:
        Whether it reaches the controller, whether voltage and current can be read, and the noise of
        both, in standard deviations.
    """
    rows, key, first = meters.rows[p], meters.keys[p], number * _PER_SAMPLE
    readable, noise_v, noise_a = True, 0.0, 0.0
    if rows[MISSING] > 0.0 or rows[UNREADABLE] > 0.0:
        chance = uniform(key, first + _OF_LOSS)
        if chance < rows[MISSING]:
            return False, False, noise_v, noise_a
        # One number for both: what is not missing is unreadable in its own share.
        readable = chance >= rows[MISSING] + (1.0 - rows[MISSING]) * rows[UNREADABLE]
    if meters.outages.shape[0] > 0 and within(meters.outages, p, t):
        return False, False, noise_v, noise_a
    if rows[V_NOISE] > 0.0 or rows[I_NOISE] > 0.0:
        noise_v, noise_a = two_normal(key, first + _OF_NOISE)
    return True, readable, noise_v, noise_a


@part
def shown(
    rows: Floats, t: float, v: float, i: float, noise_v: float, noise_a: float
) -> tuple[float, float]:
    """Voltage and current with the errors of the meters of a pack, before their steps; compiled."""
    return (
        v * rows[V_GAIN] + rows[V_OFFSET] + rows[V_DRIFT_PER_S] * t + rows[V_NOISE] * noise_v,
        i * rows[I_GAIN] + rows[I_OFFSET] + rows[I_DRIFT_PER_S] * t + rows[I_NOISE] * noise_a,
    )


@part
def stamp_of(rows: Floats, t: float) -> float:
    """What the clock of a pack shows at time `t`, s; compiled."""
    stamp_s: float = rows[CLOCK_OFFSET_S] + rows[CLOCK_RATE] * t
    if rows[CLOCK_WRAP_S] < inf:
        stamp_s %= rows[CLOCK_WRAP_S]
    return stamp_s


@part
def read_meter(
    meters: Meters,
    p: int,
    number: int,
    t: float,
    v: float,
    i: float,
    cell_v: float,
    coldest_c: float,
    hottest_c: float,
    reading: Floats,
) -> bool:
    """Take sample `number` of a pack at time `t` of these true values; compiled.

    Returns:
        Whether it reaches the controller; `reading` then holds it, of shape (READING_COLUMNS,).
    """
    arrives, readable, noise_v, noise_a = luck_of(meters, p, number, t)
    if not arrives:
        return False
    rows = meters.rows[p]
    shown_v, shown_a = shown(rows, t, v, i, noise_v, noise_a)
    reading[STAMP_S] = stamp_of(rows, t)
    reading[READ_V] = quantised(shown_v, rows[V_PER_UNIT]) if readable else nan
    reading[READ_A] = quantised(shown_a, rows[I_PER_UNIT]) if readable else nan
    reading[READ_CELL_V] = nan
    if rows[READS_CELLS] > 0.0:
        reading[READ_CELL_V] = quantised(cell_v + rows[CELL_OFFSET], rows[CELL_PER_UNIT])
    reading[READ_COLDEST_C], reading[READ_HOTTEST_C] = nan, nan
    if rows[READS_TEMPERATURE] > 0.0:
        off_c, per_unit = rows[TEMP_OFFSET], rows[TEMP_PER_UNIT]
        reading[READ_COLDEST_C] = quantised(coldest_c + off_c, per_unit)
        reading[READ_HOTTEST_C] = quantised(hottest_c + off_c, per_unit)
    reading[TRUE_S] = t
    return True
