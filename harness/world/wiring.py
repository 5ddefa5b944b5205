"""Resistance of conductors and joints: what stands between a pack, the bus and the charger.

Lengths are those of the whole loop, out and back.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import pi
from types import MappingProxyType

from attrs import field, frozen

from harness.errors import InputError
from harness.world.checks import not_negative, number_within, whole_within

# IEC 60228, plain copper: greatest resistance in Ω/km at 20 degrees C by cross-section in mm², as in
# agreeing secondary tables. Class 2 is stranded, class 5 flexible.
IEC_60228: Mapping[int, Mapping[float, float]] = MappingProxyType(
    {
        2: MappingProxyType(
            {
                4.0: 4.61, 6.0: 3.08, 10.0: 1.83, 16.0: 1.15, 25.0: 0.727,
                35.0: 0.524, 50.0: 0.387, 70.0: 0.268, 95.0: 0.193, 120.0: 0.153,
            }
        ),
        5: MappingProxyType(
            {
                4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21, 25.0: 0.780,
                35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206, 120.0: 0.161,
            }
        ),
    }
)  # fmt: skip
# Of annealed copper, Ω·mm²/km at 20 degrees C.
COPPER_RESISTIVITY = 17.241
# A bolted joint has some µΩ, and should stay under 100 µΩ: US Bureau of Reclamation, FIST 3-6, 1997.
GOOD_JOINT_OHM = 20e-6


def to_20_c(temp_c: float) -> float:
    """Factor from the resistance at `temp_c` to that at 20 degrees C: 250 / (230 + T) (IEC 60228)."""
    return 250.0 / (230.0 + temp_c)


def iec_ohm_per_km(mm2: float, strand_class: int = 5) -> float:
    """Greatest resistance at 20 degrees C of a plain copper conductor, Ω/km.

    Raises:
        InputError: a class or a cross-section that the table does not have.
    """
    sizes = IEC_60228.get(strand_class)
    if sizes is None:
        raise InputError(f"conductor class {strand_class!r}", column="strand_class", hint="2 or 5")
    if mm2 not in sizes:
        known = ", ".join(f"{size:g}" for size in sizes)
        raise InputError(
            f"no conductor of {mm2!r} mm² in the table of IEC 60228",
            column="mm2",
            hint=f"one of {known}",
        )
    return sizes[mm2]


def awg_diameter_mm(awg: int) -> float:
    """Diameter of a solid wire of an American wire gauge; 0 is 1/0, -1 is 2/0, -3 is 4/0.

    The formula is from memory.
    """
    return 0.127 * float(92.0 ** ((36 - awg) / 39))


def awg_ohm_per_km(awg: int) -> float:
    """Resistance at 20 degrees C of a copper wire of that gauge, Ω/km."""
    diameter_mm = awg_diameter_mm(awg)
    return COPPER_RESISTIVITY / (pi * diameter_mm * diameter_mm / 4.0)


@frozen
class Lead:
    """A pair of conductors with its joints, of one size throughout.

    Attributes:
        length_m: length of the loop, out and back, m.
        mm2: cross-section, one of IEC 60228; or `awg`, not both.
        awg: American wire gauge, -3 (4/0) to 36.
        strand_class: class of IEC 60228, 2 or 5.
        temp_c: temperature of the conductor, degrees C.
        joints: joints in the loop.
        joint_ohm: resistance of one, Ω.

    Raises:
        InputError: a value that no lead has, both sizes or none.
    """

    length_m: float = field(validator=not_negative("m"))
    mm2: float | None = None
    awg: int | None = None
    strand_class: int = 5
    temp_c: float = field(default=20.0, validator=number_within(-60.0, 200.0, "°C"))
    joints: int = field(default=0, validator=whole_within(0, 1000))
    joint_ohm: float = field(default=GOOD_JOINT_OHM, validator=not_negative("Ω"))

    def __attrs_post_init__(self) -> None:
        if (self.mm2 is None) == (self.awg is None):
            given = "neither" if self.mm2 is None else "both"
            raise InputError(
                f"{given} of mm2 and awg", column="mm2", hint="the cross-section in one of them"
            )
        if self.awg is not None and not (isinstance(self.awg, int) and -3 <= self.awg <= 36):
            raise InputError(
                f"gauge {self.awg!r}", column="awg", hint="a whole number from -3 (4/0) to 36"
            )
        self.ohm_per_km  # noqa: B018  an unknown size is refused here rather than at first use

    @property
    def ohm_per_km(self) -> float:
        """Resistance of one conductor at 20 degrees C, Ω/km."""
        if self.awg is not None:
            return awg_ohm_per_km(self.awg)
        assert self.mm2 is not None
        return iec_ohm_per_km(self.mm2, self.strand_class)

    @property
    def ohm(self) -> float:
        """Resistance of the loop with its joints at its temperature, Ω."""
        copper_ohm = self.ohm_per_km * self.length_m / 1000.0 / to_20_c(self.temp_c)
        return copper_ohm + self.joints * self.joint_ohm


def sensed_load_v(source_v: float, sensed_v: float) -> float:
    """What a load sees behind two equal conductors of which one is sensed, V.

    The other conductor drops as much again as the sensed one. Source: EDN design idea 1706, 1995.

    Args:
        source_v: at the terminals of the source.
        sensed_v: between the load's end of one conductor and the source's other terminal.
    """
    return 2.0 * sensed_v - source_v
