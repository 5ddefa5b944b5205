"""The requirements on entry, hold, confirmation and return in past-time temporal logic.

The judge allows a timer to be off by one sampling interval, because the controller need not decide
before it has advanced its timers. So do the formulas: what needs d samples must have held for d - 1,
and what is due after d is overdue at d + 1. Conditions without a timer have no tolerance. Of several
things wrong with one stretch of a stage the judge says the first; the formulas ask for the first too.
"""

from __future__ import annotations

from typing import Any

from ctrl.settings import Settings
from ctrl.vocabulary import Stage

Formulas = dict[str, str]

# Readings are lifted by so much: see `tests.oracles.monitor`.
HAIR_V, HAIR_A = 1e-7, 1e-7
# By how much stamps of one interval may differ, s: far less than the rules' own slack adds up to.
UNEVEN_S = 1e-11
# How far above `return_v` a return is still blamed on the voltage, V a cell.
NEAR_CELL_V = 0.01

STAGES = {
    "bulk": Stage.BULK,
    "absorption": Stage.ABSORPTION,
    "floating": Stage.FLOAT,
    "inhibited": Stage.INHIBITED,
}
# A signal that is true or false stands for itself: to compare it with 0 costs the library most.
BULK, ABSORPTION, FLOATING, INHIBITED = STAGES
ALWAYS, NEVER = "(not edge)", "edge"


def now_and_before(condition: str, samples: int) -> str:
    """True at this sample and at so many before it."""
    return f"(historically[0:{samples}]({condition}))"


def before(condition: str, samples: int) -> str:
    """True at each of so many samples before this one; asks nothing for 0 or less."""
    return f"(historically[1:{samples}]({condition}))" if samples > 0 else ALWAYS


def previously(condition: str) -> str:
    """True at the sample before this one."""
    return f"(once[1:1]({condition}))"


def earlier_in(stage: str, condition: str) -> str:
    """True at an earlier sample of the stretch of a stage that goes on, or ends, at this one."""
    return previously(f"{stage} since ({stage} and {condition})")


def _both(*conditions: str) -> str:
    return f"({' and '.join(conditions)})"


def _either(*conditions: str) -> str:
    return f"({' or '.join(conditions)})"


def _not(condition: str) -> str:
    return f"(not {condition})"


def entry_formulas(dwell: int) -> Formulas:
    """What breaks each requirement on the way from bulk to absorption; `dwell` in samples."""
    high = "high"
    # Before its first sample a controller is in bulk.
    from_bulk = previously(_either(BULK, "edge"))
    enters = _both(ABSORPTION, from_bulk)
    held = _both(high, before(_both(high, BULK), dwell - 1))
    overdue = now_and_before(_both(high, BULK), dwell + 1)
    if dwell == 0:
        # The sample on which a stage was entered cannot leave it again.
        overdue = _both(overdue, previously(from_bulk))
    return {
        "ENTRY.held-long-enough": _both(enters, _not(held)),
        "ENTRY.not-late": overdue,
        "ENTRY.from-bulk-only": _either(
            _both(FLOATING, from_bulk),
            _both(ABSORPTION, previously(_either(FLOATING, INHIBITED))),
        ),
    }


