"""What single vectors must expect, worked out here by hand, and that they do not stand on edges."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve

from ctrl import Controller, Sample
from harness.cases import shipped, vector_named
from harness.cases.margins import stages_of
from harness.cases.vector import Vector
from harness.run import Trace

# Bulk is sampled at 0, 0.5, 1.5 ... s, a new segment begins with a sample at its start and goes on
# half an interval later. So the voltage that comes at 5 s stands for 3 s at 8 s, first seen at 8.5 s.
STORIES: dict[str, list[tuple[float, str]]] = {
    "entry/after-dwell": [(0, "bulk"), (23.5, "absorption")],
    "entry/too-short": [(0, "bulk")],
    "entry/flicker-10-mv-under": [(0, "bulk")],
    # 8.5 s + 240 s = 248.5 s; a long segment has 200 intervals, here of 1.2 s: seen at 249.1 s.
    "hold/full-length": [(0, "bulk"), (8.5, "absorption"), (249.1, "float")],
    "hold/bench-360-s": [(0, "bulk"), (8.5, "absorption"), (369.4, "float")],
    # Four tenths of 120 s in a sag: 8.5 s + 120 s + 48 s = 176.5 s.
    "hold/sag-pauses": [(0, "bulk"), (8.5, "absorption"), (177, "float")],
    # The sag ends at 8.5 s + 90 s = 98.5 s; a whole hold from there ends at 218.5 s.
    "hold/sag-restarts": [(0, "bulk"), (8.5, "absorption"), (219, "float")],
    # The hold ends at 128.5 s, seen at 129 s; 20 s of confirmation end at 149 s.
    "full/confirmed": [(0, "bulk"), (8.5, "absorption"), (149.5, "float")],
    "full/wait-ends": [(0, "bulk"), (8.5, "absorption"), (219.5, "float")],
    "full/denied-to-bulk": [
        (0, "bulk"),
        (8.5, "absorption"),
        (129, "bulk"),
        (137.5, "absorption"),
        (258, "float"),
    ],
    "protect/no-reading": [(0, "bulk"), (35.5, "inhibited"), (56, "bulk")],
    "power/in-the-hold": [
        (0, "bulk"),
        (8.5, "absorption"),
        (82.5, "bulk"),
        (86, "absorption"),
        (206.5, "float"),
    ],
    "published/lfp-cccv-16s": [(0, "bulk"), (5810, "absorption"), (9410, "float")],
}


@pytest.mark.parametrize("name", STORIES)
def test_a_story_told_by_hand(name: str) -> None:
    found = vector_named(name).expected.stages
    assert [word for _, word in found] == [word for _, word in STORIES[name]]
    assert [t for t, _ in found] == pytest.approx([t for t, _ in STORIES[name]], abs=1e-6)


def test_what_a_decision_is_taken_by_stays_for_two_samples_more() -> None:
    # Absorption is entered at 8.5 s, the touched voltage goes half an interval after 10.5 s; float
    # is entered on the sample of the reset, and power is lost two samples later.
    touched = vector_named("full/touched-only").trace
    at = touched.t.tolist().index(8.5)
    assert touched.t[at : at + 5].tolist() == [8.5, 9.5, 10.5, 11, 12]
    assert touched.v[at : at + 5].tolist() == [55.9, 55.9, 55.9, 54.3, 54.3]
    cycled = vector_named("power/keeps-a-full-count")
    at = cycled.trace.t.tolist().index(cycled.expected.resets[0])
    assert cycled.power_cycles == (at + 3,)


def test_counts_told_by_hand() -> None:
    # 28 A for half an hour are 14 Ah, a twentieth of 280 Ah; nine tenths of 28 Ah are 25.2 Ah.
    assert vector_named("soc/charging").expected.soc == ((1800, 0.35, 1e-9),)
    assert vector_named("soc/efficiency-of-charging").expected.soc == ((1800, 0.39, 1e-9),)
    assert vector_named("soc/discharging").expected.soc == ((1800, 0.25, 1e-9),)
    assert vector_named("soc/ceiling").expected.soc == ((600, 0.99, 1e-9),)
    # Ten gaps of 21 s at 40 A are 7/3 Ah of 200 Ah.
    assert vector_named("time/short-gap-counts").expected.soc[0][1] == pytest.approx(0.3 + 7 / 600)


def test_the_published_trace_is_the_stored_one_with_the_count_of_its_model() -> None:
    found = vector_named("published/lfp-cccv-16s")
    assert len(found.trace) == 1429
    assert found.trace.v[568 + 13 - 1] == 55.9376
    assert found.soc == 0.2
    # The charge that the model takes between the end of the hold and the end is 1.0762 %.
    t, soc, _ = found.expected.soc[-1]
    assert t == 14280
    assert soc == pytest.approx(0.989238, abs=1e-6)


def test_numbers_of_common_practice_are_marked_as_such() -> None:
    marked = [each for each in shipped() if "common-practice" in each.tags]
    assert len(marked) >= 5
    for each in marked:
        s = each.settings
        assert s.absorption_v == pytest.approx(16 * 3.45)
        assert s.full_v == pytest.approx(16 * 3.445)
        assert s.float_v == pytest.approx(16 * 3.35)


def reference_stages(settings_of: Vector, trace: Trace) -> tuple[list[str], list[float]]:
    controller = Controller(settings_of.settings, settings_of.soc)
    names = ("t", "v", "i", "cell_max_v", "temp_c", "temp_max_c")
    nothing = np.full(len(trace), np.nan)
    table = np.column_stack([trace.column(n) if n in trace.columns else nothing for n in names])
    stages, counts = [], []
    for k, row in enumerate(table.tolist()):
        if k in settings_of.power_cycles:
            controller.power_cycle()
        if k in settings_of.equalise_requests:
            controller.request_equalisation()
        output = controller.step(Sample(*row))
        stages.append(output.stage.word)
        counts.append(output.soc)
    return stages, counts


@pytest.mark.parametrize("seed", range(3))
def test_readings_and_stamps_a_little_off_change_no_line(seed: int) -> None:
    """Whoever rounds a few millivolts or is off by a tenth of an interval sees the same stages."""
    generator = np.random.default_rng(seed)
    for each in shipped():
        if "boundary" in each.tags or each.source == "published":
            continue
        trace, count = each.trace, len(each.trace)
        off = {
            "v": 0.004 * generator.uniform(-1, 1, count),
            "cell_max_v": 0.0015 * generator.uniform(-1, 1, count),
            "temp_c": np.zeros(count),
            "temp_max_c": 0.4 * generator.uniform(-1, 1, count),
        }
        if each.settings.compensation_v_per_c == 0:
            off["temp_c"] = 0.4 * generator.uniform(-1, 1, count)
        steps = np.abs(np.diff(trace.t, prepend=trace.t[0] - 1, append=trace.t[-1] + 1))
        nearest = np.fmin(np.fmin(steps[:-1], steps[1:]), 10.0)
        moved = {
            name: trace.column(name) + off.get(name, np.zeros(count)) for name in trace.columns
        }
        moved["t"] = trace.t + 0.1 * nearest * generator.uniform(-1, 1, count)
        stages, _ = reference_stages(each, evolve(trace, **moved))
        assert stages == stages_of(each.case), each.id


@pytest.mark.parametrize("side", ["left", "right"])
def test_both_rectangle_rules_of_counting_meet_every_expectation(side: str) -> None:
    """The count between two samples may be any between the two rectangle sums."""
    checked = 0
    for each in shipped():
        trace = each.trace
        usable = not each.power_cycles and not each.expected.resets and each.expected.soc
        s, soc = each.settings, each.soc
        valid = np.isfinite(trace.t) & np.isfinite(trace.v) & (np.abs(trace.i) <= s.plausible_i[1])
        if not usable or s.empty_v is not None or not valid.all():
            continue
        counts = [soc]
        for k in range(1, len(trace)):
            interval_s = trace.t[k] - trace.t[k - 1]
            if 0 <= interval_s <= s.max_gap_s:
                amperes = trace.i[k - 1] if side == "left" else trace.i[k]
                part = amperes * interval_s / (3600 * s.capacity_ah)
                part *= s.charge_efficiency if part > 0 else 1.0
                highest = max(soc, s.soc_ceiling)
                soc = max(0.0, min(soc + part, highest) if part > 0 else soc + part)
            counts.append(soc)
        for t, expected, tolerance in each.expected.soc:
            found = counts[trace.t.tolist().index(t)]
            assert abs(found - expected) <= tolerance + 1e-9, (each.id, t)
            checked += 1
    assert checked > 15
