"""The reference charge controller: it decides, and does nothing else.

No files, no clock, no printing: settings, a state and a sample go in, a state and an output come out.
"""

from ctrl.controller import (
    Controller,
    Event,
    Output,
    Sample,
    State,
    power_cycle,
    request_equalisation,
    start,
    step,
)
from ctrl.errors import ContradictionError, SettingsError
from ctrl.resets import RESET_RULES, VOLTAGE_AFTER_HOLD, ResetRule
from ctrl.settings import Settings
from ctrl.vocabulary import Cause, Happened, OnSag, OnUnconfirmed, Phase, Stage

__all__ = [
    "RESET_RULES",
    "VOLTAGE_AFTER_HOLD",
    "Cause",
    "ContradictionError",
    "Controller",
    "Event",
    "Happened",
    "OnSag",
    "OnUnconfirmed",
    "Output",
    "Phase",
    "ResetRule",
    "Sample",
    "Settings",
    "SettingsError",
    "Stage",
    "State",
    "power_cycle",
    "request_equalisation",
    "start",
    "step",
]
