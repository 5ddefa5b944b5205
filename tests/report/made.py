"""Results to tell: of a faulty controller tried on a few vectors, and one with hostile names."""

from __future__ import annotations

from collections.abc import Sequence
from math import nan

import numpy as np
from attrs import evolve

from ctrl.settings import Settings
from harness.attach import attach, drive
from harness.cases import shipped
from harness.report.environment import Environment
from harness.report.keeping import Keeping
from harness.report.result import Result
from harness.run import Case, Finding, Identity, Outcome, Run, Trace
from harness.verdict import Report, RequirementResult
from harness.verify import verify
from tests.journeys.command_line import zoo

ENVIRONMENT = Environment(
    command="fullproof verify 'exec:./hut'",
    ended="2031-02-03T04:05:06+00:00",
    python="CPython 3.11",
    platform="a machine in a hut",
    packages={"fullproof": "0.1.0"},
)
# Everything that a name could try to be.
HOSTILE = (
    "</script><script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"
    "{{7*7}} | a `tick` [link](//pier) **bold** @everyone www.pier\n# heading\x00\x1b[31m\u2028</pre>"
)


def cases(*names: str) -> list[Case]:
    """Shipped vectors by their ids, as cases."""
    by_id = {vector.id: vector.case for vector in shipped()}
    return [by_id[name] for name in names]


def result_of(spec: str, tried: Sequence[Case]) -> Result:
    """What comes of trying a controller on these cases."""
    keeping = Keeping()
    with attach(spec) as attachment:
        report = verify(attachment, tried, keep=keeping)
    return Result(
        report,
        tried=tuple(case.id for case in tried),
        environment=ENVIRONMENT,
        excerpts=tuple(keeping.excerpts),
    )


def broken_result() -> Result:
    """Of a hold that is a minute short, on three vectors that show it and one that does not."""
    return result_of(
        zoo("hold-one-minute-short"),
        cases(
            "hold/sag-runs-on",
            "hold/ends-on-a-sample",
            "float/cycles-with-the-voltage-held",
            "entry/after-dwell",
        ),
    )


def hostile_result() -> Result:
    """A controller whose every word is an attack on whoever shows it."""
    result = broken_result()
    identity = Identity(HOSTILE, HOSTILE, HOSTILE, frozenset({"soc"}))
    dead = Finding(
        *("LINK.stays-alive", HOSTILE, nan, -1, HOSTILE, HOSTILE, 0.0, "", HOSTILE),
        detail=HOSTILE * 50,
    )
    results = (
        *(evolve(each, findings=tuple(map(_hostile, each.findings))) for each in result.report.results),
        RequirementResult("LINK.stays-alive", Outcome.FAIL, 1, (HOSTILE,), (dead,)),
    )  # fmt: skip
    report = Report(f"exec:{HOSTILE}", identity, results, 4, {HOSTILE: HOSTILE}, {HOSTILE: HOSTILE})
    return evolve(result, report=report, selection=(HOSTILE,), stopped=HOSTILE)


def _hostile(finding: Finding) -> Finding:
    return evolve(finding, observed=HOSTILE, sentence=HOSTILE, detail=HOSTILE)


def restless_run(samples: int) -> Run:
    """Of the reference, in a trace in which every reading is another number of many digits."""
    chance = np.random.default_rng(1)
    t = np.cumsum(chance.uniform(0.5, 1.5, samples))
    v = 54.5 + 1.7 * np.sin(t / 90.0) + chance.normal(0.0, 0.03, samples)
    i = chance.normal(20.0, 30.0, samples)
    cell_v = 3.4 + chance.normal(0.0, 0.03, samples)
    temp_c = chance.normal(20.0, 3.0, samples)
    settings = Settings(hold_s=60.0, confirm_s=20.0, float_s=100.0, compensation_v_per_c=-0.01)
    case = Case("hut/restless", settings, Trace(t, v, i, cell_v, temp_c, temp_c + 1.0))
    with attach("ref") as reference:
        return drive(reference, case)
