"""The reference charger: it listens to the controllers of its packs, and gives what they ask for.

Settings, a state and a sample go in, a state and an output come out; no files, no clock, no printing.
"""

from ctrl.charger.following import TRANSITIONS, Transition, Way
from ctrl.charger.settings import CHARGER_SETTING_NAMES, ChargerSettings
from ctrl.charger.state import (
    ChargerOutput,
    ChargerSample,
    ChargerState,
    Conduct,
    Heard,
    Message,
)
from ctrl.charger.step import Charger, charger_step, start_charger

__all__ = [
    "CHARGER_SETTING_NAMES",
    "TRANSITIONS",
    "Charger",
    "ChargerOutput",
    "ChargerSample",
    "ChargerSettings",
    "ChargerState",
    "Conduct",
    "Heard",
    "Message",
    "Transition",
    "Way",
    "charger_step",
    "start_charger",
]
