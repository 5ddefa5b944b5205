"""Logs that need no mapping: our own column names, and the Battery Data Format."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from ctrl.errors import nearest
from harness.cases.csv_pieces import BATTERY_DATA_FORMAT
from harness.errors import InputError
from harness.logs.mapping import COLUMNS, STAGE_WORDS, Clock, Column, Mapping, Pack, own_columns

BATTERY_DATA_TIME = "Test Time / s"
# What `fullproof simulate` writes beside the columns of the format, one row a sample.
CONTROLLER_CLOCK = "Clock / s"
_BESIDE = {
    "cell_max_v": Column("Highest Cell Voltage / V"),
    "temp_c": Column("Coldest Cell Temperature / degC"),
    "temp_max_c": Column("Hottest Cell Temperature / degC"),
    "voltage_request_v": Column("Requested Voltage / V"),
    "current_request_a": Column("Requested Current / A"),
    "soc": Column("Counted State of Charge / %", factor=0.01),
    "full_reset": Column("Full Reset / 1"),
    "stage": Column("Stage"),
    "charger_v": Column("Charger Voltage / V"),
}
_NEEDED = ("t", "v", "i")


def mapping_for(names: Collection[str], path: Path) -> Mapping:
    """The mapping of a log whose columns are known by their names.

    Args:
        names: the names in the log.
        path: the log, for errors.

    Raises:
        InputError: they are neither ours nor those of the Battery Data Format.
    """
    if BATTERY_DATA_TIME in names:
        columns = {
            ours: Column(theirs) for theirs, ours in BATTERY_DATA_FORMAT.items() if ours != "t"
        }
        columns |= {name: each for name, each in _BESIDE.items() if each.name in names}
        own = CONTROLLER_CLOCK in names
        return Mapping(
            clock=Clock(CONTROLLER_CLOCK if own else BATTERY_DATA_TIME, restarts=not own),
            packs=(Pack("", columns),),
            stages=dict(STAGE_WORDS),
            complete=own,
            exact=own,
            from_power_up=own,
        )
    for name in _NEEDED:
        if name not in names:
            others = [other for other in names if other not in COLUMNS]
            raise InputError(
                f"there is no column {name!r}",
                file=path,
                line=1,
                hint=(f"{nearest(name, others)}. " if others else "")
                + "A log in other names needs a mapping of names, --mapping FILE; "
                f"fullproof explain {path.name} --write-mapping mapping.toml writes a draft of it",
            )
    present = tuple(name for name in COLUMNS if name in names)
    return Mapping(
        clock=Clock("t"), packs=(Pack("", own_columns(present)),), stages=dict(STAGE_WORDS)
    )
