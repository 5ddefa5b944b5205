"""Which rows of a long log are drawn, and where; and what is magnified for each cause."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from harness.explain.explained import explain
from harness.explain.line import MOST_POINTS, robust_line
from harness.explain.wiring import between
from harness.report.between_plot import between_plot
from harness.report.explained_crossing import MOST_ROWS, Crossing, crossing
from harness.report.explained_rows import BLANK, Along, positions, taken, thinned
from tests.explain.planted import log_of, planted


def test_of_a_month_at_one_hertz_the_extremes_stay() -> None:
    chance = np.random.default_rng(1)
    rows = 30 * 86_400
    along = Along(np.arange(float(rows)))
    columns = [chance.normal(55.0, 0.1, rows), chance.normal(0.0, 10.0, rows)]
    columns[0][1_234_567] = 63.0
    columns[1][2_000_001] = -400.0
    kept = thinned(along, columns, first=0, behind=rows, most=2_800, closer=(864_000, 950_400))
    assert 2_000 < len(kept) <= 2_800
    assert np.all(np.diff(kept) > 0)
    assert {0, rows - 1, 1_234_567, 2_000_001} <= set(kept.tolist())
    inside = np.count_nonzero((kept >= 864_000) & (kept < 950_400))
    assert inside > len(kept) * 0.4


def test_a_part_that_is_short_enough_is_kept_whole_and_so_is_a_row_that_is_asked_for() -> None:
    along = Along(np.arange(100_000.0))
    kept = thinned(
        along, [np.zeros(100_000)], first=10, behind=90_000, most=400, closer=(500, 700),
        kept=(80_001,),
    )  # fmt: skip
    assert set(range(500, 700)) <= set(kept.tolist())
    assert 80_001 in kept
    assert len(kept) <= 400


def test_few_rows_are_all_drawn_with_a_blank_at_each_gap() -> None:
    t = np.concatenate((np.arange(5.0), 100.0 + np.arange(5.0)))
    along = Along(t)
    kept = thinned(along, [t], first=0, behind=10, most=50, gap_s=30.0)
    assert kept.tolist() == [0, 1, 2, 3, 4, BLANK, 5, 6, 7, 8, 9]
    values = taken(t, kept)
    assert np.isnan(values[5])
    assert positions(along, kept)[5] == 52.0


def test_rows_go_on_where_the_clock_was_set_back_and_where_a_stamp_is_missing() -> None:
    t = np.array([0.0, 1.0, 2.0, np.nan, 3.0, -7.0, -6.0, -5.0])
    along = Along(t, offset_s=100.0)
    assert along.at_known.tolist() == [100.0, 101.0, 102.0, 103.0, 104.0, 105.0, 106.0]
    assert along.steps == ((104.0, 11.0),)
    for row in (0, 1, 2, 4, 5, 6, 7):
        assert along.stamp(along.at(row)) == t[row]
    assert along.at(3) == along.at(4)
    assert along.row(2.0) == 2
    assert along.row(2.5) == 4


def moment(cause: str) -> Crossing:
    """What is magnified of a planted cause."""
    each = planted(cause, 0)
    log = log_of(each)
    explained = explain(log, {p.name: s for p, s in zip(log.packs, each.told, strict=True)})
    reason = explained.top
    found = crossing(explained, reason, Along(log.pack(reason.pack).trace.t))
    assert found is not None
    drawn = found.drawing
    assert drawn.near is not None
    assert drawn.near[0] <= drawn.x[drawn.at] <= drawn.near[1]
    assert len(drawn.x) <= MOST_ROWS + 100
    return found


def test_a_dwell_that_breaks_is_drawn_as_long_as_it_held() -> None:
    found = moment("dwell_flicker")
    (bar,) = found.drawing.bars
    assert bar.needed - bar.start == 60.0
    assert 0.0 < bar.held - bar.start < 60.0
    assert bar.words == f"entry_dwell_s: {bar.held - bar.start:g} s of 60 s"
    assert found.every_row


def test_a_recheck_that_said_no_is_drawn_with_its_hold_and_what_was_missing() -> None:
    found = moment("load_at_recheck")
    (bar,), (measure,) = found.drawing.bars, found.drawing.measures
    assert bar.held - bar.start == pytest.approx(3600.0)
    assert measure.read < measure.asked
    assert measure.words == f"{1e3 * (measure.asked - measure.read):.0f} mV short"
    assert measure.words in found.told


def test_a_lead_pack_is_drawn_where_it_entered_float() -> None:
    told = [each.words for each in moment("lead_pack_early").drawing.moments]
    assert "east enters float" in told


def test_a_hold_that_was_cut_off_is_drawn_as_far_as_it_came() -> None:
    gap, back = moment("gap"), moment("clock_jump")
    for found in (gap, back):
        (bar,) = found.drawing.bars
        assert 0.0 < bar.held - bar.start < bar.needed - bar.start
        assert "hold_abandoned" in [each.kind for each in found.drawing.symbols]
    assert np.isnan(gap.drawing.panels[0].lines[0].values).any()
    assert "there is no sample" in gap.told
    assert "The clock steps back by 7.0 s" in back.told
    assert np.all(np.diff(back.drawing.x) >= 0)
    assert back.drawing.steps


def test_a_cell_at_its_limit_has_a_panel_of_its_own() -> None:
    found = moment("protection")
    assert [panel.title for panel in found.drawing.panels] == ["voltage", "current", "highest cell"]
    (measure,) = found.drawing.measures
    assert measure.panel == 2
    assert measure.read >= measure.asked == 3.65


def test_the_interval_of_the_line_is_that_of_its_mean() -> None:
    chance = np.random.default_rng(7)
    x = chance.uniform(-20.0, 60.0, 300)
    y = 0.014 + 0.022 * x + chance.uniform(-0.005, 0.005, 300)
    line = robust_line(x, y)
    assert line is not None
    assert line.outliers == 0
    told = stats.linregress(x, y)
    wide = line.slope_error / told.stderr
    for at in (-20.0, 0.0, float(x.mean()), 60.0):
        spread = told.stderr * np.sqrt(x.var() + (at - x.mean()) ** 2)
        assert line.error_at(at) == pytest.approx(wide * spread, rel=1e-6)
    assert line.error_at(0.0) == pytest.approx(line.intercept_error)


def test_the_points_behind_the_line_are_kept_and_drawn() -> None:
    chance = np.random.default_rng(2)
    t = np.arange(200_000.0)
    i = 20.0 + 20.0 * np.sin(t / 4000.0)
    v = np.full(len(t), 54.0)
    found = between(t, v + 0.014 + 0.02 * i + chance.normal(0.0, 0.002, len(t)), v, i)
    assert found.line is not None
    assert 1_000 < len(found.points.current_a) <= MOST_POINTS
    expected = 0.014 + 0.02 * found.points.current_a
    assert found.points.difference_v == pytest.approx(expected, abs=0.005)
    picture = between_plot("a <pack>", found)
    assert "<pack>" not in picture
    dots = picture.split('class="dots" d="')[1].split('"')[0]
    assert dots.count("M") == len(found.points.current_a)
