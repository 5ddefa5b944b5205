"""ENTRY: when bulk ends and the hold starts."""

from __future__ import annotations

from ctrl.vocabulary import Stage
from harness.rules.blame import early_blame, late_blame
from harness.rules.held import Held
from harness.rules.life import Life
from harness.rules.requirement import Marks, Requirement, plain

HELD = "ENTRY.held-long-enough"
LATE = "ENTRY.not-late"
ONLY = "ENTRY.from-bulk-only"


def _short_of_entry(life: Life, k: int, held: Held) -> tuple[float, str, str]:
    """How far the entry at sample `k` was from justified: a margin, its unit, and words."""
    s = life.settings
    held_s = held.held_s(k)
    if held_s < 0:
        level_v = float(life.level_v[k])
        short_mv = (s.entry_v - level_v) * 1000.0
        what = (
            f"the voltage was {level_v:.3f} V, {plain(short_mv)} mV under entry_v ({s.entry_v:g} V)"
        )
        return short_mv, "mV", what
    what = (
        f"the voltage had been at or above entry_v ({s.entry_v:g} V) for {held_s:g} s of the "
        f"{s.entry_dwell_s:g} s of entry_dwell_s"
    )
    return s.entry_dwell_s - held_s, "s", what


def entries(life: Life, marks: Marks) -> None:
    """Follow every stretch of bulk to its end."""
    s = life.settings
    near = life.most_level_v >= s.entry_v - life.either_way_v
    may = life.held(near, Stage.BULK)
    must = (
        may
        if life.either_way_v == 0.0
        else life.held(life.least_level_v >= s.entry_v + life.either_way_v, Stage.BULK)
    )
    for episode in life.of_stage(Stage.BULK):
        if episode.to is Stage.ABSORPTION and episode.left_on_valid:
            marks.seen(HELD)
            k = episode.stop
            if may.held_s(k) < s.entry_dwell_s - life.slack_s(k):
                margin, unit, what = _short_of_entry(life, k, may)
                marks.broken(
                    early_blame(life, HELD, near, k, episode.start),
                    life,
                    episode.rows[1],
                    observed="bulk -> absorption",
                    expected=f"v >= entry_v ({s.entry_v:g} V) held for {s.entry_dwell_s:g} s",
                    margin=margin,
                    unit=unit,
                    sentence=f"the hold was started too early: {what}",
                )
        elif episode.to is Stage.FLOAT:
            marks.broken(
                ONLY,
                life,
                episode.rows[1],
                observed="bulk -> float",
                expected="bulk -> absorption",
                sentence="bulk was left for float without any absorption",
            )
        # The sample on which bulk was entered by a change of stage cannot change it once more.
        first = episode.start + (1 if episode.came_from is not None else 0)
        for due in must.each_due(first, episode.last, s.entry_dwell_s):
            marks.seen(LATE)
            late = must.following(due, life.tolerance_s)
            if not 0 <= late < episode.stop:
                continue
            marks.broken(
                late_blame(life, LATE, int(must.start[must.at(due)]), late, s.entry_dwell_s),
                life,
                life.row_of(late),
                observed="bulk",
                expected=f"absorption from t = {life.t[due]:g} s",
                margin=must.held_s(late) - s.entry_dwell_s,
                unit="s",
                sentence=(
                    f"the hold was not started: the voltage had been at or above entry_v "
                    f"({s.entry_v:g} V) for {must.held_s(late):g} s, {s.entry_dwell_s:g} s are enough"
                ),
            )
            break
    for episode in life.of_stage(Stage.ABSORPTION):
        marks.seen(ONLY)
        if episode.came_from is not Stage.BULK:
            before = "power-up" if episode.came_from is None else episode.came_from.word
            marks.broken(
                ONLY,
                life,
                episode.rows[0],
                observed=f"{before} -> absorption",
                expected=f"{before} -> bulk",
                sentence=f"absorption was entered from {before}; it is entered only from bulk",
            )


REQUIREMENTS = (
    Requirement(
        id=HELD,
        title="the entry voltage stands before the hold starts",
        statement="Bulk is left for absorption only at a sample at which the voltage has been at or "
        "above `entry_v` for `entry_dwell_s` without interruption, counted from the entry of bulk.",
        reason="A peak of a second, from a cloud edge or a load that drops out, is no charged pack: "
        "a hold that starts on it ends too early.",
        check=entries,
    ),
    Requirement(
        id=LATE,
        title="the hold starts as soon as the entry voltage has stood",
        statement="When the voltage has been at or above `entry_v` for `entry_dwell_s` in bulk, the "
        "stage becomes absorption at that sample.",
        reason="A hold that starts late, or never, keeps the pack at its highest voltage for longer "
        "than anyone asked for, and the count is never corrected.",
        check=entries,
    ),
    Requirement(
        id=ONLY,
        title="bulk leads to absorption, and nothing else does",
        statement="Absorption is entered only from bulk, and bulk is left only for absorption, or for "
        "inhibited by a trip of protection.",
        reason="Any other way skips the proof that the pack has reached its voltage by itself.",
        check=entries,
    ),
)
