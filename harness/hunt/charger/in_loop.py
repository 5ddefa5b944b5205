"""Traces that a closed loop makes: the charger under test gives, and a line with packs answers.

What a charger does changes what it reads next, so a fault leads it to where no trace comes that was
grown with the reference. Each trace that comes of it is then like any other.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from ctrl.charger import ChargerOutput, ChargerSample, ChargerSettings, Conduct
from harness.attach.base import LinkFault
from harness.charger.attach import ChargerAttachment, attach_charger, drive_charger
from harness.charger.case import NO_STAGE, OWN_COLUMNS, PACK_NUMBERS, ChargerTrace
from harness.charger.hunting.drawn_settings import drawn_settings
from harness.charger.hunting.growing import Growing
from harness.charger.hunting.picks import Picks
from harness.charger.hunting.sweep import ChargerSwept, grow

# So that no trace of a sweep is drawn from the same numbers.
LOOP = 0x100F


class AttachedStepper:
    """What is attached, one sample at a time."""

    def __init__(self, attachment: ChargerAttachment, settings: ChargerSettings) -> None:
        """Start it afresh; raises `LinkFault`."""
        self._attachment = attachment
        attachment.start(settings)

    def step(self, sample: ChargerSample) -> ChargerOutput:
        """Send one sample; raises `LinkFault`."""
        answers = self._attachment.run(one_row(sample))
        return ChargerOutput(
            float(answers.set_point_v[0]), float(answers.limit_a[0]), Conduct(answers.state[0])
        )

    def power_cycle(self) -> None:
        """Let it lose its power; raises `LinkFault`."""
        self._attachment.power_cycle()


def one_row(sample: ChargerSample) -> ChargerTrace:
    """A trace of one sample."""
    columns: dict[str, Any] = {name: np.array([getattr(sample, name)]) for name in OWN_COLUMNS}
    for name in PACK_NUMBERS:
        columns[name] = np.array([[getattr(message, name) for message in sample.messages]])
    columns["stage"] = np.full((1, len(sample.messages)), NO_STAGE, np.int8)
    return ChargerTrace(**columns)


def traces_in_loop(
    attachment: ChargerAttachment, *, seed: int, count: int
) -> Iterator[ChargerSwept]:
    """What a charger saw in so many closed loops.

    Args:
        attachment: the charger.
        seed: other loops; the same seed gives the same ones.
        count: how many.

    Yields:
        One trace a loop, up to where the charger failed to answer, numbered from -1 down.
    """
    for k in range(count):
        picks = Picks((seed, k, LOOP))
        settings = drawn_settings(picks)
        attachment.hello()
        try:
            growing = Growing(settings, AttachedStepper(attachment, settings), picks)
            grow(growing)
        except LinkFault:
            # The sweep meets what breaks the link, and a loop has nothing to add to that.
            attachment.restart()
            continue
        case, _ = growing.case(f"hunt/{seed}-world-{k}")
        yield ChargerSwept(-1 - k, case, drive_charger(attach_charger("ref"), case).answers)