def hold_names(s: Settings, hold: int, confirm: int, wait: int) -> Formulas:
    """What the formulas of absorption speak of: each may use those before it. Timers in samples.

    `shows_nearly` and `shows` are the hold timer within its tolerance and in full, `may` and `over`
    what has been so in this hold, `after` the samples at which it must have been found to be over.
    """
    sag_v = s.entry_v if s.sag_v is None else s.sag_v
    fine = "fine"
    calm = ALWAYS
    if s.taper_a is not None:
        calm = f"((i <= {s.taper_a + HAIR_A!r}) and (i >= {-s.taper_a - HAIR_A!r}))"
    inside = _either(ABSORPTION, previously(ABSORPTION))
    counting = ABSORPTION if s.on_sag == "run" else _both(ABSORPTION, fine)
    at_once = fine if s.on_sag == "restart" else ALWAYS

    def timer_shows(samples: int) -> str:
        needed = [inside, before(counting, samples)]
        return _both(*needed, at_once) if samples > 0 else _both(*needed)

    must = _both("after", _not(previously(_both(ABSORPTION, "after"))))
    proving = _both(ABSORPTION, "after", "proof")
    if confirm > 0:
        late_grant = now_and_before(proving, confirm + 1)
    else:
        # On the sample on which the hold must be over the tolerance has been used up.
        late_grant = _either(_both("must", proving), now_and_before(proving, 1))
    late_denial = _both(ABSORPTION, "after", _not("proof"))
    late_wait = now_and_before(_both(ABSORPTION, "after"), wait + 1)
    late_end = late_wait if s.on_unconfirmed == "wait" else late_denial
    proved = _both("proof", before(proving, confirm + 1) if confirm > 0 else "over")
    leaves = _both(_either(FLOATING, BULK), previously(ABSORPTION))
    return {
        "fine": f"(v >= {sag_v!r})",
        "full": f"(v >= {s.full_v!r})",
        "proof": _both("full", calm),
        "sagged": earlier_in(ABSORPTION, _not(fine)),
        "sagged_now": _either("sagged", _not(fine)),
        "shows_nearly": timer_shows(hold - 1),
        "shows": timer_shows(hold),
        "may": _either("shows_nearly", earlier_in(ABSORPTION, "shows_nearly")),
        "over": _either("shows", earlier_in(ABSORPTION, "shows")),
        "after": _both(inside, previously(_both(ABSORPTION, "over"))),
        "must": must,
        "late_grant": late_grant,
        "late_end": late_end,
        "overdue": _either("late_grant", "late_end"),
        "first_overdue": _both(
            "overdue", _not(earlier_in(ABSORPTION, "overdue"))
        ),
        "early": _both(leaves, _not("may")),
        "decided": _both(
            leaves, "may", _not(earlier_in(ABSORPTION, "overdue"))
        ),
        "resets": _both("decided", FLOATING, "reset"),
        "refuses": _both("decided", _not(_both(FLOATING, "reset"))),
        "proved": proved,
    }  # fmt: skip


def hold_formulas(s: Settings, confirm: int, wait: int) -> Formulas:
    """What breaks each requirement on the hold and its confirmation, by the names above."""
    sag = {"run": "HOLD.sag-runs-on", "restart": "HOLD.sag-restarts"}
    first, early, must = "first_overdue", "early", "must"
    ends = _both(first, must)
    found = {
        "HOLD.full-length": _both(early, _not("sagged_now")),
        "HOLD.ends": _both(ends, _not("sagged")),
    }
    if s.on_sag == "pause":
        # How much a hold has counted behind several sags is a sum, and past-time logic has none.
        return found if confirm == 0 else {"HOLD.full-length": found["HOLD.full-length"]}
    found[sag[s.on_sag]] = _either(_both(early, "sagged_now"), _both(ends, "sagged"))
    resets, proof = "resets", "proof"
    confirming = before(_both(ABSORPTION, "may", proof), confirm - 1)
    unproved = _both("refuses", _not("proved"))
    found |= {
        "FULL.voltage": _both(resets, _not("full")),
        "FULL.taper": _both(resets, "full", _not(proof)),
        "FULL.confirmed": _both(resets, proof, _not(confirming)),
        "FULL.granted": _either(
            _both(first, "late_grant", *([_not(must)] if confirm == 0 else [])),
            _both("refuses", "proved"),
        ),
    }
    if s.on_unconfirmed == "wait":
        waited = _both(FLOATING, before(_both(ABSORPTION, "may"), wait - 1))
        found["FULL.wait"] = _either(
            _both(first, "late_end", _not("late_grant")), _both(unproved, _not(waited))
        )
        return found
    wrong_way = BULK if s.on_unconfirmed == "float" else FLOATING
    found["FULL.denied"] = _either(
        _both(first, "late_end", _not(must)), _both(unproved, _either(proof, wrong_way))
    )
    if confirm > 0:
        # A hold that goes on and a denial that does not come look alike. The judge tells them apart by
        # when absorption is left, which is not in the past.
        alike = {name: found.pop(name) for name in ("HOLD.ends", sag[s.on_sag], "FULL.denied")}
        found[" or ".join(alike)] = _either(*alike.values())
    return found


