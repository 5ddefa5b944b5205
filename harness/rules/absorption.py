"""How every stretch of absorption ended, or should have: judged for HOLD and for FULL together.

The controller does not report when its hold became a confirmation. So a decision is judged by
what must have been known at its sample: the hold timer within one interval, the voltage exactly.
"""

from __future__ import annotations

from ctrl.vocabulary import Stage
from harness.rules.held import TIME_SLACK_S
from harness.rules.holds import Hold, holds_of
from harness.rules.life import Life
from harness.rules.requirement import Marks, plain

FULL_LENGTH = "HOLD.full-length"
ENDS = "HOLD.ends"
SAG = {"run": "HOLD.sag-runs-on", "pause": "HOLD.sag-pauses", "restart": "HOLD.sag-restarts"}
VOLTAGE = "FULL.voltage"
CONFIRMED = "FULL.confirmed"
TAPER = "FULL.taper"
GRANTED = "FULL.granted"
DENIED = "FULL.denied"
WAIT = "FULL.wait"
GAP = "TIME.gap-abandons-hold"
BACK = "TIME.backward-step"


def absorptions(life: Life, marks: Marks) -> None:
    """Judge every stretch of absorption; the first thing wrong with one is all that is said of it."""
    for hold in holds_of(life):
        _break(life, hold, marks)
        if not _overdue(life, hold, marks):
            _decision(life, hold, marks)


def _break(life: Life, hold: Hold, marks: Marks) -> None:
    k = hold.broken
    if k < 0 or k > hold.episode.last:
        return
    requirement = BACK if life.steps_back(k) else GAP
    marks.seen(requirement)
    stage = Stage(life.stage[k])
    if stage in (Stage.BULK, Stage.INHIBITED):
        return
    gap_s = float(life.t[k] - life.t[k - 1])
    what = f"a gap of {gap_s:g} s" if gap_s > 0 else f"a stamp {-gap_s:g} s back"
    marks.broken(
        requirement,
        life,
        life.row_of(k),
        observed=f"absorption -> {stage.word}",
        expected="absorption -> bulk",
        margin=gap_s - life.settings.max_gap_s if gap_s > 0 else -gap_s,
        unit="s",
        sentence=f"{what} broke the hold; it was not abandoned, the stage was {stage.word}",
    )


def _by_sag(life: Life, hold: Hold, k: int, default: str) -> str:
    return SAG[life.settings.on_sag] if hold.sag_before(k + 1) else default


def _overdue(life: Life, hold: Hold, marks: Marks) -> bool:
    """Whether a decision was not taken that was due while absorption was still reported."""
    s = life.settings
    if hold.expires >= 0:
        marks.seen(_by_sag(life, hold, hold.expires, ENDS))
        marks.seen(ENDS)
    must = hold.must_expire
    if must < 0:
        return False
    stays = hold.stays
    proved = hold.proved_since(must, hold.must_prove)
    waits = s.on_unconfirmed == "wait"
    candidates = []
    for due in proved.each_due(must, len(hold.t) - 1, s.confirm_s):
        # Within the interval by which the confirmation's own timer may be off.
        own = due > must or s.confirm_s > 0
        confirmed = proved.following(due, life.tolerance_s) if own else due
        if 0 <= confirmed < stays:
            candidates.append((confirmed, "confirmed"))
            break
    if waits:
        waited = (hold.t - hold.t[must] >= s.wait_limit_s).nonzero()[0]
        # The wait is a timer of its own, and may be off by an interval of its own.
        later = hold.later(int(waited[0]), life.tolerance_s) if len(waited) else -1
        if 0 <= later < stays:
            candidates.append((later, "waited"))
    else:
        false = (~hold.may_prove[must:stays]).nonzero()[0]
        if len(false):
            candidates.append((must + int(false[0]), "denied"))
    if not candidates:
        return False
    k, why = min(candidates)
    over_s = float(hold.elapsed_s[k] - s.hold_s)
    if why == "waited":
        requirement, over_s = WAIT, float(hold.t[k] - hold.t[hold.expires] - s.wait_limit_s)
        expected = f"float, at most {s.wait_limit_s:g} s after the hold"
        what = f"waited {plain(over_s)} s longer than wait_limit_s ({s.wait_limit_s:g} s)"
    elif k == must and not (why == "denied" and _was_confirming(life, hold)):
        requirement = _by_sag(life, hold, hold.expires, ENDS)
        expected = f"the end of the hold at t = {hold.t[hold.expires]:g} s"
        what = (
            f"the hold timer ran out at t = {hold.t[hold.expires]:g} s "
            f"(hold_s {s.hold_s:g} s, on_sag {s.on_sag}), absorption went on"
        )
    elif why == "confirmed":
        requirement = GRANTED
        expected = "a full reset"
        what = (
            f"the pack was confirmed full (at or above full_v, {s.full_v:g} V, for "
            f"{s.confirm_s:g} s after the hold), absorption went on"
        )
    else:
        requirement = DENIED
        expected = f"{s.on_unconfirmed}, without a full reset"
        what = (
            f"after the hold the voltage was {hold_level(life, hold, k):.3f} V, under full_v "
            f"({s.full_v:g} V) or the current beyond taper_a; absorption went on"
        )
    marks.broken(
        requirement,
        life,
        life.row_of(hold.episode.start + k),
        observed="absorption",
        expected=expected,
        margin=over_s,
        unit="s",
        sentence=what,
    )
    return True


