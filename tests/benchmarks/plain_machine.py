"""The rules once more as one plain Python function: the speed that a readable form is compared with.

All in local variables, no objects, no events: what somebody writes who wants the rules to be fast
in Python. It knows what the benchmark's trace needs: validity, continuity, counting, the compares
of protection, entry, hold, confirmation, float and return, and the requests. A trace that trips
protection or empties the pack is refused instead of being answered wrongly.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ctrl.settings import Settings

BULK, HOLD, CONFIRM, FLOAT = range(4)
STAGE_OF = (0, 1, 1, 2)

Row = tuple[float, float, float, float, float, float]
Answer = tuple[int, float, bool, float, float]


def plain_answers(settings: Settings, soc: float, rows: Iterable[Row]) -> Iterator[Answer]:
    """Take every sample; yield stage, count, full reset, and the voltage and current asked for.

    Args:
        settings: the pack's settings; `on_sag` is `run`, `on_unconfirmed` is `float`.
        soc: starting state of charge, 0..1.
        rows: `(t, v, i, cell_max_v, temp_c, temp_max_c)` in s, V, A, V, degrees C; NaN where absent.

    Raises:
        ValueError: the settings or the trace need a rule that is not here.
    """
    low_v, high_v = settings.plausible_v
    low_i, high_i = settings.plausible_i
    gap_s = settings.max_gap_s + 1e-9
    per_coulomb = 1.0 / (3600.0 * settings.capacity_ah)
    efficiency, ceiling = settings.charge_efficiency, settings.soc_ceiling
    entry_v, entry_dwell_s = settings.entry_v, settings.entry_dwell_s - 1e-9
    hold_s = settings.hold_s - 1e-9
    full_v, confirm_s = settings.full_v, settings.confirm_s - 1e-9
    return_v, return_dwell_s = settings.return_v, settings.return_dwell_s - 1e-9
    return_soc = -1.0 if settings.return_soc is None else settings.return_soc
    float_s = (1e300 if settings.float_s is None else settings.float_s) - 1e-9
    empty_v = -1e300 if settings.empty_v is None else settings.empty_v
    cell_limit_v = 1e300 if settings.cell_limit_v is None else settings.cell_limit_v
    min_c = -1e300 if settings.charge_min_c is None else settings.charge_min_c
    max_c = 1e300 if settings.charge_max_c is None else settings.charge_max_c
    refuse_what_is_missing(settings)
    never = 1e300
    mode, last_t, last_i = BULK, never, 0.0
    dwell_from = timer_from = never
    charging_v, float_v, current_a = (
        settings.absorption_v,
        settings.float_v,
        settings.charge_current_a,
    )
    for t, v, i, cell, cold, hot in rows:
        reset = False
        if low_v <= v <= high_v and low_i <= i <= high_i:
            dt = t - last_t
            joined = -1e-9 <= dt <= gap_s
            if joined:
                if last_i >= 0.0 and i >= 0.0:
                    moved = soc + efficiency * (0.5 * (last_i + i) * dt) * per_coulomb
                    top = soc if soc > ceiling else ceiling
                    soc = moved if moved < top else top
                elif last_i <= 0.0 and i <= 0.0:
                    moved = soc + 0.5 * (last_i + i) * dt * per_coulomb
                    soc = moved if moved > 0.0 else 0.0
                else:
                    crossing = dt * (last_i / (last_i - i))
                    first, second = 0.5 * last_i * crossing, 0.5 * i * (dt - crossing)
                    charged, drawn = (first, second) if last_i > 0.0 else (second, first)
                    net = efficiency * charged + drawn
                    moved = soc + net * per_coulomb
                    if net > 0.0:
                        top = soc if soc > ceiling else ceiling
                        soc = moved if moved < top else top
                    else:
                        soc = moved if moved > 0.0 else 0.0
            else:
                dwell_from = never
            if v <= empty_v or cell >= cell_limit_v or cold < min_c or cold > max_c or hot > max_c:
                raise ValueError(f"the sample at {t} s needs the empty rule or protection")
            if mode == BULK:
                if v >= entry_v:
                    if dwell_from == never:
                        dwell_from = t
                    if t - dwell_from >= entry_dwell_s:
                        mode, timer_from, dwell_from = HOLD, t, never
                else:
                    dwell_from = never
            elif mode == FLOAT:
                if v < return_v:
                    if dwell_from == never:
                        dwell_from = t
                else:
                    dwell_from = never
                if dt < -1e-9:
                    timer_from = t
                if (
                    (dwell_from != never and t - dwell_from >= return_dwell_s)
                    or soc < return_soc
                    or t - timer_from >= float_s
                ):
                    mode, dwell_from = BULK, t if v >= entry_v else never
            elif not joined:
                mode, dwell_from = BULK, t if v >= entry_v else never
            else:
                if mode == HOLD and t - timer_from >= hold_s:
                    mode, dwell_from = CONFIRM, never
                if mode == CONFIRM:
                    if v >= full_v:
                        if dwell_from == never:
                            dwell_from = t
                        if t - dwell_from >= confirm_s:
                            soc, reset = 1.0, True
                    if reset or not v >= full_v:
                        mode, timer_from = FLOAT, t
                        dwell_from = t if v < return_v else never
            last_t, last_i = t, i
        yield STAGE_OF[mode], soc, reset, float_v if mode == FLOAT else charging_v, current_a


def refuse_what_is_missing(settings: Settings) -> None:
    """Raise `ValueError` for settings whose rules are not here."""
    if settings.on_sag != "run" or settings.on_unconfirmed != "float":
        raise ValueError("on_sag must be run and on_unconfirmed float")
    if settings.taper_a is not None or settings.compensation_v_per_c != 0.0:
        raise ValueError("taper_a must be none and compensation_v_per_c 0")
