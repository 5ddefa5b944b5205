"""Dwells and timers against an independent monitor of past-time temporal logic.

The monitor is the package `rtamt`, which knows nothing of charge control. The reference is run over
samples one second apart, and the monitor judges what it said by formulas in which the settings are
numbers of samples.

Two traps: its discrete mode ignores time stamps, so the samples must be evenly spaced; and
`historically[0:d]` holds at the beginning of a trace, where there is no such history, so
`once[d:d]` stands beside it. Voltages keep off the thresholds, because at a robustness of exactly 0
the monitor cannot tell yes from no.
"""

from __future__ import annotations

import warnings
from typing import Any

import pytest
from attrs import frozen
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, composite

from ctrl.controller import start, step
from ctrl.settings import Settings
from ctrl.state import Sample
from ctrl.vocabulary import Stage

with warnings.catch_warnings():
    # Its parser is older than Python 3.12, where it cannot be imported any more.
    warnings.simplefilter("ignore", DeprecationWarning)
    rtamt = pytest.importorskip("rtamt", exc_type=ImportError)

ENTRY_DWELL, HOLD, CONFIRM, RETURN_DWELL, FLOAT, TRIP, RELEASE = 3, 12, 4, 5, 20, 2, 3


@frozen
class Record:
    """What was read and what was said, one entry a second.

    Attributes:
        signals: the signals by the names that the formulas use.
    """

    signals: dict[str, list[float]]

    def broken(self, formula: str) -> list[int]:
        """The seconds at which the formula does not hold."""
        monitor = rtamt.StlDiscreteTimeSpecification()
        for name in self.signals:
            monitor.declare_var(name, "float")
        monitor.spec = formula
        monitor.parse()
        seconds = len(self.signals["v"])
        robustness = monitor.evaluate({"time": list(range(seconds)), **self.signals})
        assert len(robustness) == seconds
        return [int(t) for t, value in robustness if value < 0.0]


def settings(**changes: Any) -> Settings:
    values: dict[str, Any] = {
        "entry_dwell_s": ENTRY_DWELL,
        "hold_s": HOLD,
        "confirm_s": CONFIRM,
        "on_unconfirmed": "wait",
        "wait_limit_s": 15,
        "return_dwell_s": RETURN_DWELL,
        "return_soc": None,
        "float_s": FLOAT,
        "trip_dwell_s": TRIP,
        "release_dwell_s": RELEASE,
        "charge_min_c": None,
        "charge_max_c": None,
        "empty_v": None,
    }
    return Settings.from_mapping(values | changes)


def recorded(chosen: Settings, readings: list[tuple[float, float]]) -> Record:
    """Run the reference over `(v, cell_max_v)` once a second."""
    state = start(0.5)
    signals: dict[str, list[float]] = {"v": [], "cell": [], "reset": [], "here": []}
    stages = {
        stage: signals.setdefault(stage.word.replace("float", "floating"), []) for stage in Stage
    }
    for t, (v, cell) in enumerate(readings):
        state, output = step(chosen, state, Sample(float(t), v, 0.0, cell))
        signals["v"].append(v)
        signals["cell"].append(cell)
        signals["here"].append(1.0)
        signals["reset"].append(float(output.full_reset))
        for stage, signal in stages.items():
            signal.append(float(output.stage is stage))
    return Record(signals)


# Entry at 55.8 V, full at 55.6 V, return at 53 V; trip at 3.65 V, release at 3.5 V.
LEVELS_V = (56.0, 56.0, 56.0, 55.81, 55.79, 55.61, 55.59, 54.0, 53.01, 52.99, 50.0)
CELLS_V = (3.4, 3.4, 3.4, 3.4, 3.49, 3.51, 3.64, 3.66)


@composite
def records(draw: DrawFn, /, **changes: Any) -> Record:
    """The reference over stretches that last up to a little longer than each timer."""
    stretch = st.tuples(
        st.sampled_from((1, 2, 3, 4, 5, 6, HOLD, HOLD + CONFIRM, HOLD + CONFIRM + 4, FLOAT + 1)),
        st.sampled_from(LEVELS_V),
        st.sampled_from(CELLS_V),
    )
    stretches = draw(st.lists(stretch, min_size=4, max_size=16))
    readings = [(v, cell) for count, v, cell in stretches for _ in range(count)]
    return recorded(settings(**changes), readings)


