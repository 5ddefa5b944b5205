"""Altered chargers, on which the harness proves that it finds faults."""

from __future__ import annotations

from harness.charger.faults import requests, sensing, state
from harness.charger.faults.altered import FAULTS, Altered, Fault

__all__ = ["FAULTS", "Altered", "Fault", "requests", "sensing", "state"]