def _was_confirming(life: Life, hold: Hold) -> bool:
    """Whether the moment at which absorption was left tells that the timer had been seen to run out.

    A hold that went on and a confirmation that should have been denied look alike until then.
    """
    if hold.left < 0 or life.settings.confirm_s == 0.0:
        return False
    took_s = float(hold.t[hold.left] - hold.t[hold.expires])
    slack_s = life.slack_s(hold.episode.start + hold.left)
    return abs(took_s - life.settings.confirm_s) <= slack_s


def hold_level(life: Life, hold: Hold, k: int) -> float:
    """The voltage at sample `k` of a hold, at reference temperature, V."""
    return float(life.level_v[hold.episode.start + k])


def _decision(life: Life, hold: Hold, marks: Marks) -> None:
    """Judge the way in which absorption was left, unless protection or a break did it."""
    k, to = hold.left, hold.episode.to
    if k < 0 or to not in (Stage.FLOAT, Stage.BULK):
        return
    s = life.settings
    row = life.row_of(hold.episode.start + k)
    reset = None if life.row_reset is None else bool(life.row_reset[row])
    marks.seen(FULL_LENGTH)
    if hold.sag_before(k):
        marks.seen(SAG[s.on_sag])
    observed = f"absorption -> {to.word}" + (" with a full reset" if reset else "")
    if hold.may_expire < 0 or k < hold.may_expire:
        short_s = float(s.hold_s - hold.elapsed_s[k])
        marks.broken(
            _by_sag(life, hold, k, FULL_LENGTH),
            life,
            row,
            observed=observed,
            expected=f"absorption until the hold timer shows {s.hold_s:g} s",
            margin=short_s,
            unit="s",
            sentence=(
                f"absorption was left {short_s:g} s too early: the hold timer (on_sag {s.on_sag}) "
                f"showed {hold.elapsed_s[k]:g} s of {s.hold_s:g} s"
            ),
        )
        return
    sentence = ""
    if to is Stage.FLOAT and reset is not False:
        sentence = _unjust_reset(life, hold, k, row, marks, observed, tell=reset is True)
        if reset or not sentence:
            return
    _refusal(life, hold, k, row, marks, observed, to)


