"""What a log cannot show, requirement by requirement, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from attrs import frozen

from ctrl.settings import Settings
from harness.logs.log import PackLog
from harness.logs.sampling import Sampling
from harness.rules import (
    REQUIREMENTS,
    absorption,
    blame,
    count,
    entry,
    equalising,
    float_stage,
    full,
    trips,
)
from harness.rules import request as asking
from harness.rules.requirement import Requirement

# A count in coarser steps than this does not show what one interval adds.
FINE_SOC = 1e-6
# Judged by how long a condition goes on without the decision: seen on any log, if for long enough.
# Those that go together, and the dwells after which each is due.
OVERDUE = (
    (
        frozenset({entry.LATE, float_stage.LOW, trips.RELEASES}),
        ("entry_dwell_s", "return_dwell_s", "release_dwell_s"),
    ),
    (frozenset({trips.CELL_TRIPS, trips.TEMPERATURE_TRIPS}), ("trip_dwell_s",)),
)
# Judged row by row, whatever was before.
WITHOUT_HISTORY = frozenset(
    {
        count.COUNTS,
        count.EFFICIENCY,
        count.CEILING,
        count.BOUNDS,
        count.NO_JUMP,
        asking.VOLTAGE,
        asking.CURRENT,
        asking.NEVER_ABOVE,
        asking.COMPENSATED,
        asking.ASKS,
        asking.BOUNDED,
        equalising.ALLOWED,
        full.SETS_ONE,
        full.BLOCKED,
        full.NO_RESET,
    }
)
# Nobody who asks for an equalisation is in a log.
_BY_BEING_ASKED = frozenset({equalising.DUE, equalising.STARTS, equalising.REMEMBERED})
_BY_THE_HOTTEST = frozenset(
    {equalising.COOL, equalising.HEAT, equalising.WHOLE, equalising.RETRY, equalising.TIME}
)
_BY_THE_SENSOR = frozenset({asking.JUMP, asking.MISSING, asking.FROZEN, asking.FOUND_AGAIN})
_BY_EVERY_SAMPLE = frozenset(
    {
        count.COUNTS,
        count.EFFICIENCY,
        count.CEILING,
        count.NO_JUMP,
        count.EMPTY,
        absorption.VOLTAGE,
        absorption.CONFIRMED,
        absorption.TAPER,
        absorption.GRANTED,
        absorption.DENIED,
        absorption.WAIT,
        absorption.SAG["run"],
        absorption.SAG["pause"],
        absorption.SAG["restart"],
        trips.NO_READING,
        *_BY_THE_SENSOR,
        *(r.id for r in REQUIREMENTS if r.group in ("TIME", "POWER")),
        *({r.id for r in REQUIREMENTS if r.group == "EQUALISE"} - WITHOUT_HISTORY),
    }
)
_BY_THE_COUNT = frozenset(
    {
        count.COUNTS,
        count.EFFICIENCY,
        count.CEILING,
        count.NO_JUMP,
        count.EMPTY,
        count.GAP,
        count.KEEPS,
    }
)
_BY_CAUSES = frozenset(
    {
        trips.CELL_HELD,
        trips.TEMPERATURE_HELD,
        trips.NO_READING,
        trips.RELEASES,
        trips.RELEASE_HELD,
    }
)
BY_REQUEST_V = frozenset(
    {
        asking.VOLTAGE,
        asking.NEVER_ABOVE,
        asking.COMPENSATED,
        asking.ASKS,
        *(r.id for r in REQUIREMENTS if r.group == "COMPENSATE"),
    }
)
_BY_THRESHOLDS = (
    BY_REQUEST_V
    | {
        r.id
        for r in REQUIREMENTS
        if r.group in ("ENTRY", "HOLD", "FULL", "FLOAT", "RETURN", "TIME")
    }
    | {blame.FORGETS}
)
# Where float is left for a reason, that reason must be in sight.
_BY_RETURNS = frozenset(
    {
        float_stage.STAYS,
        float_stage.FULL_LENGTH,
        float_stage.LOW_SOC,
        float_stage.VOLTAGE_HELD,
    }
)


@frozen(eq=False)
class View:
    """What one pack's log shows.

    Attributes:
        log: the log.
        settings: the settings that the controller ran with.
        sampling: how finely it was written.
        steps: the step in which each column is written; 0 for those without one.
        complete: whether every sample that the controller saw is a row.
    """

    log: PackLog
    settings: Settings
    sampling: Sampling
    steps: Mapping[str, float]
    complete: bool

    def reasons(self) -> dict[str, str]:
        """Why each requirement that the log cannot show is not observable, by its id."""
        return {r.id: reason for r in REQUIREMENTS if (reason := self._reason(r))}

    def _reason(self, requirement: Requirement) -> str:
        if requirement.group == "LINK":
            return "no controller runs: a log is read, not asked"
        if requirement.id == count.STARTS:
            return "a log does not say with which count the controller was started"
        if requirement.id in _BY_BEING_ASKED:
            return "a log does not say when somebody asked for an equalisation"
        return (
            self._by_columns(requirement)
            or self._by_steps(requirement.id)
            or ("" if self.complete else self._by_interval(requirement.id))
        )

    def _by_columns(self, requirement: Requirement) -> str:
        log, s, name = self.log, self.settings, requirement.id
        for feature, column in (
            ("soc", "soc"),
            ("full_reset", "full_reset"),
            ("cell_protection", "cell_max_v"),
        ):
            has = log.trace.columns if column == "cell_max_v" else log.answers
            if feature in requirement.features and column not in has:
                return f"the log has no column {column}"
        if "requests" in requirement.features:
            column = "current_request_a" if name == asking.CURRENT else "voltage_request_v"
            if column not in log.answers:
                return f"the log has no column {column}"
            if column in log.blank:
                return self._blank(column)
        temperatures = {"temp_c", "temp_max_c"} & set(log.trace.columns)
        if "temperature_protection" in requirement.features and not temperatures:
            return "the log has no column temp_c"
        if name in _BY_THE_HOTTEST and s.equalisation_max_c is not None and not temperatures:
            return "heat ends an equalisation, and the log has no column temp_c"
        if "soc" in log.blank and "soc" in requirement.features and name != count.BOUNDS:
            return self._blank("soc")
        unseen = [
            column
            for column, missing in (
                (
                    "cell_max_v",
                    s.cell_limit_v is not None and "cell_max_v" not in log.trace.columns,
                ),
                (
                    "temp_c",
                    (s.charge_min_c is not None or s.charge_max_c is not None) and not temperatures,
                ),
            )
            if missing
        ]
        if name in _BY_CAUSES and unseen:
            return f"what trips protection is not all in the log: it has no column {unseen[0]}"
        if name in _BY_THRESHOLDS and s.compensation_v_per_c != 0.0 and log.trace.temp_c is None:
            return "the thresholds move with the temperature, and the log has no column temp_c"
        if name in _BY_RETURNS and s.return_soc is not None and log.soc is None:
            return "float may be left for a low count, and the log has no column soc"
        return ""

    def _loses_temperatures(self) -> bool:
        temp_c = self.log.trace.temp_c
        moves = self.settings.compensation_v_per_c != 0.0
        return moves and temp_c is not None and not bool(np.isfinite(temp_c).all())

    def _blank(self, column: str) -> str:
        how_many, line = self.log.blank[column]
        return f"{column} is blank in {how_many:,} rows, the first in line {line}"

    def _by_steps(self, name: str) -> str:
        step = self.steps.get("soc", 0.0)
        if name not in _BY_THE_COUNT or step <= FINE_SOC:
            return ""
        return (
            f"soc is written in steps of {step:g}; what one interval adds is seen in steps of "
            f"{FINE_SOC:g} or finer"
        )

    def _by_interval(self, name: str) -> str:
        """Why a log that lacks samples cannot show it; empty where it can."""
        s, longest_s = self.settings, self.sampling.longest_s
        rows = f"the log has a row every {longest_s:g} s"
        if name in _BY_EVERY_SAMPLE:
            return (
                f"{rows} (the longest interval), and not each sample that the controller saw; "
                "[log] complete = true in the mapping says otherwise"
            )
        for dwell, dwell_s, names in (
            ("entry_dwell_s", s.entry_dwell_s, {entry.HELD}),
            ("return_dwell_s", s.return_dwell_s, _BY_RETURNS),
            (
                "trip_dwell_s",
                s.trip_dwell_s,
                {trips.CELL_HELD, trips.TEMPERATURE_HELD},
            ),
            ("release_dwell_s", s.release_dwell_s, {trips.RELEASE_HELD}),
        ):
            if name in names and longest_s >= dwell_s:
                return f"{rows}, {dwell} is {dwell_s:g} s: what decides may lie between two rows"
        hidden = {entry.ONLY, float_stage.TO_BULK, trips.TO_BULK, absorption.ENDS, full.AT_END}
        if name in BY_REQUEST_V and self._loses_temperatures():
            return f"{rows}, and some rows have no temp_c: the last one may lie between two rows"
        if name in hidden and longest_s >= s.entry_dwell_s:
            return (
                f"{rows}, entry_dwell_s is {s.entry_dwell_s:g} s: a whole stretch of bulk may lie "
                "between two rows"
            )
        for timer, timer_s, names in (
            (
                "hold_s",
                s.hold_s,
                {absorption.FULL_LENGTH, absorption.ENDS, full.AT_END, entry.ONLY},
            ),
            ("float_s", s.float_s, {float_stage.FULL_LENGTH, float_stage.ENDS}),
        ):
            if name in names and timer_s is not None and timer_s <= 2.0 * longest_s:
                return f"{rows}, {timer} is {timer_s:g} s: it may begin and end between two rows"
        return ""


def in_every(reasons: Iterable[dict[str, str]]) -> dict[str, str]:
    """What none of several packs can show, with the reason of the first."""
    each = list(reasons)
    first = each[0] if each else {}
    return {name: first[name] for name in first if all(name in other for other in each)}
