"""A charge controller to start from. It is attached as py:controller.py:Controller: see README.md.

It counts charge, waits in bulk for the entry voltage, and goes to absorption. There it stays: the
hold, the full reset, float and protection are yours to write, where TODO stands.

For a test bench. Nothing here is safe to connect to a battery.
"""

from collections.abc import Mapping
from typing import Any


class Controller:
    """The charge controller of one pack."""

    name, version = "my controller", "0.1"
    # Claim a feature when it is written: what is not claimed is not judged.
    features = ("soc", "full_reset", "requests", "power_cycle")

    def __init__(self, settings: Mapping[str, Any], soc: float) -> None:
        """Begin afresh with these settings and this state of charge; refuse with ValueError."""
        self.settings = settings
        self.soc = soc
        self.power_cycle()

    def power_cycle(self) -> None:
        """Forget everything but the state of charge, which is stored."""
        self.stage = "bulk"
        self.last: tuple[float, float] | None = None  # stamp and current of the last valid sample
        self.above_since: float | None = None  # since when the entry voltage stands

    def step(
        self,
        t: float | None,
        v: float | None,
        i: float | None,
        cell_max_v: float | None = None,  # noqa: ARG002  for the protection
        temp_c: float | None = None,  # noqa: ARG002
        temp_max_c: float | None = None,  # noqa: ARG002
    ) -> dict[str, Any]:
        """One sample in, one answer out; a reading that is missing is None."""
        s = self.settings
        if t is not None and v is not None and i is not None and self._believable(v, i):
            continuous = False
            if self.last is not None:
                last_t, last_i = self.last
                continuous = 0 <= t - last_t <= s["max_gap_s"]
                if continuous:
                    self._count((last_i + i) / 2, (t - last_t) / 3600)
            self._decide(t, v, continuous)
            self.last = (t, i)
        charging = self.stage in ("bulk", "absorption")
        return {
            "stage": self.stage,
            "soc": self.soc,
            "full_reset": False,  # TODO: true on the sample of the full reset
            "voltage_request_v": s["absorption_v"] if charging else s["float_v"],
            "current_request_a": 0.0 if self.stage == "inhibited" else s["charge_current_a"],
        }

    def _believable(self, v: float, i: float) -> bool:
        low_v, high_v = self.settings["plausible_v"]
        low_a, high_a = self.settings["plausible_i"]
        return bool(low_v <= v <= high_v and low_a <= i <= high_a)

    def _count(self, ampere: float, hours: float) -> None:
        change = ampere * hours / self.settings["capacity_ah"]
        if change > 0:
            change *= self.settings["charge_efficiency"]
        top = max(self.soc, self.settings["soc_ceiling"])
        self.soc = min(max(self.soc + change, 0.0), top)

    def _decide(self, t: float, v: float, continuous: bool) -> None:
        # TODO: protection comes first: trips, then release.
        if self.stage == "bulk":
            if v < self.settings["entry_v"]:
                self.above_since = None
            elif self.above_since is None or not continuous:
                self.above_since = t
            # Times that are meant to be equal differ in their last digits.
            dwell_s = self.settings["entry_dwell_s"] - 1e-9
            if self.above_since is not None and t - self.above_since >= dwell_s:
                self.stage = "absorption"
        elif self.stage == "absorption":
            pass  # TODO: the hold timer, the confirmation, and at its end the full reset
        elif self.stage == "float":
            pass  # TODO: what leads back to bulk
