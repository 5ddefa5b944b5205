"""Units that a log may be written in, as factor and offset to those of the harness."""

from __future__ import annotations

from attrs import frozen

from ctrl.errors import nearest


@frozen
class Unit:
    """`ours = theirs * factor + offset`."""

    factor: float
    offset: float = 0.0


_VOLTS = {"V": Unit(1.0), "mV": Unit(1e-3), "uV": Unit(1e-6), "kV": Unit(1e3)}
_AMPERES = {"A": Unit(1.0), "mA": Unit(1e-3), "uA": Unit(1e-6), "kA": Unit(1e3)}
_DEGREES = {
    "degC": Unit(1.0),
    "°C": Unit(1.0),
    "C": Unit(1.0),
    "degF": Unit(5.0 / 9.0, -160.0 / 9.0),
    "°F": Unit(5.0 / 9.0, -160.0 / 9.0),
    "F": Unit(5.0 / 9.0, -160.0 / 9.0),
    "K": Unit(1.0, -273.15),
}
_SHARES = {"1": Unit(1.0), "fraction": Unit(1.0), "%": Unit(1e-2), "percent": Unit(1e-2)}

# The first one of each is the unit of the harness.
UNITS_OF = {
    "v": _VOLTS,
    "i": _AMPERES,
    "cell_max_v": _VOLTS,
    "temp_c": _DEGREES,
    "temp_max_c": _DEGREES,
    "soc": _SHARES,
    "voltage_request_v": _VOLTS,
    "current_request_a": _AMPERES,
    "charger_v": _VOLTS,
}
SECONDS_IN = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0, "d": 86_400.0}


def unit_of(column: str, name: str) -> Unit:
    """The unit `name` of one of our columns.

    Raises:
        ValueError: the column has no such unit; the text says which there are.
    """
    units = UNITS_OF[column]
    if name not in units:
        raise ValueError(f"there is no unit {name!r} for {column}; {nearest(name, units)}")
    return units[name]
