"""Mutants of the settings: numbers a little off, one in the place of another, words taken for others."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any

from attrs import evolve

from ctrl.limits import STEP_BACK_S, Limits
from ctrl.settings import ON_SAG_WORDS, ON_UNCONFIRMED_WORDS, OPTIONAL_SETTINGS
from ctrl.state import Output, Sample, State
from ctrl.vocabulary import Stage
from harness.zoo.mutants.breaks import ENTERING, OF_SETTING
from harness.zoo.mutants.mutant import Change, Mutant, Names
from harness.zoo.mutants.operators import SHIFT, SWAP, TIME_SHIFT

# Where such a limit is none, nothing may be stopped by it.
_PROTECTS = ("cell_limit_v", "charge_min_c", "charge_max_c")

Edit = Callable[[SimpleNamespace], None]

# By how much, small and large, and how it is said. A number below 1 with % is a share.
_PACK_V = ((0.005, "5 mV"), (0.1, "100 mV"))
_CELL_V = ((0.002, "2 mV"), (0.02, "20 mV"))
_SECONDS = ((2.5, "2.5 s"), (10.0, "10 s"))
_AMPERES = ((0.5, "0.5 A"), (10.0, "10 A"))
_DEGREES = ((0.2, "0.2 degrees C"), (2.0, "2 degrees C"))
_FELT = ((0.5, "0.5 degrees C"), (5.0, "5 degrees C"))
_COUNT = ((0.001, "0.001"), (0.02, "0.02"))
SHIFTS: dict[str, tuple[tuple[float, str], ...]] = {
    "absorption_v": _PACK_V,
    "entry_v": _PACK_V,
    "entry_dwell_s": _SECONDS,
    "hold_s": _SECONDS,
    "sag_v": _PACK_V,
    "full_v": _PACK_V,
    "confirm_s": _SECONDS,
    "taper_a": _AMPERES,
    "wait_limit_s": _SECONDS,
    "float_v": _PACK_V,
    "float_s": _SECONDS,
    "return_v": _PACK_V,
    "return_dwell_s": _SECONDS,
    "return_soc": _COUNT,
    "charge_current_a": _AMPERES,
    "soc_ceiling": _COUNT,
    "empty_v": _PACK_V,
    "empty_dwell_s": _SECONDS,
    "cell_limit_v": _CELL_V,
    "cell_release_v": _CELL_V,
    "charge_min_c": _DEGREES,
    "charge_max_c": _DEGREES,
    "temp_band_c": _DEGREES,
    "trip_dwell_s": _SECONDS,
    "release_dwell_s": _SECONDS,
    "max_gap_s": _SECONDS,
    "reference_c": _FELT,
    "compensation_min_c": _FELT,
    "compensation_max_c": _FELT,
    "sensor_lost_s": _SECONDS,
    "sensor_frozen_s": _SECONDS,
    "sensor_jump_c": ((0.5, "0.5 K"), (5.0, "5 K")),
    "equalisation_v": _PACK_V,
    "equalisation_s": _SECONDS,
    "equalisation_every_s": _SECONDS,
    "equalisation_max_c": _DEGREES,
    "equalisation_loss_s": _SECONDS,
    "equalisation_retry_s": _SECONDS,
}
SHARES: dict[str, tuple[float, float]] = {
    "capacity_ah": (0.01, 0.1),
    "charge_efficiency": (0.01, 0.1),
    "compensation_v_per_c": (0.05, 0.5),
}
RANGES: dict[str, tuple[tuple[float, str], ...]] = {
    "plausible_v": ((0.01, "10 mV"), (1.0, "1 V")),
    "plausible_i": ((0.5, "0.5 A"), (20.0, "20 A")),
}
# The timers and dwells, which may also be off by whole samples.
DURATIONS = (
    "entry_dwell_s",
    "hold_s",
    "confirm_s",
    "wait_limit_s",
    "float_s",
    "return_dwell_s",
    "empty_dwell_s",
    "trip_dwell_s",
    "release_dwell_s",
    "sensor_lost_s",
    "sensor_frozen_s",
    "equalisation_s",
    "equalisation_every_s",
    "equalisation_loss_s",
    "equalisation_retry_s",
)
# The end of the hold and that of the wait after it may each be off by one.
SAMPLES = 3
# What is read, and what is read in its place; the two have one unit and stand near each other.
SWAPS: tuple[tuple[str, str], ...] = (
    ("absorption_v", "entry_v"),
    ("absorption_v", "float_v"),
    ("entry_v", "absorption_v"),
    ("entry_v", "full_v"),
    ("sag_v", "entry_v"),
    ("sag_v", "full_v"),
    ("sag_v", "float_v"),
    ("full_v", "entry_v"),
    ("full_v", "absorption_v"),
    ("full_v", "float_v"),
    ("float_v", "absorption_v"),
    ("float_v", "return_v"),
    ("return_v", "float_v"),
    ("return_v", "empty_v"),
    ("empty_v", "return_v"),
    ("cell_limit_v", "cell_release_v"),
    ("cell_release_v", "cell_limit_v"),
    ("entry_dwell_s", "confirm_s"),
    ("entry_dwell_s", "trip_dwell_s"),
    ("confirm_s", "entry_dwell_s"),
    ("hold_s", "wait_limit_s"),
    ("hold_s", "float_s"),
    ("wait_limit_s", "hold_s"),
    ("wait_limit_s", "confirm_s"),
    ("float_s", "hold_s"),
    ("return_dwell_s", "entry_dwell_s"),
    ("return_dwell_s", "empty_dwell_s"),
    ("empty_dwell_s", "return_dwell_s"),
    ("trip_dwell_s", "release_dwell_s"),
    ("trip_dwell_s", "entry_dwell_s"),
    ("release_dwell_s", "trip_dwell_s"),
    ("return_soc", "soc_ceiling"),
    ("soc_ceiling", "return_soc"),
    ("taper_a", "charge_current_a"),
    ("charge_current_a", "taper_a"),
    ("absorption_v", "equalisation_v"),
    ("float_v", "equalisation_v"),
    ("equalisation_v", "absorption_v"),
    ("equalisation_v", "float_v"),
    ("hold_s", "equalisation_s"),
    ("equalisation_s", "hold_s"),
    ("equalisation_s", "equalisation_retry_s"),
    ("equalisation_every_s", "equalisation_retry_s"),
    ("equalisation_every_s", "equalisation_s"),
    ("equalisation_retry_s", "equalisation_s"),
    ("equalisation_retry_s", "equalisation_every_s"),
    ("equalisation_loss_s", "trip_dwell_s"),
    ("equalisation_loss_s", "return_dwell_s"),
    ("trip_dwell_s", "equalisation_loss_s"),
    ("equalisation_max_c", "charge_max_c"),
    ("charge_max_c", "equalisation_max_c"),
    ("compensation_min_c", "charge_min_c"),
    ("compensation_min_c", "compensation_max_c"),
    ("compensation_max_c", "charge_max_c"),
    ("compensation_max_c", "compensation_min_c"),
    ("compensation_max_c", "equalisation_max_c"),
    ("sensor_lost_s", "sensor_frozen_s"),
    ("sensor_frozen_s", "sensor_lost_s"),
    ("sensor_lost_s", "max_gap_s"),
)


def edited(edit: Edit) -> Change:
    """The change that makes `limits_of` read other settings than it is given."""

    def change(names: Names) -> None:
        right = names["limits_of"]

        def limits_of(settings: SimpleNamespace) -> Any:
            other = SimpleNamespace(**vars(settings))
            edit(other)
            return right(other)

        names["limits_of"] = limits_of

    return change


def _dashed(setting: str) -> str:
    return setting.replace("_", "-")


def _spelled(amount: str) -> str:
    return (
        amount.replace(" degrees C", "c")
        .replace(" K", "c")
        .replace(" ", "")
        .replace(".", "-")
        .lower()
    )


def _mutant(setting: str, name: str, title: str, edit: Edit) -> Mutant:
    operator = TIME_SHIFT if setting.endswith("_s") else SHIFT
    return Mutant(
        name=f"{operator.name}-{_dashed(setting)}-{name}",
        operator=operator,
        title=title,
        subject=setting,
        breaks=OF_SETTING[setting],
        change=edited(edit),
    )


def _added(setting: str, amount: float) -> Edit:
    def edit(settings: SimpleNamespace) -> None:
        value = getattr(settings, setting)
        if value is not None:
            setattr(settings, setting, value + amount)

    return edit


def _shared(setting: str, factor: float) -> Edit:
    def edit(settings: SimpleNamespace) -> None:
        setattr(settings, setting, getattr(settings, setting) * factor)

    return edit


def _bound(setting: str, k: int, amount: float) -> Edit:
    def edit(settings: SimpleNamespace) -> None:
        bounds = list(getattr(settings, setting))
        bounds[k] += amount
        setattr(settings, setting, tuple(bounds))

    return edit


def _shifts() -> Iterator[Mutant]:
    for setting, amounts in SHIFTS.items():
        long = setting.endswith("_s")
        for amount, said in amounts:
            for sign, less in (
                (-1, "shorter" if long else "lower"),
                (1, "longer" if long else "higher"),
            ):
                yield _mutant(
                    setting,
                    f"{_spelled(said)}-{less}",
                    f"takes {setting} {said} {less} than it is set",
                    _added(setting, sign * amount),
                )
    for setting, shares in SHARES.items():
        for share in shares:
            for sign, less in ((-1, "lower"), (1, "higher")):
                yield _mutant(
                    setting,
                    f"{share * 100:g}-percent-{less}",
                    f"takes {setting} {share:.0%} {less} than it is set",
                    _shared(setting, 1 + sign * share),
                )
    for setting, amounts in RANGES.items():
        for k, end in enumerate(("low", "high")):
            for amount, said in amounts:
                for sign, less in ((-1, "lower"), (1, "higher")):
                    yield _mutant(
                        setting,
                        f"{end}-{_spelled(said)}-{less}",
                        f"takes the {end} bound of {setting} {said} {less} than it is set",
                        _bound(setting, k, sign * amount),
                    )


def _by_samples(setting: str, samples: int) -> Change:
    """A timer that is longer by so many sampling intervals, whatever they are."""

    def change(names: Names) -> None:
        right = names["decide"]
        known: dict[tuple[int, float], Limits] = {}

        def decide(limits: Limits, rule: Any, state: State, sample: Sample) -> tuple[State, Output]:
            interval_s = sample.t - state.t
            if not STEP_BACK_S <= interval_s <= limits.max_gap_s:
                return right(limits, rule, state, sample)  # type: ignore[no-any-return]
            key = id(limits), interval_s
            if key not in known:
                longer_s = getattr(limits, setting) + samples * interval_s
                known[key] = evolve(limits, **{setting: longer_s})
            return right(known[key], rule, state, sample)  # type: ignore[no-any-return]

        def limits_of(settings: SimpleNamespace, right: Any = names["limits_of"]) -> Any:
            known.clear()
            return right(settings)

        names["decide"], names["limits_of"] = decide, limits_of

    return change


def _samples() -> Iterator[Mutant]:
    for setting in DURATIONS:
        for sign, less in ((-1, "early"), (1, "late")):
            yield Mutant(
                name=f"time-{_dashed(setting)}-{SAMPLES}-samples-{less}",
                operator=TIME_SHIFT,
                title=f"sees that {setting} is over {SAMPLES} samples too {less}",
                subject=setting,
                breaks=OF_SETTING[setting],
                change=_by_samples(setting, sign * SAMPLES),
            )


def _other(setting: str, other: str) -> Edit:
    def edit(settings: SimpleNamespace) -> None:
        value, instead = getattr(settings, setting), getattr(settings, other)
        if instead is not None and not (setting in OPTIONAL_SETTINGS and value is None):
            setattr(settings, setting, instead)

    return edit


def _swaps() -> Iterator[Mutant]:
    for setting, other in SWAPS:
        yield Mutant(
            name=f"swap-{_dashed(setting)}-for-{_dashed(other)}",
            operator=SWAP,
            title=f"reads {other} where it should read {setting}",
            subject=setting,
            breaks=OF_SETTING[setting],
            change=edited(_other(setting, other)),
        )


def _worded(setting: str, word: str, other: str) -> Edit:
    def edit(settings: SimpleNamespace) -> None:
        if getattr(settings, setting) == word:
            setattr(settings, setting, other)

    return edit


def _words() -> Iterator[Mutant]:
    for setting, words in (("on_sag", ON_SAG_WORDS), ("on_unconfirmed", ON_UNCONFIRMED_WORDS)):
        for word in words:
            for other in words:
                if other == word:
                    continue
                yield Mutant(
                    name=f"swap-{_dashed(setting)}-{word}-for-{other}",
                    operator=SWAP,
                    title=f"does under {setting} = {word} what belongs to {other}",
                    subject=setting,
                    breaks=OF_SETTING[setting],
                    change=edited(_worded(setting, word, other)),
                )


def _taken(setting: str, *, when_none: bool) -> Edit:
    def edit(settings: SimpleNamespace) -> None:
        none = getattr(settings, setting) is None
        if when_none and none:
            setattr(settings, setting, 0.0)
        elif not when_none and not none:
            setattr(settings, setting, None)

    return edit


def _nones() -> Iterator[Mutant]:
    for setting in OPTIONAL_SETTINGS:
        yield Mutant(
            name=f"swap-{_dashed(setting)}-none-for-zero",
            operator=SWAP,
            title=f"takes {setting} for 0 where it is not set",
            subject=setting,
            breaks=OF_SETTING[setting]
            | (ENTERING[Stage.INHIBITED] if setting in _PROTECTS else frozenset()),
            change=edited(_taken(setting, when_none=True)),
        )
        yield Mutant(
            name=f"swap-{_dashed(setting)}-for-none",
            operator=SWAP,
            title=f"does not look at {setting}: as if it were not set",
            subject=setting,
            breaks=OF_SETTING[setting],
            change=edited(_taken(setting, when_none=False)),
        )


def mutants() -> Iterator[Mutant]:
    """Every number both ways, by a little and by much; every timer by samples; words and places."""
    yield from _shifts()
    yield from _samples()
    yield from _swaps()
    yield from _words()
    yield from _nones()
