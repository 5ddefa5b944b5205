"""The role `charger` in a hunt: what is drawn, judged and made smaller where a charger is under test.

`hunt_charger` hunts one in this process; see `harness.hunt.charger.role` for the role itself.
"""

from __future__ import annotations

from harness.hunt.charger.role import CHARGER, hunt_charger

__all__ = ["CHARGER", "hunt_charger"]
