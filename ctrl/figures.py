"""What the profiles of chemistries say, number by number, each with where it comes from.

Only a number that was read in its source carries one. Every other carries a mark, and the mark goes
with it wherever it is shown: a set-point that nobody can look up must not look like one that was.
Voltages and the coefficient are for one cell, currents for each Ah; see `PER_CELL` and `PER_AH`.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from types import MappingProxyType

from attrs import field, frozen

Value = float | str | tuple[float, float] | None

PER_CELL = (
    "absorption_v",
    "entry_v",
    "full_v",
    "float_v",
    "return_v",
    "empty_v",
    "plausible_v",
    "compensation_v_per_c",
    "equalisation_v",
)
PER_AH = ("charge_current_a", "taper_a", "plausible_i")


class Mark(Enum):
    """How far a number can be trusted; the value is what a reader is told."""

    SOURCE = "source"
    PRACTICE = "common practice, no source"
    MEMORY = "from memory, check the cell maker's data"


@frozen
class Figure:
    """One number of a profile.

    Attributes:
        value: the number; for one cell or each Ah where its name stands in `PER_CELL` or `PER_AH`.
        source: author, title, year and page, and what in it; empty where there is none.
        mark: how far it can be trusted.

    Raises:
        ValueError: a mark `SOURCE` without a source, or a source under another mark.
    """

    value: Value
    source: str = ""
    mark: Mark = field(default=Mark.SOURCE)

    def __attrs_post_init__(self) -> None:
        if bool(self.source) is not (self.mark is Mark.SOURCE):
            raise ValueError(f"the figure {self.value!r} has mark {self.mark} and {self.source!r}")

    @property
    def told(self) -> str:
        """The source, or the mark that stands in its place."""
        return self.source or self.mark.value


def _practice(value: Value) -> Figure:
    return Figure(value, "", Mark.PRACTICE)


def _memory(value: Value) -> Figure:
    return Figure(value, "", Mark.MEMORY)


HARRINGTON_DUNLOP = (
    "Harrington & Dunlop, Battery Charge Controller Characteristics in Photovoltaic Systems, IEEE"
    " AES Magazine, Aug 1992, p. 15: -5 mV/degree C/cell"
)
GTZ = (
    "GTZ, Quality Standards for Solar Home Systems and Rural Health Power Supply, Feb 2000: -3 to"
    " -5 mV/K/cell, of which this is the middle"
)
OPEN_CIRCUIT_LFP = (
    "3.3502 V at 98 %: Prada et al., J. Electrochem. Soc. 160(4) A616, 2013; 3.3511 V: Naumann, PhD"
    " thesis, TU Munich, 2018; rounded"
)

# What the meters and the installation decide rather than the chemistry.
_USUAL = {
    "entry_dwell_s": _practice(3.0),
    "hold_s": _practice(3600.0),
    "return_dwell_s": _practice(60.0),
    "soc_ceiling": _practice(0.99),
    "plausible_i": _practice((-2.0, 2.0)),
    "reference_c": _practice(25.0),
    "temp_band_c": _practice(3.0),
}
# A sensor that is wrong charges a warm pack like a cold one: only where voltages follow it.
_LEAD = {
    **_USUAL,
    "confirm_s": _practice(60.0),
    "on_unconfirmed": _practice("wait"),
    "wait_limit_s": _practice(10_800.0),
    "return_soc": _practice(0.8),
    "empty_v": _memory(1.75),
    "plausible_v": _practice((1.0, 3.0)),
    "cell_limit_v": _practice(None),
    "charge_min_c": _memory(-20.0),
    "charge_max_c": _memory(50.0),
    "compensation_min_c": _memory(-10.0),
    "compensation_max_c": _memory(50.0),
    "sensor_lost_s": _practice(300.0),
    "sensor_frozen_s": _practice(129_600.0),
    "sensor_jump_c": _practice(15.0),
}

LFP: Mapping[str, Figure] = MappingProxyType(
    {
        "absorption_v": _practice(3.5),
        "entry_v": _practice(3.4875),
        "full_v": _practice(3.475),
        "float_v": _practice(3.375),
        "return_v": _practice(3.3125),
        "charge_current_a": _practice(0.3),
        "charge_efficiency": _practice(1.0),
        "on_unconfirmed": _practice("float"),
        "return_soc": _practice(0.9),
        "empty_v": _practice(2.8),
        "plausible_v": _practice((1.0, 4.0)),
        "cell_limit_v": _memory(3.65),
        "cell_release_v": _practice(3.5),
        "charge_min_c": _memory(0.0),
        "charge_max_c": _memory(45.0),
        "compensation_v_per_c": _practice(0.0),
        "equalisation_v": _practice(None),
        **_USUAL,
    }
)
NMC: Mapping[str, Figure] = MappingProxyType(
    {
        "absorption_v": _memory(4.1),
        "entry_v": _practice(4.08),
        "full_v": _practice(4.07),
        "float_v": _memory(4.05),
        "return_v": _memory(3.95),
        "charge_current_a": _memory(0.3),
        "charge_efficiency": _memory(1.0),
        "on_unconfirmed": _practice("float"),
        "return_soc": _practice(0.9),
        "empty_v": _memory(3.0),
        "plausible_v": _practice((1.0, 5.0)),
        "cell_limit_v": _memory(4.2),
        "cell_release_v": _memory(4.12),
        "charge_min_c": _memory(0.0),
        "charge_max_c": _memory(45.0),
        "compensation_v_per_c": _practice(0.0),
        "equalisation_v": _practice(None),
        **_USUAL,
    }
)
LEAD_FLOODED: Mapping[str, Figure] = MappingProxyType(
    {
        "absorption_v": _memory(2.4),
        "entry_v": _practice(2.37),
        "full_v": _practice(2.35),
        "float_v": _memory(2.25),
        "return_v": _memory(2.08),
        "taper_a": _memory(0.02),
        "charge_current_a": _memory(0.1),
        "charge_efficiency": _memory(0.85),
        "compensation_v_per_c": Figure(-0.005, HARRINGTON_DUNLOP),
        "equalisation_v": _memory(2.58),
        "equalisation_s": _memory(7_200.0),
        # A profile alone must not make a battery gas: whoever wants a schedule sets one.
        "equalisation_every_s": _practice(None),
        "equalisation_max_c": _memory(40.0),
        "equalisation_loss_s": _practice(60.0),
        "equalisation_retry_s": _practice(86_400.0),
        **_LEAD,
    }
)
LEAD_AGM: Mapping[str, Figure] = MappingProxyType(
    {
        "absorption_v": _memory(2.4),
        "entry_v": _practice(2.37),
        "full_v": _practice(2.35),
        "float_v": _memory(2.26),
        "return_v": _memory(2.1),
        "taper_a": _memory(0.01),
        "charge_current_a": _memory(0.2),
        "charge_efficiency": _memory(0.92),
        "compensation_v_per_c": Figure(-0.004, GTZ),
        "equalisation_v": _memory(None),
        **_LEAD,
    }
)
LEAD_GEL: Mapping[str, Figure] = MappingProxyType(
    {
        "absorption_v": _memory(2.35),
        "entry_v": _practice(2.32),
        "full_v": _practice(2.3),
        "float_v": _memory(2.25),
        "return_v": _memory(2.1),
        "taper_a": _memory(0.01),
        "charge_current_a": _memory(0.15),
        "charge_efficiency": _memory(0.9),
        "compensation_v_per_c": Figure(-0.004, GTZ),
        "equalisation_v": _memory(None),
        **_LEAD,
    }
)

# Voltage of a full cell that has come to rest, V.
REST: Mapping[str, Figure] = MappingProxyType(
    {
        "lfp": Figure(3.35, OPEN_CIRCUIT_LFP),
        "nmc": _memory(4.06),
        "lead_flooded": _memory(2.12),
        "lead_agm": _memory(2.14),
        "lead_gel": _memory(2.14),
    }
)
