"""The verdict on a pair and its reasons, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from harness.explain.reason import Cause
from harness.report.paired import Crossed, Paired
from harness.report.simulated import clock
from harness.report.words import listed
from harness.run import Finding
from harness.world.filled import TRULY_FULL, Filling
from harness.world.voltage_account import Account

MOST_NAMES = 6
# What a log cannot tell apart, and an account of the simulated voltages can.
_ON_THE_WAY = (Cause.CHARGER_LOW, Cause.WIRING, Cause.METER_OFFSET, Cause.WIRING_OR_METERS)
# Less than this is not worth a part of a sentence.
_WORTH_MV = 0.5
_ELSEWHERE = "look for the cause in wiring, meters, settings and time"


def verdict_sentence(paired: Paired) -> str:
    """Whether the pair fills every pack, and what it broke."""
    short = [each.name for each in paired.fillings if not each.filled]
    broken = _broken("the charger", paired.charger_findings)
    for p, name in enumerate(pack.name for pack in paired.result.packs):
        broken += _broken(f"the controller of {name}", paired.findings_of(p))
    if not short:
        told = "This pair fills every pack"
        return f"{told}, but {' and '.join(broken)}." if broken else f"{told}."
    told = f"This pair does not fill {_and(short)}"
    return f"{told}; {', '.join(broken)}." if broken else f"{told}."


def blame_sentence(paired: Paired) -> str:
    """Whose fault it is that the pair does not fill every pack; empty where that was not tried."""
    if paired.fills_all:
        return ""
    if not (paired.own_controllers or paired.own_charger):
        return f"This is the reference pair: {_ELSEWHERE}."
    by_side = {(each.own_controllers, each.own_charger): each for each in paired.crossed}
    both = by_side.get((False, False))
    if both is None:
        return ""
    if both.stopped:
        return f"The reference pair could not be run here: {both.stopped}."
    if not both.fills_all:
        return f"The reference pair does not fill every pack here either: {_ELSEWHERE}."
    other_charger, other_controllers = by_side.get((True, False)), by_side.get((False, True))
    charger_helps = not paired.own_controllers or _fills(other_charger)
    controllers_help = not paired.own_charger or _fills(other_controllers)
    if charger_helps and controllers_help:
        return "They do not fit each other: with the reference in place of either, every pack is filled."
    if charger_helps:
        return (
            "The charger is why: with the reference charger in its place the same controllers "
            "fill every pack."
        )
    if controllers_help:
        return (
            "The controllers are why: with reference controllers in their place the same charger "
            "fills every pack."
        )
    return "Both are why: neither fills every pack with the reference in place of the other."


def _fills(crossed: Crossed | None) -> bool:
    return crossed is not None and crossed.fills_all


def why_not(paired: Paired, p: int) -> list[str]:
    """Why a pack was not filled, sentence by sentence, down to a number."""
    filling, reason, way = paired.fillings[p], paired.reasons[p], paired.accounts[p]
    told = []
    if filling.early is not None:
        told.append(_cried_early(paired, filling))
    elif reason is not None:
        told += [link.sentence for link in reason.chain]
        if reason.cause in _ON_THE_WAY and way is not None:
            # Its last link guesses at what the account knows.
            told = told[:-1]
    if way is not None and filling.early is None:
        told.append(account_sentence(paired, way))
    return told


def account_sentence(paired: Paired, way: Account) -> str:
    """Where the voltage went."""
    parts = []
    if abs(way.above_v) * 1000.0 >= _WORTH_MV:
        parts.append(f"the set-point stood {_mv(way.above_v)} {_side(way.above_v)} the request")
    else:
        parts.append("the set-point stood at the request")
    if not way.held:
        parts.append(
            f"the charger gave {way.charger_a:.1f} A and did not reach its set-point, "
            f"{_mv(way.charger_v)} {_side(way.charger_v)} it"
        )
    elif abs(way.charger_v) * 1000.0 >= _WORTH_MV:
        parts.append(
            f"the charger's meter made it hold {_mv(way.charger_v)} {_side(way.charger_v)} that"
        )
    if abs(way.main_v) * 1000.0 >= _WORTH_MV:
        parts.append(
            f"{_mv(way.main_v)} were lost between charger and bus at {way.charger_a:.1f} A"
        )
    if abs(way.lead_v) * 1000.0 >= _WORTH_MV:
        parts.append(f"{_mv(way.lead_v)} in its own lead at {way.pack_a:.1f} A")
    if abs(way.meter_v) * 1000.0 >= _WORTH_MV:
        much = "much" if way.meter_v > 0.0 else "little"
        parts.append(f"its meter showed {_mv(way.meter_v)} too {much}")
    side = "under" if way.missing_v >= 0.0 else "above"
    return (
        f"At {clock(paired.result, way.t)} it read {way.read_v:.3f} V, {_mv(way.missing_v)} {side} "
        f"the {way.asked_v:.3f} V asked for: {'; '.join(parts)}."
    )


def _cried_early(paired: Paired, filling: Filling) -> str:
    assert filling.early is not None
    return (
        f"Its controller called it full at {clock(paired.result, filling.early.t)}, at a true "
        f"{100.0 * filling.early.true_soc:.1f} %; under {100.0 * TRULY_FULL:.0f} % that is no full "
        "pack, whatever it says."
    )


def _broken(who: str, findings: Sequence[Finding]) -> list[str]:
    names = list(dict.fromkeys(finding.requirement for finding in findings))
    return [f"{who} broke {_and(names)}"] if names else []


def _and(names: list[str]) -> str:
    if len(names) > MOST_NAMES:
        return listed(names, MOST_NAMES)
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _mv(voltage_v: float) -> str:
    return f"{abs(voltage_v) * 1000.0:.0f} mV"


def _side(voltage_v: float) -> str:
    return "above" if voltage_v > 0.0 else "below"
