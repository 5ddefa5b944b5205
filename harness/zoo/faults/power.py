"""Faults at a loss of power: what is forgotten, and what is not."""

from __future__ import annotations

from harness.zoo.fault import Fault

_STAGE = 'self.stage = "bulk"\n'
_SINCE = "self.since: dict[str, float] = {}  # where each condition that is true began to be true\n"
_LAST = "self.last_t = self.last_i = nan"
_KNOWN = "self.known_c = self.read_t = self.changed_t = nan"
_EMPTIED = "self.emptied = False  # the empty reset has been made"
_HEARD = "self.heard_t = nan"

FAULTS = (
    Fault(
        name="stage-kept-over-power-loss",
        requirement="POWER.starts-in-bulk",
        title="goes on in the stage that it lost power in",
        old=_STAGE,
        new='self.stage = getattr(self, "stage", "bulk")\n',
        why="The stage is stored beside the count, so that nothing is lost.",
    ),
    Fault(
        name="float-kept-over-power-loss",
        requirement="POWER.starts-in-bulk",
        title="starts in float when it was in float",
        old=_STAGE,
        new='self.stage = "float" if getattr(self, "stage", "bulk") == "float" else "bulk"\n',
        why="A pack that was full is thought to be full still.",
    ),
    Fault(
        name="count-of-the-start-restored",
        requirement="POWER.keeps-soc",
        title="goes back to the count that it was started with",
        old=_STAGE,
        new='self.soc = self.__dict__.setdefault("stored_soc", self.soc)\n'
        '        self.stage = "bulk"\n',
        why="The count is stored when the settings are, and never again.",
    ),
    Fault(
        name="count-lowered-to-the-ceiling-at-power-up",
        requirement="POWER.keeps-soc",
        title="forgets a full reset when power is lost",
        old=_STAGE,
        new='known = hasattr(self, "stage")\n'
        '        self.soc = min(self.soc, self.settings["soc_ceiling"]) if known else self.soc\n'
        '        self.stage = "bulk"\n',
        why="What is read from memory goes through the clamp of the counter.",
    ),
    Fault(
        name="dwells-kept-over-power-loss",
        requirement="POWER.forgets",
        title="lets dwells run on through a loss of power",
        old=_SINCE + "        " + _LAST,
        new='self.since: dict[str, float] = getattr(self, "since", {})\n'
        '        self.last_t, self.last_i = getattr(self, "last_t", nan), getattr(self, "last_i", nan)',
        why="The timers are in memory that keeps its contents for a while.",
    ),
    Fault(
        name="last-sample-kept-over-power-loss",
        requirement="POWER.keeps-soc",
        title="counts the interval in which it had no power",
        old=_LAST,
        new='self.last_t, self.last_i = getattr(self, "last_t", nan), getattr(self, "last_i", nan)',
        why="The last sample is in memory that keeps its contents for a while.",
    ),
    Fault(
        name="temperature-kept-over-power-loss",
        requirement="POWER.forgets",
        title="compensates by a temperature from before the loss of power",
        old=_KNOWN,
        new='self.known_c = getattr(self, "known_c", nan)\n'
        "        self.read_t = self.changed_t = nan",
        why="The last temperature is in memory that keeps its contents for a while.",
    ),
    Fault(
        name="emptied-kept-over-power-loss",
        requirement="SOC.empty",
        title="does not find a pack empty again after a loss of power",
        old=_EMPTIED,
        new='self.emptied = getattr(self, "emptied", False)  # the empty reset has been made',
        why="The mark is stored beside the count.",
    ),
    Fault(
        name="silence-counted-over-power-loss",
        requirement="PROTECT.no-reading",
        title="counts the time without power as time without a reading",
        old=_HEARD,
        new='self.heard_t = getattr(self, "heard_t", nan)',
        why="The stamp is in memory that keeps its contents for a while.",
    ),
)