def _unjust_reset(
    life: Life, hold: Hold, k: int, row: int, marks: Marks, observed: str, *, tell: bool
) -> str:
    """Judge a full reset; returns what is wrong with it, which is marked only if `tell`."""
    s = life.settings
    level_v, current_a = hold_level(life, hold, k), float(life.i[hold.episode.start + k])
    for requirement, applies in ((VOLTAGE, True), (TAPER, s.taper_a is not None)):
        if applies:
            marks.seen(requirement)
    if s.confirm_s > 0:
        marks.seen(CONFIRMED)
    marks.seen(GRANTED)
    if life.most_level_v[hold.episode.start + k] < s.full_v - life.either_way_v:
        short_mv = (s.full_v - level_v) * 1000.0
        requirement, margin, unit = VOLTAGE, short_mv, "mV"
        expected = f"v >= full_v ({s.full_v:g} V)"
        sentence = (
            f"full reset at {level_v:.3f} V, {plain(short_mv)} mV under full_v ({s.full_v:g} V)"
        )
    elif s.taper_a is not None and abs(current_a) > s.taper_a:
        requirement, margin, unit = TAPER, abs(current_a) - s.taper_a, "A"
        expected = f"current within {s.taper_a:g} A"
        sentence = f"full reset at {current_a:g} A, beyond taper_a ({s.taper_a:g} A)"
    else:
        held_s = hold.proved_since(hold.may_expire, hold.may_prove).held_s(k)
        if held_s >= s.confirm_s - life.slack_s(hold.episode.start + k):
            return ""
        over = hold.expires if hold.expires >= 0 else hold.may_expire
        held_s = max(hold.proved_since(over, hold.may_prove).held_s(k), 0.0)
        requirement, margin, unit = CONFIRMED, s.confirm_s - held_s, "s"
        expected = f"full_v held for confirm_s ({s.confirm_s:g} s) after the hold"
        sentence = (
            f"full reset {margin:g} s too early: after the hold full_v ({s.full_v:g} V) had been "
            f"held for {held_s:g} s of {s.confirm_s:g} s"
        )
    if tell:
        marks.broken(
            requirement,
            life,
            row,
            observed=observed,
            expected=expected,
            margin=margin,
            unit=unit,
            sentence=sentence,
        )
    return sentence


def _refusal(
    life: Life, hold: Hold, k: int, row: int, marks: Marks, observed: str, to: Stage
) -> None:
    """Judge that absorption was left without a full reset, after the hold."""
    s = life.settings
    proves = bool(hold.must_prove[k])
    held_s = hold.proved_since(max(hold.must_expire, 0), hold.must_prove).held_s(k)
    enough_s = s.confirm_s + (life.slack_s(hold.episode.start + k) if s.confirm_s else 0.0)
    # A controller that is late by a whole interval is just in time.
    confirmed = proves and hold.must_expire >= 0 and held_s >= enough_s - 2.0 * TIME_SLACK_S
    # At the very sample on which the timer runs out, a confirmation without dwell is due as well.
    confirmed = confirmed or (proves and s.confirm_s == 0.0 and k >= hold.expires >= 0)
    marks.seen(DENIED)
    marks.seen(VOLTAGE)
    requirement = DENIED
    margin, unit = 0.0, ""
    if confirmed:
        requirement = GRANTED
        expected = "a full reset, then float"
        margin, unit = (hold_level(life, hold, k) - s.full_v) * 1000.0, "mV"
        what = f"the pack was confirmed full at {hold_level(life, hold, k):.3f} V, but got no full reset"
    elif s.on_unconfirmed == "wait":
        marks.seen(WAIT)
        waited_s = float(hold.t[k] - hold.t[hold.may_expire])
        if to is Stage.FLOAT and waited_s >= s.wait_limit_s - life.slack_s(hold.episode.start + k):
            return
        waited_s = float(hold.t[k] - hold.t[hold.expires]) if k >= hold.expires >= 0 else 0.0
        requirement, margin, unit = WAIT, s.wait_limit_s - waited_s, "s"
        expected = f"absorption, for up to {s.wait_limit_s:g} s after the hold, then float"
        what = f"the wait ended {margin:g} s before wait_limit_s ({s.wait_limit_s:g} s) was over"
    elif proves:
        expected = "absorption while the confirmation goes on"
        what = (
            f"the pack was denied at {hold_level(life, hold, k):.3f} V, at or above full_v "
            f"({s.full_v:g} V), while it was being confirmed"
        )
    elif to.word != s.on_unconfirmed:
        expected = f"absorption -> {s.on_unconfirmed} (on_unconfirmed)"
        what = f"a hold that was not confirmed led to {to.word}; on_unconfirmed says otherwise"
    else:
        return
    marks.broken(
        requirement,
        life,
        row,
        observed=observed,
        expected=expected,
        margin=margin,
        unit=unit,
        sentence=what,
    )
