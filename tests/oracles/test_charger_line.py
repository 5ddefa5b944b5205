"""The compensation of a line in closed loop, against a closed form and against scipy.signal.

The charger holds its set-point behind a line of `line_ohm`; the pack is a source of `source_v` behind
`pack_ohm`. So the pack's terminals follow the set-point by pack_ohm / (line_ohm + pack_ohm), and the
error decays with tau' = sense_time_s * (line_ohm + pack_ohm) / pack_ohm, as the theory of operation
in `ctrl.charger.compensation` derives.
"""

from __future__ import annotations

from collections.abc import Callable
from math import e, exp

import numpy as np
import numpy.typing as npt
import pytest
from attrs import frozen
from scipy import signal

from ctrl.charger import Charger, ChargerSample, ChargerSettings, Conduct, Message

Floats = npt.NDArray[np.float64]

ASKED_V = 54.0
SENSE_TIME_S = 60.0
# A request at the fallback voltage: no slope is on the way when the charger begins to follow.
SETTINGS = ChargerSettings(
    fallback_v=ASKED_V, sense_time_s=SENSE_TIME_S, raise_a_per_s=1000.0, compensation_v=1.0
)


@frozen
class Line:
    """A pack at the end of a line, linear and without memory."""

    source_v: float
    pack_ohm: float
    line_ohm: float

    @property
    def share(self) -> float:
        """By how much the pack's terminals follow the set-point, V per V."""
        return self.pack_ohm / (self.line_ohm + self.pack_ohm)

    @property
    def tau_s(self) -> float:
        """Time constant of the error, s."""
        return SENSE_TIME_S / self.share


# 15 to 30 A: a line that loses little, one that loses as much as the pack, and a thin one.
GOOD = Line(52.80, 0.036, 0.004)
EQUAL = Line(53.40, 0.01, 0.01)
THIN = Line(53.76, 0.004, 0.012)
LINES = pytest.mark.parametrize("line", [GOOD, EQUAL, THIN], ids=["good", "equal", "thin"])
STEPS = pytest.mark.parametrize("dt", [0.25, 1.0, 8.0])


def lacking(
    line: Line, dt: float, seconds: float, source_v: Callable[[float], float] | None = None
) -> Floats:
    """What the pack lacks (V) at the sample at which the compensation can first move, and after it."""
    charger = Charger(SETTINGS)
    set_point_v, limit_a = ASKED_V, 0.0
    errors: list[float] = []
    conduct, k, began_s = Conduct.STOPPED, 0, 0.0
    while len(errors) <= seconds / dt:
        t = k * dt
        behind_v = line.source_v
        if source_v is not None and conduct is Conduct.FOLLOWING:
            behind_v = source_v(t - began_s)
        wanted_a = (set_point_v - behind_v) / (line.line_ohm + line.pack_ohm)
        current_a = min(wanted_a, limit_a)
        pack_v = behind_v + line.pack_ohm * current_a
        if conduct is Conduct.FOLLOWING and limit_a == 100.0:
            errors.append(ASKED_V - pack_v)
        own_v = pack_v + line.line_ohm * current_a
        message = Message(ASKED_V, 100.0, pack_v, current_a, 0.0)
        output = charger.step(ChargerSample(t, own_v, current_a, (message,)))
        if conduct is not Conduct.FOLLOWING and output.state is Conduct.FOLLOWING:
            began_s = t + dt
        set_point_v, limit_a, conduct = output.set_point_v, output.limit_a, output.state
        k += 1
    return np.array(errors)


@LINES
def test_lines_lose_what_they_are_said_to(line: Line) -> None:
    # The drop before any compensation: 0.12, 0.30 and 0.18 V, within what the rate can follow.
    lost_v = (ASKED_V - line.source_v) * (1.0 - line.share)
    assert lacking(line, 1.0, 0.0)[0] == pytest.approx(lost_v, abs=1e-12)
    assert lost_v / SENSE_TIME_S < SETTINGS.compensation_v_per_s


@LINES
@STEPS
def test_error_is_the_closed_form_of_an_integrator_on_a_resistive_line(
    line: Line, dt: float
) -> None:
    errors = lacking(line, dt, 6 * line.tau_s)
    x = dt / line.tau_s
    k = np.arange(len(errors))
    # Step by step it is a power, to rounding.
    assert np.abs(errors - errors[0] * (1.0 - x) ** k).max() < 1e-10
    # k x^2/2 exp(-(k-1) x) bounds the distance of the power from exp(-k x); it peaks at k x = 1.
    bound_v = errors[0] * x / 2.0 * exp(x) / e
    distance_v = errors[0] * np.exp(-k * x) - errors
    assert distance_v.max() <= bound_v
    assert distance_v.min() >= -1e-10
    # The bound is not slack enough to hide a wrong time constant of 2 %.
    if dt <= 1.0:
        wrong_v = errors[0] * np.exp(-k * x / 1.02) - errors
        assert np.abs(wrong_v).max() > bound_v


@LINES
def test_pack_ends_at_its_request_and_never_gets_more(line: Line) -> None:
    errors = lacking(line, 1.0, 8 * line.tau_s)
    assert errors.min() >= -1e-9
    assert errors[-1] < SETTINGS.sense_error_v
    # Within sense_error_v after tau' ln(e0 / sense_error_v), and one step.
    settled_s = line.tau_s * np.log(errors[0] / SETTINGS.sense_error_v) + 1.0
    assert (errors[int(np.ceil(settled_s)) :] <= SETTINGS.sense_error_v).all()


@LINES
@STEPS
def test_step_response_is_that_of_scipy_signal(line: Line, dt: float) -> None:
    errors = lacking(line, dt, 6 * line.tau_s)
    t = dt * np.arange(len(errors))
    _, response = signal.step(signal.TransferFunction([1.0], [line.tau_s, 1.0]), T=t)
    x = dt / line.tau_s
    assert np.abs(errors - errors[0] * (1.0 - response)).max() <= errors[0] * x / 2 * exp(x) / e
    # The sampled loop itself: an integrator closed over one sample.
    loop = signal.dlti([x], [1.0, x - 1.0], dt=dt)
    _, (sampled,) = signal.dstep(loop, n=len(errors))
    assert np.abs(errors - errors[0] * (1.0 - sampled[:, 0])).max() < 1e-10


@LINES
@pytest.mark.parametrize("dt", [0.25, 1.0])
def test_pack_whose_voltage_rises_is_followed_as_scipy_signal_says(line: Line, dt: float) -> None:
    # The source rises by 0.1 mV a second, as that of a pack that fills.
    slope = 1e-4
    errors = lacking(line, dt, 5 * line.tau_s, lambda t: line.source_v + slope * t)
    t = dt * np.arange(len(errors))
    share, time_s = line.share, SENSE_TIME_S
    loop = signal.StateSpace(
        [[-share / time_s]],
        [[1.0 / time_s, -(1.0 - share) / time_s]],
        [[share]],
        [[0.0, 1.0 - share]],
    )
    source_v = line.source_v + slope * t
    inputs = np.column_stack([np.full_like(t, ASKED_V), source_v])
    _, pack_v, _ = signal.lsim(loop, inputs, t, X0=[ASKED_V])
    rate = np.abs(np.gradient(pack_v, t)).max() / share + slope
    # Euler's rule: half a step of the fastest rate, and the source is a step further at a reading.
    bound_v = rate * dt / 2.0 * (1.0 + share) + slope * dt
    assert np.abs(errors - (ASKED_V - pack_v)).max() <= bound_v
    assert bound_v < 0.02 * errors[0]
