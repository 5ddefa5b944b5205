"""The roles that can be under test: what they are called, wherever one is named."""

from __future__ import annotations

CONTROLLER = "controller"
CHARGER = "charger"
ROLES = (CONTROLLER, CHARGER)
