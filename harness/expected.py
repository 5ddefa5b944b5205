"""What a case says must come out, compared with what did."""

from __future__ import annotations

import numpy as np

from ctrl.vocabulary import Stage
from harness.run import Finding, Run

# Which group of requirements a change of stage belongs to, the likeliest first.
GROUPS = {
    (Stage.BULK, Stage.ABSORPTION): ("ENTRY", "TIME", "POWER"),
    (Stage.ABSORPTION, Stage.FLOAT): ("HOLD", "FULL", "TIME"),
    (Stage.ABSORPTION, Stage.BULK): ("TIME", "FULL", "POWER"),
    (Stage.FLOAT, Stage.BULK): ("RETURN", "FLOAT", "TIME", "POWER"),
    (Stage.FLOAT, Stage.EQUALISATION): ("EQUALISE", "POWER"),
    (Stage.EQUALISATION, Stage.FLOAT): ("EQUALISE", "TIME"),
}


def unexpected(run: Run) -> list[Finding]:
    """The first way in which stages or full resets are not those that the case expects, if any.

    A change may come one sampling interval early or late, after a change that came late as well;
    so the delays of timers that follow each other may add up. Counts are left to the requirements
    of the group SOC, which accept any rule between the two rectangle sums.
    """
    case, expected = run.case, run.case.expected
    if expected is None or not case.requirements:
        return []
    stage, t = run.answers.stage, case.trace.t
    rows = [0, *(np.flatnonzero(stage[1:] != stage[:-1]) + 1).tolist()]
    seen = [(row, Stage(stage[row])) for row in rows]
    said = [(at_s, Stage.from_word(word)) for at_s, word in expected.stages]
    behind_s = 0.0
    told_s: dict[float, float] = {}
    for number in range(max(len(seen), len(said))):
        row, observed = seen[number] if number < len(seen) else (len(t) - 1, None)
        at_s, wanted = said[number] if number < len(said) else (float("nan"), None)
        late_s = float(t[row]) - at_s
        if observed is wanted and min(abs(late_s), abs(late_s - behind_s)) <= _interval_s(run, row):
            behind_s, told_s[at_s] = late_s, float(t[row])
            continue
        before = said[number - 1][1] if number else Stage.BULK
        return [
            _finding(
                run,
                row,
                (before, wanted or observed or before),
                f"{observed.word} from t = {t[row]:g} s"
                if observed
                else f"{before.word} to the end",
                f"{wanted.word} from t = {at_s:g} s" if wanted else f"{before.word} to the end",
                abs(float(t[row]) - at_s) if observed is wanted else 0.0,
                "The stages are not those that the case expects.",
            )
        ]
    return _resets(run, tuple(told_s.get(at_s, at_s) for at_s in expected.resets))


def _resets(run: Run, expected: tuple[float, ...]) -> list[Finding]:
    if run.answers.full_reset is None or "full_reset" not in run.identity.features:
        return []
    t = run.case.trace.t
    rows = np.flatnonzero(run.answers.full_reset).tolist()
    for number in range(max(len(rows), len(expected))):
        row = rows[number] if number < len(rows) else len(t) - 1
        at_s = expected[number] if number < len(expected) else float("nan")
        if number < len(rows) and abs(float(t[row]) - at_s) <= _interval_s(run, row):
            continue
        return [
            _finding(
                run,
                row,
                (Stage.ABSORPTION, Stage.FLOAT),
                f"full reset at t = {t[row]:g} s" if number < len(rows) else "no more full resets",
                f"full reset at t = {at_s:g} s" if at_s == at_s else "no more full resets",
                0.0,
                "The full resets are not those that the case expects.",
            )
        ]
    return []


def _interval_s(run: Run, row: int) -> float:
    around = np.abs(np.diff(run.case.trace.t[max(row - 1, 0) : row + 2]))
    return float(np.nanmax(around, initial=0.0)) + 1e-6


def _finding(
    run: Run,
    row: int,
    change: tuple[Stage, Stage],
    observed: str,
    expected: str,
    margin_s: float,
    sentence: str,
) -> Finding:
    groups = GROUPS.get(change, ("PROTECT",))
    ranked = [
        name for group in groups for name in run.case.requirements if name.startswith(f"{group}.")
    ]
    return Finding(
        requirement=(ranked or list(run.case.requirements))[0],
        case=run.case.id,
        t=float(run.case.trace.t[row]),
        index=row,
        observed=observed,
        expected=expected,
        margin=margin_s,
        unit="s" if margin_s else "",
        sentence=sentence,
    )
