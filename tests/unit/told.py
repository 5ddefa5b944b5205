"""Small stories told to the reference: a few rows in, what happened out, in words that fit a line."""

from __future__ import annotations

from typing import Any

from attrs import frozen

from ctrl.controller import Output, power_cycle, start, step
from ctrl.resets import VOLTAGE_AFTER_HOLD, ResetRule
from ctrl.settings import Settings
from ctrl.state import Sample

# Short timers, so that a story is short; a current moves the count by 0.01 per ampere and second.
SHORT: dict[str, Any] = {
    "capacity_ah": 100 / 3600,
    "entry_dwell_s": 3.0,
    "hold_s": 10.0,
    "return_dwell_s": 5.0,
    "return_soc": None,
    "empty_dwell_s": 4.0,
    "trip_dwell_s": 2.0,
    "release_dwell_s": 3.0,
}
POWER_LOST = "power lost"

# A row is (t, v), and then i, cell_max_v, temp_c, temp_max_c as far as they matter; i is 0 if left out.
Rows = list[Any]


@frozen
class Told:
    """What came of a story, one entry a row.

    Attributes:
        outputs: what the controller said to each row.
        times: the stamps of the rows, s.
    """

    outputs: tuple[Output, ...]
    times: tuple[Any, ...]

    @property
    def stages(self) -> str:
        """The stages by their first letters: b, a, f, i."""
        return "".join(output.stage.word[0] for output in self.outputs)

    @property
    def events(self) -> list[str]:
        """The events, such as `12 float_ended low_voltage f>b`."""
        return [
            " ".join(
                part
                for part in (
                    f"{t:g}",
                    event.name,
                    event.cause,
                    f"{event.from_stage.word[0]}>{event.to_stage.word[0]}",
                )
                if part
            )
            for t, output in zip(self.times, self.outputs, strict=True)
            for event in output.events
        ]

    @property
    def soc(self) -> list[float]:
        """The counts, rounded to nine digits."""
        return [round(output.soc, 9) for output in self.outputs]

    @property
    def resets(self) -> list[Any]:
        """The stamps of the full resets, s."""
        told = zip(self.times, self.outputs, strict=True)
        return [t for t, output in told if output.full_reset]

    @property
    def asked(self) -> list[tuple[float, float]]:
        """Voltage and current asked for, V and A."""
        return [(output.voltage_request_v, output.current_request_a) for output in self.outputs]


def tell(
    rows: Rows, *, soc: float = 0.5, rule: ResetRule = VOLTAGE_AFTER_HOLD, **changes: Any
) -> Told:
    """Tell rows to a fresh reference with short timers; `POWER_LOST` among them is what it says."""
    settings = Settings.from_mapping(SHORT | changes)
    state = start(soc)
    outputs: list[Output] = []
    times: list[Any] = []
    for row in rows:
        if row == POWER_LOST:
            state = power_cycle(state)
            continue
        t, v, *rest = row
        state, output = step(settings, state, Sample.of(t, v, *(rest or [0.0])), rule)
        outputs.append(output)
        times.append(t)
    return Told(tuple(outputs), tuple(times))


def steady(begin: float, end: float, *readings: Any) -> Rows:
    """A row every second from `begin` to `end`, both included, with the same readings."""
    return [(t, *readings) for t in range(int(begin), int(end) + 1)]
