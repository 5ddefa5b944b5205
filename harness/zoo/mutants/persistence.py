"""Mutants of what is remembered: kept over a loss of power, or forgotten in the middle of a life."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import isfinite, nan
from typing import Any

from attrs import evolve, fields

from ctrl.limits import STEP_BACK_S, Limits
from ctrl.state import AT_POWER_UP, QUIET, Charge, Output, Sample, State, Upkeep, Watch
from ctrl.transitions import Way
from ctrl.vocabulary import Stage
from harness.zoo.mutants.breaks import ENTERING, OF_SETTING, OF_WAY
from harness.zoo.mutants.mutant import Change, Mutant, Names
from harness.zoo.mutants.operators import PERSISTENCE
from harness.zoo.mutants.timers import OF_RUNNING, RUNNING

_CHARGE = tuple(each.name for each in fields(Charge))
_UPKEEP = tuple(each.name for each in fields(Upkeep))
POWER = frozenset({"POWER.forgets", "POWER.starts-in-bulk"})
_SKIPPED = "TIME.invalid-skipped"
_HOLD = OF_SETTING["hold_s"]

# (limits, state before, sample, state after, output) -> whether it is the moment
Moment = Callable[[Limits, State, Sample, State], bool]


def _with(state: State, part: str, value: Any) -> State:
    """A state with one of its running parts changed."""
    if part in _CHARGE:
        return evolve(state, charge=evolve(state.charge, **{part: value}))
    if part in _UPKEEP:
        upkeep = evolve(state.watch.upkeep, **{part: value})
        return evolve(state, watch=evolve(state.watch, upkeep=upkeep))
    return evolve(state, watch=evolve(state.watch, **{part: value, "quiet": False}))


def _of(state: State, part: str) -> Any:
    return _part(state.charge, state.watch, part)


def _idle(part: str) -> Any:
    return _part(AT_POWER_UP, QUIET, part)


def _part(charge: Charge, watch: Watch, part: str) -> Any:
    if part in _CHARGE:
        return getattr(charge, part)
    return getattr(watch.upkeep if part in _UPKEEP else watch, part)


def _kept_over_power(part: str) -> Change:
    def change(names: Names) -> None:
        right = names["power_cycle"]
        names["power_cycle"] = lambda state: _with(right(state), part, _of(state, part))

    return change


def _stage_kept(names: Names) -> None:
    right = names["power_cycle"]
    names["power_cycle"] = lambda state: evolve(right(state), charge=state.charge)


def _sample_kept(names: Names) -> None:
    right = names["power_cycle"]
    names["power_cycle"] = lambda state: evolve(right(state), t=state.t, i=state.i)


def _all_kept(names: Names) -> None:
    names["power_cycle"] = lambda state: state


def _count_after_power(soc: float) -> Change:
    def change(names: Names) -> None:
        right = names["powered_up"]
        names["power_cycle"] = lambda _: right(soc)

    return change


def _invalid(limits: Limits, before: State, sample: Sample, after: State) -> bool:  # noqa: ARG001
    readings = sample.t, sample.v, sample.i
    return not (
        all(map(isfinite, readings))
        and limits.low_v <= sample.v <= limits.high_v
        and limits.low_i <= sample.i <= limits.high_i
    )


def _gap(limits: Limits, before: State, sample: Sample, after: State) -> bool:
    return not _invalid(limits, before, sample, after) and sample.t - before.t > limits.max_gap_s


def _back(limits: Limits, before: State, sample: Sample, after: State) -> bool:
    return not _invalid(limits, before, sample, after) and sample.t - before.t < STEP_BACK_S


def _stage_changed(limits: Limits, before: State, sample: Sample, after: State) -> bool:  # noqa: ARG001
    return before.charge.stage is not after.charge.stage


def _unread(reading: str) -> Moment:
    def moment(limits: Limits, before: State, sample: Sample, after: State) -> bool:
        if _invalid(limits, before, sample, after):
            return False
        return not isfinite(getattr(sample, reading))

    return moment


def _forgotten(part: str, moment: Moment) -> Change:
    def change(names: Names) -> None:
        right = names["decide"]

        def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
            after, output = right(limits, rule, state, sample)
            if moment(limits, state, sample, after) and _of(after, part) != _idle(part):
                after = _with(after, part, _idle(part))
            return after, output

        names["decide"] = decide

    return change


def _restarted(moment: Moment) -> Change:
    """The timer of absorption or float begins again."""

    def change(names: Names) -> None:
        right = names["decide"]

        def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
            after, output = right(limits, rule, state, sample)
            charge = after.charge
            if moment(limits, state, sample, after) and isfinite(charge.timer_from_s + sample.t):
                charge = evolve(charge, timer_from_s=sample.t, counted_s=0.0)
            return evolve(after, charge=charge), output

        names["decide"] = decide

    return change


def _last_lost(names: Names) -> None:
    """After a reading that cannot be believed the last good one is forgotten."""
    right = names["decide"]

    def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
        after, output = right(limits, rule, state, sample)
        if _invalid(limits, state, sample, after):
            after = evolve(after, t=nan, i=nan)
        return after, output

    names["decide"] = decide


def _last_reading(reading: str) -> Change:
    """A reading that is missing is taken to be what it was last."""

    def change(names: Names) -> None:
        right = names["decide"]

        def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
            value = getattr(sample, reading)
            if not isfinite(value):
                sample = evolve(sample, **{reading: names.get("memory", nan)})
            elif not _invalid(limits, state, sample, state):
                names["memory"] = value
            return right(limits, rule, state, sample)  # type: ignore[no-any-return]

        def powered_up(soc: float, right: Any = names["powered_up"]) -> Any:
            names["memory"] = nan
            return right(soc)

        names["decide"], names["powered_up"] = decide, powered_up

    return change


_KEPT_OVER_POWER = (
    "cell_since_s",
    "temperature_since_s",
    "tripped",
    "empty_since_s",
    "emptied",
    "first_t",
    "shift_v",
    "sensor",
    "dwell_since_s",
    *_UPKEEP,
)
_OF_POWER: dict[str, frozenset[str]] = {
    "tripped": ENTERING[Stage.INHIBITED],
    "emptied": frozenset({"SOC.empty"}),
    "first_t": frozenset({"PROTECT.no-reading"}),
    "shift_v": frozenset({"REQUEST"}),
    "sensor": OF_RUNNING["sensor"],
    **{part: OF_RUNNING[part] for part in _UPKEEP},
}
# Moment, slug, how it is said, what it breaks by itself, and what is forgotten then.
_MOMENTS: tuple[tuple[Moment, str, str, frozenset[str], tuple[str, ...]], ...] = (
    (
        _gap,
        "gap",
        "a gap",
        frozenset(),
        ("tripped", "emptied", "sensor", *_UPKEEP),
    ),
    (
        _back,
        "step-back",
        "a stamp that steps back",
        frozenset(),
        ("tripped", "emptied", "sensor", *_UPKEEP),
    ),
    (
        _invalid,
        "bad-reading",
        "a reading that cannot be believed",
        frozenset({_SKIPPED}),
        (
            "dwell_since_s",
            "counted_s",
            "cell_since_s",
            "temperature_since_s",
            "tripped",
            "empty_since_s",
            "emptied",
            "first_t",
            "shift_v",
            "sensor",
            *_UPKEEP,
        ),
    ),
    (
        _stage_changed,
        "change-of-stage",
        "a change of stage",
        frozenset(),
        (
            *("cell_since_s", "temperature_since_s", "tripped", "empty_since_s", "emptied"),
            *("sensor", *_UPKEEP),
        ),
    ),
    (
        _unread("temp_c"),
        "missing-temperature",
        "a missing temperature",
        frozenset(),
        ("tripped", "sensor", *_UPKEEP),
    ),
    (_unread("cell_max_v"), "missing-cell", "a missing cell voltage", frozenset(), ("tripped",)),
)


def _dashed(part: str) -> str:
    return part.replace("_", "-")


def _mutant(name: str, title: str, subject: str, breaks: frozenset[str], change: Change) -> Mutant:
    return Mutant(f"memory-{name}", PERSISTENCE, title, subject, breaks, change)


def _over_power() -> Iterator[Mutant]:
    for part in _KEPT_OVER_POWER:
        yield _mutant(
            f"{_dashed(part)}-kept-over-power",
            f"{RUNNING[part][1]} survives a loss of power",
            "power",
            POWER | _OF_POWER.get(part, frozenset()),
            _kept_over_power(part),
        )
    for name, title, change in (
        ("stage", "the stage and its timers survive a loss of power", _stage_kept),
        ("last-sample", "the last sample survives a loss of power", _sample_kept),
        ("everything", "everything survives a loss of power", _all_kept),
    ):
        yield _mutant(
            f"{name}-kept-over-power", title, "power", POWER | {"POWER.keeps-soc"}, change
        )
    for value, said in ((0.5, "one half"), (1.0, "full")):
        yield _mutant(
            f"count-{said.replace(' ', '-')}-after-power",
            f"the count is {said} after a loss of power",
            "power",
            frozenset({"POWER.keeps-soc"}),
            _count_after_power(value),
        )


def mutants() -> Iterator[Mutant]:
    """What survives a loss of power, what is forgotten when, and readings that are held."""
    yield from _over_power()
    for moment, slug, said, breaks, parts in _MOMENTS:
        for part in parts:
            yield _mutant(
                f"{_dashed(part)}-forgotten-at-{slug}",
                f"{RUNNING[part][1]} is forgotten at {said}",
                slug,
                breaks | OF_RUNNING[part],
                _forgotten(part, moment),
            )
    for moment, slug, said, broken in (
        (_gap, "gap", "a gap", {"TIME.float-timer-runs-on", "FLOAT.timer-ends"}),
        (
            _invalid,
            "bad-reading",
            "a reading that cannot be believed",
            {_SKIPPED, "FLOAT", *OF_SETTING["hold_s"], *OF_SETTING["equalisation_s"]},
        ),
    ):
        yield _mutant(
            f"timer-restarted-at-{slug}",
            f"the timer of the stage begins again at {said}",
            slug,
            frozenset(broken),
            _restarted(moment),
        )
    yield _mutant(
        "last-sample-forgotten-at-bad-reading",
        "the last good sample is forgotten at a reading that cannot be believed",
        "bad-reading",
        frozenset({_SKIPPED, "SOC", *OF_WAY[Way.TRIP_NO_READING], *OF_SETTING["max_gap_s"]}),
        _last_lost,
    )
    blind = OF_SETTING["equalisation_max_c"]
    for reading, subject, setting, also in (
        ("cell_max_v", "cell voltage", "cell_limit_v", frozenset[str]()),
        ("temp_c", "temperature", "charge_min_c", blind | OF_SETTING["sensor_lost_s"]),
        ("temp_max_c", "highest temperature", "charge_max_c", blind),
    ):
        yield _mutant(
            f"{_dashed(reading)}-held-where-missing",
            f"a {subject} that is missing is taken to be what it was last",
            reading,
            OF_SETTING[setting]
            | OF_SETTING[setting.replace("limit", "release")]
            | also
            | ENTERING[Stage.INHIBITED],
            _last_reading(reading),
        )