def float_names(s: Settings, dwell: int, timer: int | None) -> Formulas:
    """What the formulas of float speak of; timers in samples, `timer` None where there is none."""
    low = "low"
    overdue = now_and_before(_both(low, FLOATING), dwell + 1)
    if dwell == 0:
        overdue = _both(overdue, previously(previously(FLOATING)))
    few = "few"
    timed_out = NEVER if timer is None else before(FLOATING, timer - 1)
    timer_overdue = NEVER if timer is None else now_and_before(FLOATING, timer + 1)
    justified = _either(_both(low, before(_both(low, FLOATING), dwell - 1)), few, timed_out)
    return {
        "low": f"(v < {s.return_v!r})",
        "few": NEVER if s.return_soc is None else f"(soc < {s.return_soc!r})",
        "late_low": overdue,
        "late_count": _both(FLOATING, previously(FLOATING), few),
        "late_timer": _both(FLOATING, timer_overdue),
        "overdue_float": _either("late_low", "late_count", "late_timer"),
        "first_overdue_float": _both("overdue_float", _not(earlier_in(FLOATING, "overdue_float"))),
        "unjustified": _both(BULK, previously(FLOATING), _not(justified)),
    }


def float_formulas(s: Settings, timer: int | None) -> Formulas:
    """What breaks each requirement on float and the return from it, by the names above."""
    first, late_timer, late_count = (
        "first_overdue_float",
        "late_timer",
        "late_count",
    )
    found = {
        "RETURN.low-voltage": _both(
            first, "late_low", _not(late_count), _not(late_timer)
        ),
        "RETURN.to-bulk": _both(ABSORPTION, previously(FLOATING)),
    }  # fmt: skip
    if timer is not None:
        found["FLOAT.timer-ends"] = _both(first, late_timer)
    near = f"(v <= {s.return_v + NEAR_CELL_V * s.cells + HAIR_V!r})"
    if s.return_soc is None and timer is None:
        found["RETURN.voltage-held"] = _both("unjustified", near)
        found["FLOAT.stays"] = _both("unjustified", _not(near))
        return found
    # Several reasons were possible, and the judge names the nearest: a matter of measure, not of logic.
    reasons = ["RETURN.voltage-held", "FLOAT.stays"]
    alike = ["unjustified"]
    if s.return_soc is not None:
        reasons.append("RETURN.low-soc")
        alike.append(_both(first, late_count, _not(late_timer)))
    if timer is not None:
        reasons.append("FLOAT.timer-full-length")
    found[" or ".join(reasons)] = _either(*alike)
    return found


def formulas(s: Settings, interval_s: float = 1.0) -> tuple[Formulas, Formulas]:
    """Names for parts of formulas, each of earlier ones; and a formula for what breaks what.

    The keys of the second are ids of requirements; where the logic cannot tell which of several is
    broken they stand together, joined by " or ". Left out is what cannot be said with timers that are
    no whole number of intervals.
    """
    named: Formulas = {}
    found: Formulas = {}

    def samples(*timers_s: float | None) -> list[Any] | None:
        counts = [None if s is None else round(s / interval_s) for s in timers_s]
        exact = all(
            s is None or n is None or abs(s - n * interval_s) < UNEVEN_S
            for s, n in zip(timers_s, counts, strict=True)
        )
        return counts if exact else None

    if entry := samples(s.entry_dwell_s):
        named["high"] = f"(v >= {s.entry_v!r})"
        found |= entry_formulas(*entry)
    wait_s = s.wait_limit_s if s.on_unconfirmed == "wait" else 0.0
    if timers := samples(s.hold_s, s.confirm_s, wait_s):
        named |= hold_names(s, *timers)
        found |= hold_formulas(s, *timers[1:])
    if timers := samples(s.return_dwell_s, s.float_s):
        named |= float_names(s, *timers)
        found |= float_formulas(s, timers[1])
    found["FULL.at-hold-end"] = _both(
        "reset", _not(INHIBITED), _not(_both(FLOATING, previously(ABSORPTION)))
    )
    return named, found
