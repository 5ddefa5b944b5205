"""Faults in the handling of messages: the rules inside are without fault."""

from __future__ import annotations

from harness.zoo.fault import Fault

_STEPS = "steps = (controller.step(*map(row.get, READINGS)) for row in named)"
_CLEARS = "self.soc = float(soc)\n        self.power_cycle()"
_NEW = (
    "controller = None\n"
    '                controller = Controller(message["settings"], message["soc"])'
)

FAULTS = (
    Fault(
        name="dwells-lost-between-messages",
        requirement="LINK.cuts",
        title="starts every dwell again with each message",
        old=_STEPS,
        new="controller.since.clear()\n                " + _STEPS,
        why="The handler of a message was the main loop once.",
        in_messages=True,
    ),
    Fault(
        name="interval-lost-between-messages",
        requirement="LINK.cuts",
        title="counts nothing between the last sample of a message and the first of the next",
        old=_STEPS,
        new="controller.last_t = nan\n                " + _STEPS,
        why="Each message is taken for a trace of its own.",
        in_messages=True,
    ),
    Fault(
        name="state-kept-over-starts",
        requirement="LINK.fresh-start",
        title="goes on with the state of the start before",
        old=_NEW,
        new='fresh = Controller(message["settings"], message["soc"])\n'
        "                controller = controller or fresh\n"
        "                controller.settings, controller.soc = fresh.settings, fresh.soc",
        why="A start only replaces the settings.",
        in_messages=True,
    ),
    Fault(
        name="variables-kept-over-starts",
        requirement="LINK.fresh-start",
        title="clears its variables only the first time that it is started",
        old=_CLEARS,
        new='kept = globals().setdefault("KEPT", {})\n'
        "        kept.update(soc=float(soc), settings=self.settings)\n"
        "        self.__dict__ = kept\n"
        '        if "stage" not in kept:\n'
        "            self.power_cycle()",
        why="The variables are global, and only power-up clears them.",
    ),
)
