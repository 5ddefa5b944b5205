"""Which requirements a change may break: by the setting, the row of the table or the function it is in.

This is worked out from what each requirement says, before any mutant has run. A name without a dot
stands for every requirement of that group.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable

from ctrl.transitions import Way
from ctrl.vocabulary import Stage


def _ids(text: str) -> frozenset[str]:
    return frozenset(text.split())


# Where a dwell begins, ends or is interrupted.
_EARLY = (
    "ENTRY.held-long-enough RETURN.voltage-held PROTECT.cell-held PROTECT.temperature-held "
    "PROTECT.release-held SOC.empty FULL.confirmed"
)
_LATE = (
    "ENTRY.not-late RETURN.low-voltage PROTECT.cell-trips PROTECT.temperature-trips "
    "PROTECT.releases SOC.empty FULL.granted FULL.wait"
)
# The dwells of an equalisation, which end it.
_ENDS_IT = "EQUALISE.heat EQUALISE.loss EQUALISE.whole"
DWELLS = _ids(f"{_EARLY} {_LATE} {_ENDS_IT} TIME.gap-restarts-dwell TIME.backward-step")
# Every voltage that moves with temperature.
_LEVELS = "REQUEST COMPENSATE EQUALISE.asks ENTRY HOLD FULL RETURN FLOAT.stays"
# One that starts and should not, or the reverse.
_STARTS = "EQUALISE.starts EQUALISE.due EQUALISE.allowed EQUALISE.remembered"
_HELD_BACK = "EQUALISE.starts EQUALISE.cool EQUALISE.current EQUALISE.retry"
_ABANDONED = "EQUALISE.whole EQUALISE.retry EQUALISE.starts EQUALISE.remembered"
# With an efficiency that is not 1, the count is judged by the second of these.
_COUNT = "SOC.counts SOC.efficiency"
# What is due from the end of the hold on is early or late with it.
_HOLD = "HOLD FULL.at-hold-end FULL.granted FULL.denied FULL.confirmed FULL.wait"
# Whether a pack is proved full decides where it goes, and, at the end of the hold, when.
_PROOF = "FULL.voltage FULL.taper FULL.granted FULL.denied FULL.confirmed HOLD.ends"
# A dwell that is missing is over at the first sample already.
_AT_ONCE = "POWER.starts-in-bulk"
_EMPTY = "SOC.empty SOC.no-jump SOC.starts POWER.keeps-soc"
_STOPPED = "PROTECT.no-reading PROTECT.cell-held PROTECT.temperature-held"
_RELEASE = "PROTECT.releases PROTECT.release-held"
_CELL = "PROTECT.cell-trips PROTECT.cell-held"
_TEMPERATURE = "PROTECT.temperature-trips PROTECT.temperature-held"
# A reading that is believed and should not be, or the reverse, can lead to any decision.
_BELIEF = (
    "TIME.invalid-skipped PROTECT ENTRY HOLD FULL FLOAT RETURN SOC REQUEST EQUALISE COMPENSATE "
    f"{_LATE}"
)
_BREAKS = (
    "TIME.gap-abandons-hold TIME.gap-restarts-dwell TIME.gap-adds-nothing TIME.backward-step "
    f"PROTECT.no-reading HOLD.full-length HOLD.sag-runs-on HOLD.sag-pauses HOLD.sag-restarts {_COUNT} "
    f"FULL.denied EQUALISE.break EQUALISE.retry EQUALISE.whole {_LATE}"
)

OF_SETTING: dict[str, frozenset[str]] = {
    "capacity_ah": _ids(_COUNT),
    "absorption_v": _ids("REQUEST.voltage REQUEST.never-above REQUEST.compensated"),
    # Where no sag_v is set, entry_v is the threshold of a sag as well.
    "entry_v": _ids(f"ENTRY.held-long-enough ENTRY.not-late {_HOLD}"),
    "entry_dwell_s": _ids(f"ENTRY.held-long-enough ENTRY.not-late {_AT_ONCE}"),
    "hold_s": _ids(_HOLD),
    "sag_v": _ids(_HOLD),
    "on_sag": _ids(_HOLD),
    "full_v": _ids(_PROOF),
    "confirm_s": _ids("FULL.confirmed FULL.granted"),
    "taper_a": _ids(_PROOF),
    "on_unconfirmed": _ids("FULL.denied FULL.wait HOLD.ends"),
    "wait_limit_s": _ids("FULL.wait"),
    "float_v": _ids("REQUEST.voltage REQUEST.never-above REQUEST.compensated"),
    "float_s": _ids("FLOAT"),
    "return_v": _ids("RETURN.low-voltage RETURN.voltage-held FLOAT.stays"),
    "return_dwell_s": _ids("RETURN.low-voltage RETURN.voltage-held"),
    "return_soc": _ids("RETURN.low-soc FLOAT.stays"),
    "charge_current_a": _ids("REQUEST.current"),
    "equalisation_v": _ids("EQUALISE.allowed EQUALISE.asks EQUALISE.starts REQUEST.never-above"),
    "equalisation_s": _ids("EQUALISE.time EQUALISE.whole"),
    "equalisation_every_s": _ids("EQUALISE.due EQUALISE.starts"),
    "equalisation_max_c": _ids("EQUALISE.cool EQUALISE.heat EQUALISE.whole EQUALISE.starts"),
    "equalisation_loss_s": _ids("EQUALISE.loss EQUALISE.whole"),
    # One that is still asked for after its wait is overdue by a request.
    "equalisation_retry_s": _ids("EQUALISE.retry EQUALISE.starts EQUALISE.remembered"),
    "charge_efficiency": _ids(_COUNT),
    "soc_ceiling": _ids(f"SOC.ceiling {_COUNT}"),
    "empty_v": _ids(_EMPTY),
    "empty_dwell_s": _ids(_EMPTY),
    "cell_limit_v": _ids(_CELL),
    "cell_release_v": _ids(_RELEASE),
    "charge_min_c": _ids(f"{_TEMPERATURE} {_RELEASE}"),
    "charge_max_c": _ids(f"{_TEMPERATURE} {_RELEASE}"),
    "temp_band_c": _ids(_RELEASE),
    "trip_dwell_s": _ids(f"{_CELL} {_TEMPERATURE} {_AT_ONCE} EQUALISE.heat EQUALISE.whole"),
    "release_dwell_s": _ids(_RELEASE),
    "max_gap_s": _ids(_BREAKS),
    "plausible_v": _ids(_BELIEF),
    "plausible_i": _ids(_BELIEF),
    "compensation_v_per_c": _ids(_LEVELS),
    "reference_c": _ids(_LEVELS),
    "compensation_min_c": _ids(_LEVELS),
    "compensation_max_c": _ids(_LEVELS),
    "sensor_lost_s": _ids(_LEVELS),
    "sensor_frozen_s": _ids(_LEVELS),
    "sensor_jump_c": _ids(_LEVELS),
}

# The names of `Limits` that are not those of a setting.
SETTING_OF_LIMIT = {
    "soc_per_coulomb": "capacity_ah",
    "release_min_c": "charge_min_c",
    "release_max_c": "charge_max_c",
    "low_v": "plausible_v",
    "high_v": "plausible_v",
    "low_i": "plausible_i",
    "high_i": "plausible_i",
    "asked_in_charge": "absorption_v",
    "asked_in_float": "float_v",
    "asked_while_inhibited": "float_v",
    "asked_in_equalisation": "equalisation_v",
}

OF_WAY: dict[Way, frozenset[str]] = {
    Way.TRIP_CELL: _ids(_CELL),
    Way.TRIP_TEMPERATURE: _ids(_TEMPERATURE),
    Way.TRIP_NO_READING: _ids(f"{_STOPPED} TIME.invalid-skipped"),
    Way.ENTRY_HELD: _ids("ENTRY"),
    Way.BREAK_IN_TIME: _ids("TIME.gap-abandons-hold TIME.backward-step"),
    Way.HOLD_OVER: _ids(_HOLD),
    Way.CONFIRMED: _ids("FULL SOC.no-jump"),
    Way.UNCONFIRMED_TO_FLOAT: _ids(_PROOF),
    Way.UNCONFIRMED_TO_BULK: _ids(_PROOF),
    Way.WAITED_TOO_LONG: _ids("FULL.wait FULL.denied"),
    Way.VOLTAGE_LOW: _ids("RETURN.low-voltage RETURN.voltage-held"),
    Way.SOC_LOW: _ids("RETURN.low-soc"),
    Way.FLOAT_OVER: _ids("FLOAT.timer-ends FLOAT.timer-full-length"),
    Way.ALL_CLEAR: _ids(_RELEASE),
    Way.EQUALISE_BY_REQUEST: _ids(f"{_STARTS} {_HELD_BACK}"),
    Way.EQUALISE_BY_SCHEDULE: _ids(f"{_STARTS} {_HELD_BACK}"),
    Way.EQUALISED: _ids("EQUALISE.time EQUALISE.whole EQUALISE.due EQUALISE.starts"),
    Way.EQUALISING_BROKEN: _ids(f"EQUALISE.break {_ABANDONED}"),
    Way.EQUALISING_TOO_WARM: _ids(f"EQUALISE.heat {_ABANDONED}"),
    Way.EQUALISING_WITHOUT_CURRENT: _ids(f"EQUALISE.loss {_ABANDONED}"),
}

# What a stage that is left without a reason breaks, and one that is entered without.
LEAVING: dict[Stage, frozenset[str]] = {
    Stage.BULK: _ids("ENTRY.from-bulk-only ENTRY.held-long-enough"),
    Stage.ABSORPTION: _ids("HOLD FULL"),
    Stage.FLOAT: _ids("FLOAT RETURN"),
    Stage.EQUALISATION: _ids("EQUALISE.after EQUALISE.whole EQUALISE.no-reset"),
    Stage.INHIBITED: _ids("PROTECT.to-bulk PROTECT.release-held"),
}
ENTERING: dict[Stage, frozenset[str]] = {
    Stage.BULK: frozenset(),
    Stage.ABSORPTION: _ids("ENTRY.from-bulk-only ENTRY.held-long-enough"),
    Stage.FLOAT: _ids("ENTRY.from-bulk-only"),
    Stage.EQUALISATION: _ids(f"EQUALISE.from-float EQUALISE.allowed EQUALISE.due {_HELD_BACK}"),
    Stage.INHIBITED: _ids(_STOPPED),
}

OF_FUNCTION: dict[str, frozenset[str]] = {
    "powered_up": _ids("SOC.starts POWER.keeps-soc LINK.starts LINK.stays-alive"),
    # Equal currents divide by their difference where the wrong branch is taken.
    "counted": _ids("SOC LINK.stays-alive"),
    "present": _ids("PROTECT"),
    "hottest_c": _ids(f"{_TEMPERATURE} {_RELEASE}"),
    "since": DWELLS,
    "watched": _ids(f"PROTECT {_EMPTY} {_AT_ONCE} TIME.gap-restarts-dwell TIME.backward-step"),
    "all_clear": _ids(_RELEASE),
    "let_go": _ids("PROTECT"),
    "sensed": _ids(_LEVELS),
    "shifted": _ids(_LEVELS),
    "cool": _ids("EQUALISE.cool EQUALISE.heat EQUALISE.whole EQUALISE.starts"),
    "may_start": _ids(_HELD_BACK),
    "warm_since": _ids("EQUALISE.heat EQUALISE.whole"),
    "without_current_since": _ids("EQUALISE.loss EQUALISE.whole"),
    "counting": _ids(f"{_STARTS} EQUALISE.retry"),
    "put_off": _ids(f"{_STARTS} EQUALISE.retry"),
    # All that a schedule does is lost where it is not kept.
    "kept_up": _ids(f"{_STARTS} {_HELD_BACK} {_LEVELS}"),
    "with_request": _ids(f"{_STARTS} EQUALISE.retry"),
    "high_and_calm": _ids("FULL HOLD.ends"),
    "entered": frozenset(),
    "dwelling": DWELLS,
    "bulk": _ids("ENTRY.held-long-enough ENTRY.not-late"),
    "hold_timer": _ids(_HOLD),
    "absorption": _ids("HOLD FULL"),
    "floating": _ids("FLOAT RETURN TIME.backward-step"),
    "due": _ids(f"{_STARTS} {_HELD_BACK}"),
    "equalising": _ids(f"{_ENDS_IT} EQUALISE.time"),
    "unreadable": _ids("PROTECT TIME.invalid-skipped"),
    "request": _ids("REQUEST"),
    "decide": frozenset(),
}

# A fault by hand is written for one requirement; on traces that nobody chose it may show in these.
RELATED: dict[str, frozenset[str]] = {
    "ENTRY": _ids(f"ENTRY {_AT_ONCE}"),
    "HOLD": _ids(_HOLD),
    "FULL": _ids("FULL HOLD.ends SOC.no-jump"),
    "FLOAT": _ids("FLOAT RETURN.to-bulk"),
    "RETURN": _ids("RETURN FLOAT.stays"),
    "SOC": _ids("SOC POWER.keeps-soc"),
    "REQUEST": _ids(_LEVELS),
    "EQUALISE": _ids("EQUALISE"),
    "COMPENSATE": _ids(_LEVELS),
    "PROTECT": _ids(f"PROTECT {_AT_ONCE}"),
    "TIME": _ids("TIME"),
    "POWER": _ids("POWER"),
    "LINK": _ids("LINK"),
}

# What stands in a guard and is neither a setting nor a row.
OF_NAME: dict[str, frozenset[str]] = {
    "joined": _ids(_BREAKS),
    "back": _ids("TIME.backward-step TIME.float-timer-runs-on FLOAT"),
    "STEP_BACK_S": _ids("TIME.backward-step"),
    "interval_s": _ids(_BREAKS),
    "quiet": _ids(f"PROTECT {_EMPTY}"),
    "watch": _ids(f"PROTECT {_EMPTY}"),
    "tripped": _ids(f"PROTECT {_AT_ONCE}"),
    "emptied": _ids(_EMPTY),
    "soc": _ids("SOC FULL.sets-one"),
    "shift_v": _ids(_LEVELS),
    "sensor": _ids(_LEVELS),
    "upkeep": _ids(f"{_STARTS} {_HELD_BACK}"),
    "equalises": _ids(f"{_STARTS} {_HELD_BACK}"),
    "isfinite": _ids(_BELIEF),
    "INHIBITED": _ids("PROTECT REQUEST"),
    "BULK": _ids("ENTRY"),
    "ABSORPTION": _ids("HOLD FULL TIME.gap-abandons-hold TIME.backward-step"),
    "FLOAT": _ids("FLOAT RETURN REQUEST"),
    "EQUALISATION": _ids("EQUALISE REQUEST"),
    "CELL_VOLTAGE": _ids(_CELL),
    "TEMPERATURE": _ids(_TEMPERATURE),
    "NO_READING": _ids("PROTECT.no-reading"),
}


# Every change of stage goes this way.
_CHANGES = _ids("ENTRY HOLD FULL FLOAT RETURN PROTECT EQUALISE")
# Places in which no name says what they are about: how the source begins there.
OF_PLACE: tuple[tuple[str, str, frozenset[str]], ...] = (
    ("entered", "stage is ", _CHANGES),
    ("decide", "way == STAY", _CHANGES),
    ("decide", "way != STAY", _CHANGES),
    ("decide", "charge = entered(limits, TO[way]", _CHANGES),
    ("decide", "news = numbered(happened | HAPPENED[way]", _ids("FULL SOC.no-jump")),
    ("decide", "watch = shifted(", _ids(_LEVELS)),
    ("decide", "charge = dwelling(charge, since_s)", _ids(_RELEASE)),
    ("decide", "stage is not BULK and", _ids("REQUEST EQUALISE.asks TIME.invalid-skipped")),
)


def _names(node: ast.AST) -> set[str]:
    named = {each.id for each in ast.walk(node) if isinstance(each, ast.Name)}
    return named | {each.attr for each in ast.walk(node) if isinstance(each, ast.Attribute)}


def settings_in(node: ast.AST) -> list[str]:
    """The settings that a piece of the rules reads, sorted."""
    names = {SETTING_OF_LIMIT.get(name, name) for name in _names(node)}
    return sorted(names & OF_SETTING.keys())


def ways_in(node: ast.AST) -> list[Way]:
    """The rows of the table that it names, in their order."""
    names = _names(node)
    return [way for way in Way if way.name in names]


def breaks_of(function: str, *places: ast.AST) -> frozenset[str]:
    """What a change in pieces of a function may break."""
    found: set[str] = set(OF_FUNCTION[function])
    for place in places:
        for setting in settings_in(place):
            found |= OF_SETTING[setting]
        # A call that is left out takes with it what the function does.
        for name in _names(place) & OF_FUNCTION.keys():
            found |= OF_FUNCTION[name]
        for way in ways_in(place):
            found |= OF_WAY.get(way, frozenset())
        for name in _names(place):
            found |= OF_NAME.get(name, frozenset())
        text = ast.unparse(place)
        for where, begins, breaks in OF_PLACE:
            if where == function and text.startswith(begins):
                found |= breaks
    return frozenset(found)


def breaks_any(breaks: Iterable[str], requirement: str) -> bool:
    """Whether a requirement is among those, by its id or by its group."""
    names = set(breaks)
    return requirement in names or requirement.partition(".")[0] in names
