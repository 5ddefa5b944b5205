"""The types that travel: a case becomes a run, a run becomes findings and outcomes.

Each is plain, frozen and can be stored. Nothing downstream knows how the thing upstream was made:
a run of a C program, of the reference, or of a recorded log is judged the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from ctrl.settings import Settings

Floats = npt.NDArray[np.float64]
Stages = npt.NDArray[np.int8]
Flags = npt.NDArray[np.bool_]

REQUIRED_COLUMNS = ("t", "v", "i")
OPTIONAL_COLUMNS = ("cell_max_v", "temp_c", "temp_max_c")
ANSWER_COLUMNS = ("stage", "soc", "full_reset", "voltage_request_v", "current_request_a")
FEATURES = (
    "soc",
    "full_reset",
    "requests",
    "float_timer",
    "return_voltage",
    "return_soc",
    "sag_pause",
    "sag_restart",
    "confirm",
    "taper",
    "wait",
    "empty_reset",
    "cell_protection",
    "temperature_protection",
    "compensation",
    "power_cycle",
    "equalisation",
    "compensation_limits",
    "sensor_checks",
)


def needed_features(settings: Settings) -> set[str]:
    """The features without which a controller cannot follow these settings."""
    shifts = settings.compensation_v_per_c != 0
    limits = (settings.compensation_min_c, settings.compensation_max_c)
    checks = (settings.sensor_lost_s, settings.sensor_frozen_s, settings.sensor_jump_c)
    needed = {
        "float_timer": settings.float_s is not None,
        "sag_pause": settings.on_sag == "pause",
        "sag_restart": settings.on_sag == "restart",
        "confirm": settings.confirm_s > 0,
        "taper": settings.taper_a is not None,
        "wait": settings.on_unconfirmed == "wait",
        "compensation": shifts,
        "equalisation": settings.equalisation_v is not None,
        "compensation_limits": shifts and limits != (None, None),
        "sensor_checks": shifts and checks != (None, None, None),
    }
    return {name for name, is_needed in needed.items() if is_needed}


@frozen(eq=False)
class Trace:
    """Samples in the order in which they reach the controller.

    Every column is a float64 array of the same length; NaN is a reading that is missing.
    A column that the trace does not have is None.

    Attributes:
        t: time stamp, s.
        v: pack terminal voltage as the pack's meter reads it, V.
        i: current, A, positive while charging.
        cell_max_v: highest cell voltage, V.
        temp_c: coldest cell sensor, degrees Celsius.
        temp_max_c: hottest cell sensor, degrees Celsius.
    """

    t: Floats
    v: Floats
    i: Floats
    cell_max_v: Floats | None = None
    temp_c: Floats | None = None
    temp_max_c: Floats | None = None

    def __attrs_post_init__(self) -> None:
        lengths = {name: len(self.column(name)) for name in self.columns}
        if len(set(lengths.values())) > 1:
            raise ValueError(f"the columns of a trace differ in length: {lengths}")

    def __len__(self) -> int:
        return len(self.t)

    @property
    def columns(self) -> tuple[str, ...]:
        """The names of the columns that the trace has, in the order of the line protocol."""
        present = tuple(name for name in OPTIONAL_COLUMNS if getattr(self, name) is not None)
        return REQUIRED_COLUMNS + present

    def column(self, name: str) -> Floats:
        """One column; raises `KeyError` when the trace does not have it."""
        values: Floats | None = getattr(self, name) if name in _ALL_COLUMNS else None
        if values is None:
            raise KeyError(name)
        return values

    def part(self, start: int, stop: int) -> Trace:
        """The samples from `start` up to, not including, `stop`, as views."""
        return Trace(**{name: self.column(name)[start:stop] for name in self.columns})

    def rows(self) -> list[list[float | None]]:
        """The samples as rows of the line protocol: what is not finite becomes None."""
        table = np.column_stack([self.column(name) for name in self.columns])
        whole: list[list[float | None]] = table.tolist()
        for row, column in zip(*np.nonzero(~np.isfinite(table)), strict=True):
            whole[row][column] = None
        return whole


_ALL_COLUMNS = frozenset(REQUIRED_COLUMNS + OPTIONAL_COLUMNS)


@frozen(eq=False)
class Expected:
    """What a vector says must come out; it never reaches a controller.

    Attributes:
        stages: `(t, stage word)` of the first sample and of every sample with a new stage.
        resets: time stamps of the full resets, s.
        soc: `(t, soc, tolerance)` of the counts that are checked.
    """

    stages: tuple[tuple[float, str], ...]
    resets: tuple[float, ...] = ()
    soc: tuple[tuple[float, float, float], ...] = ()


@frozen(eq=False)
class Case:
    """One thing to try on a controller: settings, a starting count and a trace.

    Attributes:
        id: stable slug, the vector's id where the case is one.
        settings: what the controller is started with.
        trace: the samples.
        soc: starting state of charge, 0..1.
        power_cycles: the controller loses power just before the sample of each of these indices.
        cuts: the indices at which the trace is cut into messages; none leaves it to the attachment.
        expected: what must come out, where the case knows it.
        features: what the case needs the controller to claim.
        requirements: the requirements that the case is about; empty for all.
        equalise_requests: somebody asks for an equalisation just before the sample of each of these
            indices; where power is lost there too, that comes first.
    """

    id: str
    settings: Settings
    trace: Trace
    soc: float = 0.5
    power_cycles: tuple[int, ...] = ()
    cuts: tuple[int, ...] = ()
    expected: Expected | None = None
    features: frozenset[str] = frozenset()
    requirements: tuple[str, ...] = ()
    equalise_requests: tuple[int, ...] = ()

    def __attrs_post_init__(self) -> None:
        edges = (*self.cuts, *self.power_cycles, *self.equalise_requests)
        outside = [k for k in edges if not 0 <= k < len(self.trace)]
        if outside:
            raise ValueError(f"case {self.id}: no sample has the index {outside[0]}")

    def stretches(self) -> Iterator[tuple[int, int, bool]]:
        """The trace cut at whatever comes between samples: `(start, stop, power cycle before it)`.

        It is cut at `equalise_requests` too: one at the start of a stretch comes before it.
        """
        cycles = set(self.power_cycles)
        edges = sorted({0, len(self.trace), *self.cuts, *cycles, *self.equalise_requests})
        for start, stop in pairwise(edges):
            yield start, stop, start in cycles


# Stands where nobody tells the version of a controller or what it is written in.
UNTOLD = "unknown"


@frozen
class Identity:
    """Who a controller says it is: the implementation, not the way it is attached.

    Attributes:
        name: the controller's own name.
        version: the controller's own version.
        language: what it is written in.
        features: what it claims (`FEATURES`); only claimed features are judged.
        fixed: the settings it was built with, where they cannot be set: `Settings`, or those of
            its role.
    """

    name: str
    version: str
    language: str
    features: frozenset[str]
    fixed: Any = None

    @property
    def in_words(self) -> str:
        """The name, and what else is known."""
        version = "" if self.version == UNTOLD else f" {self.version}"
        language = "" if self.language == UNTOLD else f", written in {self.language}"
        return f"{self.name}{version}{language}"


@frozen(eq=False)
class Answers:
    """What a controller answered, one entry a sample; None for a column that it leaves out.

    Attributes:
        stage: `ctrl.vocabulary.Stage` as int8.
        soc: fraction 0..1.
        full_reset: true on the sample of a full reset.
        voltage_request_v: voltage asked for, V.
        current_request_a: current asked for, A.
    """

    stage: Stages
    soc: Floats | None = None
    full_reset: Flags | None = None
    voltage_request_v: Floats | None = None
    current_request_a: Floats | None = None

    def __len__(self) -> int:
        return len(self.stage)

    @classmethod
    def joined(cls, parts: list[Answers]) -> Answers:
        """The answers of consecutive stretches as one.

        Raises:
            ValueError: there are none, or a column is in some of them and not in others.
        """
        if not parts:
            raise ValueError("there are no answers to join")

        def one(name: str) -> Any:
            columns = [getattr(part, name) for part in parts]
            present = [column for column in columns if column is not None]
            if not present:
                return None
            if len(present) != len(columns):
                raise ValueError(f"column {name} is in some answers of the run and not in others")
            return np.concatenate(present)

        return cls(**{name: one(name) for name in ANSWER_COLUMNS})


@frozen(eq=False)
class Run:
    """A case, and what one controller answered to it.

    Attributes:
        case: what was tried.
        identity: who answered.
        answers: one entry for each sample of the case.
    """

    case: Case
    identity: Identity
    answers: Answers


@frozen
class Finding:
    """One way in which a controller broke one requirement.

    Attributes:
        requirement: id of the requirement.
        case: id of the case.
        t: time stamp of the sample, s (NaN where there is none).
        index: index of the sample in the case's trace, counted from 0 (-1 where there is none).
        observed: what the controller did.
        expected: what the requirement asks for.
        margin: how far from the limit, in `unit`; 0 where nothing can be measured.
        unit: `mV`, `s`, `A`, `SoC`, or empty.
        sentence: the same in plain words.
        detail: what else helps: last line sent and received, standard error.
    """

    requirement: str
    case: str
    t: float
    index: int
    observed: str
    expected: str
    margin: float
    unit: str
    sentence: str
    detail: str = field(default="", kw_only=True)


class Outcome(Enum):
    """What is known of one requirement after the cases have run."""

    PASS = "pass"
    FAIL = "fail"
    NOT_EXERCISED = "not exercised"
    NOT_CLAIMED = "not claimed"
    NOT_OBSERVABLE = "not observable"
    ERROR = "error"
    UNKNOWN = "unknown"
