"""Settings that are legal and yet unwise, and what would be better, in numbers.

Nothing here is an error. Every sentence is about how the rules will behave with the settings on an
installation that is described in a few numbers; of the cells no more is known than the settings show.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import ceil

from ctrl.advice_parts import CAUTION, SLACK_V, Advice, Found, likely
from ctrl.advice_upkeep import UPKEEP_CHECKS, coldest_c
from ctrl.settings import Settings

__all__ = [
    "CAUTION",
    "DAY_S",
    "Advice",
    "beside_limit",
    "cautions",
    "highest_v",
    "smallest_absorption_v",
    "usual_rest_cell_v",
    "usual_taper_a",
    "warnings",
]

# Common practice, no source: a pack is called full when the current has fallen to C/20.
TAPER_SHARE = 1 / 20
DAY_S = 86_400.0


def warnings(
    settings: Settings,
    *,
    meter_error_v: float = 0.1,
    meter_noise_v: float = 0.02,
    wiring_ohm: float = 0.005,
    interval_s: float = 1.0,
    rest_cell_v: float | None = None,
    taper_a: float | None = None,
) -> tuple[Advice, ...]:
    """What a practitioner would say to these settings; print `CAUTION` with it.

    Args:
        settings: the settings of one pack; they contradict nothing.
        meter_error_v: how far the charger's and the pack's meters may differ, V.
        meter_noise_v: how far a reading may stray from the next, V.
        wiring_ohm: resistance of the conductors between the charger and the pack, both ways, ohm.
        interval_s: distance of the samples, s.
        rest_cell_v: voltage of a full cell at rest, V; None: that of `usual_rest_cell_v`.
        taper_a: current at which the drop of the wiring counts, A; None: that of `usual_taper_a`.

    Raises:
        ValueError: a number of the installation is negative or not finite.
    """
    found = Found(
        meter_error_v=meter_error_v,
        meter_noise_v=meter_noise_v,
        wiring_ohm=wiring_ohm,
        interval_s=interval_s,
        rest_cell_v=usual_rest_cell_v(settings) if rest_cell_v is None else rest_cell_v,
        taper_a=usual_taper_a(settings) if taper_a is None else taper_a,
    )
    return tuple(advice for check in _CHECKS for advice in check(settings, found))


def usual_taper_a(settings: Settings) -> float:
    """The current to which a pack has fallen when it is called full, A."""
    if settings.taper_a is not None:
        return settings.taper_a
    return settings.capacity_ah * TAPER_SHARE


def usual_rest_cell_v(settings: Settings) -> float:
    """The voltage at which a full cell of the chemistry that the settings look like rests, V."""
    return likely(settings).rest_v


def cautions(settings: Settings) -> tuple[str, ...]:
    """What must be said wherever settings like these are shown or suggested."""
    # The first of a profile says of its own numbers what `CAUTION` says of all.
    return (CAUTION, *likely(settings).cautions[1:])


def smallest_absorption_v(settings: Settings, needed_v: float) -> float:
    """The smallest charger setting that lies so far over `entry_v`, V, to the next millivolt up."""
    # Rounded down, the number would not clear it.
    return ceil((settings.entry_v + needed_v) * 1000.0 - 1e-6) / 1000.0


def _entry_margin(settings: Settings, found: Found) -> Iterator[Advice]:
    taper_a = found.taper_a
    drop_v = found.wiring_ohm * taper_a
    needed_v = found.meter_error_v + drop_v
    margin_v = settings.absorption_v - settings.entry_v
    if margin_v >= needed_v - SLACK_V:
        return
    least_v = smallest_absorption_v(settings, needed_v)
    yield Advice(
        ("absorption_v", "entry_v"),
        f"The hold may never start: absorption_v is {margin_v:.3f} V over entry_v, but the meters may"
        f" differ by {found.meter_error_v:.3f} V and the wiring takes {drop_v:.3f} V at {taper_a:g} A.",
        f"The smallest absorption_v that clears it is {least_v:.3f} V, {beside_limit(settings, least_v)}"
        f" {CAUTION}",
    )


def beside_limit(settings: Settings, pack_v: float) -> str:
    """How a pack voltage compares with the cell limit, in words."""
    cell_v = pack_v / settings.cells
    a_cell = f"{cell_v:.3f} V a cell"
    if settings.cell_limit_v is None:
        return f"{a_cell}; there is no cell_limit_v to compare it with."
    if cell_v < settings.cell_limit_v:
        return f"{a_cell}, which is under cell_limit_v {settings.cell_limit_v:g} V."
    return (
        f"{a_cell}, which is not under cell_limit_v {settings.cell_limit_v:g} V: lower entry_v and"
        " full_v instead, or make the wiring or the meters better."
    )


def _full_voltage(settings: Settings, found: Found) -> Iterator[Advice]:
    below_v = settings.entry_v - settings.full_v
    if below_v < found.meter_noise_v - SLACK_V:
        yield Advice(
            ("full_v", "entry_v"),
            f"Noise may deny a pack that is full: full_v is {below_v:.3f} V under entry_v, and readings"
            f" stray by {found.meter_noise_v:.3f} V.",
            f"full_v {settings.entry_v - found.meter_noise_v:.3f} V or less leaves room for it.",
        )
    rest_v = settings.cells * found.rest_cell_v
    if settings.full_v <= rest_v:
        yield Advice(
            ("full_v", "cells"),
            f"A pack that merely rests passes as full: full_v is {settings.full_v:.3f} V, and"
            f" {settings.cells} cells at rest show up to {rest_v:.3f} V.",
            f"full_v over {rest_v:.3f} V asks for a charger that is still there.",
        )


def _return_voltage(settings: Settings, found: Found) -> Iterator[Advice]:
    rest_v = settings.cells * found.rest_cell_v
    if settings.return_v > rest_v:
        yield Advice(
            ("return_v", "cells"),
            "The controller will go back and forth between float and bulk: return_v is"
            f" {settings.return_v:.3f} V, and a full pack of {settings.cells} cells comes to rest at"
            f" {rest_v:.3f} V.",
            f"return_v {rest_v:.3f} V or less lets a full pack rest in float.",
        )


def _return_count(settings: Settings, _: Found) -> Iterator[Advice]:
    if settings.return_soc is not None and settings.return_soc > settings.soc_ceiling:
        yield Advice(
            ("return_soc", "soc_ceiling"),
            "A pack that is denied leaves float at once, every time: counting stops at soc_ceiling"
            f" {settings.soc_ceiling:g}, under return_soc {settings.return_soc:g}.",
            f"return_soc {settings.soc_ceiling:g} or less lets a denied pack stay in float.",
        )


def _sampling(settings: Settings, found: Found) -> Iterator[Advice]:
    interval_s = found.interval_s
    if interval_s > settings.max_gap_s:
        yield Advice(
            ("max_gap_s",),
            f"Every sample is a break in time: samples are {interval_s:g} s apart, and max_gap_s is"
            f" {settings.max_gap_s:g} s. No hold will ever last, and nothing is counted.",
            f"max_gap_s {3 * interval_s:g} s lets two samples in a row be lost.",
        )
    if settings.hold_s < interval_s:
        yield Advice(
            ("hold_s",),
            f"The hold is over at the next sample: hold_s is {settings.hold_s:g} s, and samples are"
            f" {interval_s:g} s apart.",
            f"hold_s {10 * interval_s:g} s is ten samples.",
        )


def _lengths(settings: Settings, _: Found) -> Iterator[Advice]:
    for name in ("entry_dwell_s", "confirm_s"):
        dwell_s = getattr(settings, name)
        if dwell_s > settings.hold_s:
            yield Advice(
                (name, "hold_s"),
                f"The dwell is longer than the hold: {name} is {dwell_s:g} s, hold_s is"
                f" {settings.hold_s:g} s.",
                f"{name} is usually some seconds; {settings.hold_s:g} s or less is shorter than the hold.",
            )
    if settings.on_unconfirmed == "wait" and settings.wait_limit_s < settings.confirm_s:
        yield Advice(
            ("wait_limit_s", "confirm_s"),
            f"No pack will ever be confirmed: the wait ends after wait_limit_s {settings.wait_limit_s:g}"
            f" s, before confirm_s {settings.confirm_s:g} s is over.",
            f"wait_limit_s over {settings.confirm_s:g} s leaves time for it.",
        )
    if settings.float_s is not None and settings.float_s > DAY_S:
        yield Advice(
            ("float_s",),
            f"The float timer will hardly ever end: float_s is {settings.float_s:g} s, longer than a day,"
            " and a night without charge ends float before it.",
            f"float_s {DAY_S:g} s or less, or none where no limit is meant.",
        )


def highest_v(settings: Settings) -> float:
    """The pack voltage at which readings are not believed or cells trip, V: the lower of the two."""
    high_v = settings.plausible_v[1]
    if settings.cell_limit_v is None:
        return high_v
    return min(high_v, settings.cells * settings.cell_limit_v)


def _cold_charge(settings: Settings, _: Found) -> Iterator[Advice]:
    if settings.compensation_v_per_c == 0.0:
        return
    worst_c = coldest_c(settings)
    if worst_c is None:
        yield Advice(
            ("compensation_v_per_c", "charge_min_c", "charge_max_c"),
            "The voltage asked for has no upper bound: it rises with the temperature's distance from"
            " reference_c, and no temperature limit stops it.",
            "A temperature limit or a bound of the compensation on that side bounds it.",
        )
        return
    shift_v = settings.compensation_v_per_c * (worst_c - settings.reference_c)
    most_v = settings.absorption_v + shift_v
    high_v = highest_v(settings)
    if most_v >= high_v:
        yield Advice(
            ("compensation_v_per_c", "absorption_v", "plausible_v", "cell_limit_v"),
            f"At {worst_c:g} degrees C the compensated absorption_v is {most_v:.3f} V, which is not under"
            f" {high_v:.3f} V, where readings are not believed or cells trip.",
            f"absorption_v under {high_v - shift_v:.3f} V stays below it. {CAUTION}",
        )


_CHECKS: tuple[Callable[[Settings, Found], Iterator[Advice]], ...] = (
    _entry_margin,
    _full_voltage,
    _return_voltage,
    _return_count,
    _sampling,
    _lengths,
    _cold_charge,
    *UPKEEP_CHECKS,
)
