"""Recorded logs: what a controller and its meters wrote down becomes arrays, and runs to be judged."""

from __future__ import annotations

from harness.logs.log import Log, PackLog
from harness.logs.mapping import Mapping, read_mapping
from harness.logs.read import read_log

__all__ = ["Log", "Mapping", "PackLog", "read_log", "read_mapping"]