def lasting(condition: str, seconds: int) -> str:
    """The condition was true for so long, and there were samples all the while."""
    return f"(historically[0:{seconds}]({condition}) and once[{seconds}:{seconds}](here >= 0.5))"


def before(condition: str, seconds: int) -> str:
    """The condition was true at every one of the seconds before this one."""
    history = f"historically[1:{seconds}]({condition})"
    return f"({history} and once[{seconds}:{seconds}](here >= 0.5))"


RESET = "(reset >= 0.5)"
FULL = "(v >= 55.6)"
ENTERS_HOLD = "((absorption >= 0.5) and once[1:1](bulk >= 0.5))"
LEAVES_FLOAT = "((bulk >= 0.5) and once[1:1](floating >= 0.5))"
TRIPS = "((inhibited >= 0.5) and once[1:1](inhibited < 0.5))"
LETS_GO = "((bulk >= 0.5) and once[1:1](inhibited >= 0.5))"
LOW = "(v < 53.0)"

# What must have been true of the past where something happened.
NEVER_TOO_EARLY = {
    "reset needs full_v for confirm_s": f"{RESET} implies {lasting(FULL, CONFIRM)}",
    "reset needs a hold of hold_s before the confirmation": (
        f"{RESET} implies {before('absorption >= 0.5', HOLD + CONFIRM)}"
    ),
    "entry needs entry_v for entry_dwell_s": (
        f"{ENTERS_HOLD} implies {lasting('v >= 55.8', ENTRY_DWELL)}"
    ),
    "absorption is entered from bulk alone": (
        "(absorption >= 0.5) implies once[1:1]((absorption >= 0.5) or (bulk >= 0.5))"
    ),
    "float is left for bulk by a low voltage or its timer": (
        f"{LEAVES_FLOAT} implies"
        f" ({lasting(LOW, RETURN_DWELL)} or {before('floating >= 0.5', FLOAT)})"
    ),
    "trip needs the cell at its limit for trip_dwell_s": (
        f"{TRIPS} implies {lasting('cell >= 3.65', TRIP)}"
    ),
    "release needs the cell at its release for release_dwell_s": (
        f"{LETS_GO} implies {lasting('cell <= 3.5', RELEASE)}"
    ),
    "reset ends in float": f"{RESET} implies ((floating >= 0.5) and once[1:1](absorption >= 0.5))",
}

# What must happen where the past asks for it.
NEVER_TOO_LATE = {
    "bulk ends with entry_v for entry_dwell_s": (
        f"({lasting('v >= 55.8', ENTRY_DWELL)} and {before('bulk >= 0.5', ENTRY_DWELL)})"
        " implies (bulk < 0.5)"
    ),
    "float ends with a voltage under return_v for return_dwell_s": (
        f"({lasting(LOW, RETURN_DWELL)} and {before('floating >= 0.5', RETURN_DWELL)})"
        " implies (floating < 0.5)"
    ),
    "float ends with its timer": f"{before('floating >= 0.5', FLOAT)} implies (floating < 0.5)",
    "cell at its limit for trip_dwell_s inhibits": (
        f"{lasting('cell >= 3.65', TRIP)} implies (inhibited >= 0.5)"
    ),
    "cell at its release for release_dwell_s lets go": (
        f"({lasting('cell <= 3.5', RELEASE)} and {before('inhibited >= 0.5', RELEASE)})"
        " implies (inhibited < 0.5)"
    ),
    "full_v for confirm_s after the hold ends absorption": (
        f"({lasting(FULL, CONFIRM)} and {before('absorption >= 0.5', HOLD + CONFIRM)})"
        " implies (absorption < 0.5)"
    ),
}


