"""By which temperature the pack voltages shift, and what is made of a sensor that cannot be believed.

Theory of operation. Lead-acid cells want a higher voltage in the cold and a lower one in the heat. A
sensor that is wrong does harm in one direction only: a pack that is warm and passes for a cold one is
charged too high. So a sensor that is *lost* (it has said nothing believable for `sensor_lost_s`, or the
same for `sensor_frozen_s`) may lower the voltages and never raise them. A reading that lies further
than `sensor_jump_c` from the last believed one is not believed: a battery is heavy, and a wire that
comes off is quick. It is compared with the last *believed* reading, for ever: readings that jump, and
then stay, must not become believed by staying. Whatever is believed is kept within
`compensation_min_c` and `compensation_max_c` before the voltages follow it.
"""

from __future__ import annotations

from math import isfinite

from ctrl.limits import STEP_BACK_S, Limits
from ctrl.state import Sensor, Watch


def sensed(limits: Limits, before: Sensor, temp_c: float, t: float, interval_s: float) -> Sensor:
    """What is remembered of the temperature after a valid sample."""
    read_s, changed_s = before.read_s, before.changed_s
    if interval_s < STEP_BACK_S:
        # What has elapsed stays what it was.
        read_s, changed_s = read_s + interval_s, changed_s + interval_s
    known_c = before.temp_c
    # Before the first reading there is nothing to compare with, and the comparison is false.
    if isfinite(temp_c) and not abs(temp_c - known_c) > limits.sensor_jump_c:
        if temp_c != known_c:
            return Sensor(temp_c, t, t)
        read_s = t
    if read_s == before.read_s and changed_s == before.changed_s:
        return before
    return Sensor(known_c, read_s, changed_s)


def shifted(limits: Limits, watch: Watch, temp_c: float, t: float, interval_s: float) -> Watch:
    """The shift of the pack voltages after a valid sample with this reading, or without one."""
    sensor = sensed(limits, watch.sensor, temp_c, t, interval_s)
    shift_v = 0.0
    if isfinite(sensor.temp_c):
        bounded_c = min(max(sensor.temp_c, limits.compensation_min_c), limits.compensation_max_c)
        shift_v = limits.compensation_v_per_c * (bounded_c - limits.reference_c)
        lost = t - sensor.read_s >= limits.sensor_lost_s
        if shift_v > 0.0 and (lost or t - sensor.changed_s >= limits.sensor_frozen_s):
            shift_v = 0.0
    if shift_v == watch.shift_v and sensor is watch.sensor:
        return watch
    return Watch(
        watch.cell_since_s,
        watch.temperature_since_s,
        watch.tripped,
        watch.empty_since_s,
        watch.emptied,
        watch.quiet,
        watch.first_t,
        shift_v,
        sensor,
        watch.upkeep,
    )
