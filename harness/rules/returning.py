"""RETURN: what sends a pack from float back to bulk."""

from __future__ import annotations

from harness.rules.float_stage import LOW, LOW_SOC, TO_BULK, VOLTAGE_HELD, floats
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=LOW,
        title="a low voltage in float returns to bulk",
        statement="When the voltage in float has been below `return_v` for `return_dwell_s`, the stage "
        "becomes bulk at that sample.",
        reason="A bank that is being emptied must ask for charge again.",
        check=floats,
        features={"return_voltage"},
    ),
    Requirement(
        id=VOLTAGE_HELD,
        title="a short dip does not end float",
        statement="A voltage below `return_v` ends float only after it has held for `return_dwell_s` "
        "without interruption, counted from the entry of float.",
        reason="A kettle dips the bank for a minute; that is no reason to charge it to the top again.",
        check=floats,
        features={"return_voltage"},
    ),
    Requirement(
        id=LOW_SOC,
        title="a low state of charge in float returns to bulk",
        statement="At a sample in float, later than the one on which float was entered, at which the "
        "state of charge is below `return_soc`, the stage becomes bulk; a state of charge at or "
        "above it does not end float.",
        reason="On the flat part of an LFP curve the voltage says little; the count is what is left.",
        check=floats,
        features={"return_soc", "soc"},
    ),
    Requirement(
        id=TO_BULK,
        title="float leads to bulk or equalisation, and nowhere else",
        statement="Float is left only for bulk, for equalisation, or for inhibited by a trip of "
        "protection.",
        reason="A hold that starts from float has skipped the dwell of the entry voltage.",
        check=floats,
    ),
)