@pytest.mark.parametrize("name", NEVER_TOO_EARLY)
def test_nothing_happens_too_early(name: str) -> None:
    @given(records())
    def holds(record: Record) -> None:
        assert record.broken(NEVER_TOO_EARLY[name]) == []

    holds()


@pytest.mark.parametrize("name", NEVER_TOO_LATE)
def test_nothing_happens_too_late(name: str) -> None:
    @given(records())
    def holds(record: Record) -> None:
        assert record.broken(NEVER_TOO_LATE[name]) == []

    holds()


@given(records(on_sag="pause", confirm_s=0, float_s=None, on_unconfirmed="float"))
def test_paused_hold_is_never_shorter_than_its_length(record: Record) -> None:
    assert record.broken(f"{RESET} implies {before('absorption >= 0.5', HOLD)}") == []


@given(records(on_sag="restart", confirm_s=0, float_s=None, on_unconfirmed="float"))
def test_restarted_hold_ends_only_after_its_whole_length_without_a_sag(record: Record) -> None:
    unbroken = lasting("v >= 55.8", HOLD)
    ends = "((floating >= 0.5) and once[1:1](absorption >= 0.5))"
    assert record.broken(f"{ends} implies {unbroken}") == []


# The monitor must be able to say no: each formula that forbids is given a run that breaks it.

FULL_RUN = [(56.0, 3.4)] * (ENTRY_DWELL + HOLD + CONFIRM + 1)


def test_full_run_resets_on_the_very_second() -> None:
    record = recorded(settings(), FULL_RUN)
    assert record.signals["reset"][-1] == 1.0
    assert sum(record.signals["reset"]) == 1.0
    assert all(record.broken(formula) == [] for formula in NEVER_TOO_EARLY.values())
    assert all(record.broken(formula) == [] for formula in NEVER_TOO_LATE.values())


@pytest.mark.parametrize("name", NEVER_TOO_EARLY)
def test_monitor_finds_what_is_too_early(name: str) -> None:
    """The settings of another controller, which does everything a second or more too soon."""
    hasty = settings(
        entry_dwell_s=ENTRY_DWELL - 1,
        hold_s=HOLD - 1,
        confirm_s=CONFIRM - 1,
        return_dwell_s=RETURN_DWELL - 1,
        float_s=FLOAT - 1,
        trip_dwell_s=TRIP - 1,
        release_dwell_s=RELEASE - 1,
    )
    readings = [*[(54.0, 3.4)] * 5, *[(56.0, 3.4)] * 14, *[(55.59, 3.4)] * 5, *[(55.61, 3.4)] * 5]
    readings += [*[(52.0, 3.4)] * 5, *[(54.0, 3.66)] * 4, *[(54.0, 3.4)] * 9]
    record = recorded(hasty, FULL_RUN if "hold_s" in name else readings)
    if name in ("absorption is entered from bulk alone", "reset ends in float"):
        for stage in ("bulk", "absorption", "floating"):
            record.signals[stage].reverse()
    assert record.broken(NEVER_TOO_EARLY[name]) != []


@pytest.mark.parametrize("name", NEVER_TOO_LATE)
def test_monitor_finds_what_is_too_late(name: str) -> None:
    """The settings of another controller, which does everything a second too late."""
    slow = settings(
        entry_dwell_s=ENTRY_DWELL + 1,
        hold_s=HOLD + 1,
        confirm_s=CONFIRM + 1,
        return_dwell_s=RETURN_DWELL + 1,
        float_s=FLOAT + 1,
        trip_dwell_s=TRIP + 1,
        release_dwell_s=RELEASE + 1,
    )
    readings = [*[(54.0, 3.4)] * 5, *[(56.0, 3.4)] * 50, *[(56.0, 3.4)] * 50]
    readings += [*[(52.0, 3.4)] * 15, *[(54.0, 3.66)] * 6, *[(54.0, 3.4)] * 9]
    low = [*FULL_RUN, *[(56.0, 3.4)] * 3, *[(52.0, 3.4)] * 9]
    broken = [recorded(slow, run).broken(NEVER_TOO_LATE[name]) for run in (readings, low)]
    assert broken != [[], []]
