"""A charger as a library: what is judged, and what is told of one with a fault in it."""

from __future__ import annotations

import numpy as np
import pytest

from ctrl.charger import Charger, ChargerSettings
from harness.charger.attach import InProcessCharger, drive_charger
from harness.charger.attach_library import ChargerLibrary
from harness.charger.case import NO_STAGE, ChargerCase
from harness.charger.cases import charger_cases
from harness.charger.verify import verify_charger
from harness.run import Outcome
from harness.verdict import Report
from tests.attach.conftest import AttachedCharger
from tests.attach.planted import SANITIZE, needs_compiler
from tests.attach.planted_charger import CHARGER, long_trace, with_fault

pytestmark = needs_compiler

CASES = {case.id: case for case in charger_cases()}
STEP = "    ChargerOutput out = charger_step(&charger, &in);\n"
WRAPPED = ("begin/pier", "follow/slow-steps", "follow/lowered")
STAMP = "        in.t = (double)elapsed_ms / 1000;\n"


def judged(attachment: ChargerLibrary, *names: str) -> Report:
    return verify_charger(attachment, [CASES[name] for name in names])


@pytest.mark.parametrize(
    "flags",
    [("-DFULLPROOF_SINGLE",), (*SANITIZE, "-fvisibility=hidden")],
    ids=["single", "sanitized"],
)
def test_the_example_keeps_every_rule(
    attached_charger: AttachedCharger, flags: tuple[str, ...]
) -> None:
    report = verify_charger(attached_charger(CHARGER.read_text(), *flags), charger_cases())
    assert report.findings == ()
    assert {result.outcome for result in report.results} == {Outcome.PASS}
    assert report.identity is not None
    assert report.identity.name == "example-charger-library"


@pytest.mark.parametrize("packs", [1, 5])
def test_a_long_trace_of_several_packs_is_answered_as_by_the_reference(
    attached_charger: AttachedCharger, packs: int
) -> None:
    attachment = attached_charger(CHARGER.read_text())
    case = ChargerCase("long/one", ChargerSettings(packs=packs), long_trace(packs, 9001))
    said = drive_charger(attachment, case).answers
    expected = drive_charger(InProcessCharger("ref", Charger), case).answers
    assert np.array_equal(said.state, expected.state)
    assert np.allclose(said.set_point_v, expected.set_point_v, rtol=0, atol=1e-6)
    assert np.allclose(said.limit_a, expected.limit_a, rtol=0, atol=1e-6)
    assert expected.limit_a.max() > 10.0 * packs


def test_stages_and_what_is_missing_reach_it_as_the_header_says(
    attached_charger: AttachedCharger,
) -> None:
    look = (
        "    output->set_point_v = messages[1].valid;\n"
        "    output->limit_a = messages[1].stage + 10.0 * sample->valid;\n"
    )
    text = CHARGER.read_text()
    start = text.index("    output->set_point_v = ")
    end = text.index("    output->state = ")
    attachment = attached_charger(text[:start] + look + text[end:])
    trace = long_trace(2, 4)
    trace.stage[1, 1] = NO_STAGE
    trace.age_s[2, 1] = np.nan
    trace.own_a[2] = np.inf
    trace.t[3] = np.nan
    case = ChargerCase("told/missing", ChargerSettings(packs=2), trace)
    answers = drive_charger(attachment, case).answers
    assert answers.set_point_v.tolist() == [63.0, 47.0, 31.0, 63.0]
    assert answers.limit_a.tolist() == [71.0, 70.0, 31.0, 61.0]


def test_it_is_judged_by_what_it_was_given(attached_charger: AttachedCharger) -> None:
    trace = long_trace(1, 3)
    trace.t[1] = 0.1236
    trace.own_v[1] = 55.1
    case = ChargerCase("told/stamps", ChargerSettings(highest_v=57.3), trace)
    double = attached_charger(CHARGER.read_text()).as_given(case)
    assert double.trace.t.tolist() == [0.0, 0.124, 0.25]
    assert double.trace.own_v[1] == 55.1
    single = attached_charger(CHARGER.read_text(), "-DFULLPROOF_SINGLE").as_given(case)
    assert single.trace.own_v[1] == float(np.float32(55.1)) != 55.1
    assert single.settings.highest_v == float(np.float32(57.3)) != 57.3


@pytest.mark.parametrize(
    ("instead", "broken"),
    [
        # The counter taken for the time: at its wrap the clock seems to be set back.
        ("        in.t = (double)sample->time_ms / 1000;\n", "BEGIN.follows"),
        # A stamp of 0 taken for no stamp.
        (STAMP + "        if (sample->time_ms == 0) in.t = NAN;\n", "FOLLOW.slope"),
    ],
    ids=["wrap-of-the-clock", "zero-means-never"],
)
def test_a_counter_that_wraps_shows_who_does_not_expect_it(
    attached_charger: AttachedCharger, monkeypatch: pytest.MonkeyPatch, instead: str, broken: str
) -> None:
    source = with_fault(STAMP, instead)
    report = judged(attached_charger(source), *WRAPPED)
    assert {finding.requirement for finding in report.findings} == {broken}
    # So it is the wrap that is found, and nothing else about that charger.
    monkeypatch.setenv("FULLPROOF_WORKER_CLOCK_MS", "1000")
    assert judged(attached_charger(source), *WRAPPED).findings == ()


HANGS = '    while (isnan(sample->own_v)) __asm__ volatile("");\n'


@pytest.mark.parametrize(
    ("instead", "flags", "requirement", "told"),
    [
        (f"    if (in.t > 20) abort();\n{STEP}", (), "LINK.stays-alive", "killed by SIGABRT"),
        (
            f"{STEP}    if (in.t > 20) out.limit_a = NAN;\n",
            (),
            "LINK.rows",
            "limit_a nan; it must be a finite number",
        ),
        (
            f"{STEP}    if (in.t > 20) out.state = 7;\n",
            (),
            "LINK.rows",
            "it must be 0 (stopped), 1 (fallback), 2 (following)",
        ),
        (f"{STEP}    if (in.t > 20) return;\n", (), "LINK.rows", "writes every output"),
        (
            f"    static int since_s = 2147483620; since_s += 1;\n{STEP}",
            SANITIZE,
            "LINK.stays-alive",
            "signed integer overflow",
        ),
    ],
    ids=["crash", "no-number", "no-state", "not-written", "sanitizer"],
)
def test_what_goes_wrong_is_told_with_its_sample_and_the_rest_is_judged(
    attached_charger: AttachedCharger,
    instead: str,
    flags: tuple[str, ...],
    requirement: str,
    told: str,
) -> None:
    attachment = attached_charger(with_fault(STEP, instead), *flags)
    report = judged(attachment, "follow/lowered", "packs/one-zero")
    assert {f.requirement for f in report.findings} == {requirement}
    assert report.cases == 2
    first = report.findings[0]
    assert told in first.sentence
    assert first.index >= 20
    assert f"last line sent: sample {first.index}: time_ms " in first.detail
    assert "request_v_1 " in first.detail


def test_an_endless_loop_is_ended(attached_charger: AttachedCharger) -> None:
    attachment = attached_charger(with_fault(STEP, HANGS + STEP), limit_s=0.4)
    report = judged(attachment, "doubt/own-meter", "begin/first-messages")
    [finding] = report.findings
    assert finding.requirement == "LINK.answers"
    assert "did not come back within 0.4 s in fullproof_charger_step" in finding.sentence
    assert "own_v missing" in finding.detail


def test_it_may_refuse_and_says_so(attached_charger: AttachedCharger) -> None:
    attachment = attached_charger(with_fault("MOST_PACKS) return", "1) return"))
    report = judged(attachment, "begin/first-messages", "packs/one-zero")
    [finding] = report.findings
    assert (finding.requirement, finding.case) == ("LINK.starts", "packs/one-zero")
    assert "packs must be 1 to 16" in finding.sentence


def test_more_packs_than_fit_into_one_call_are_not_told(attached_charger: AttachedCharger) -> None:
    packs = 5000
    case = ChargerCase("many/packs", ChargerSettings(packs=packs), long_trace(packs, 2))
    told = attached_charger(CHARGER.read_text()).cannot_be_told(case)
    assert told == "has more packs, 5000, than fit into one call of a library"


BUILT = """
static const fullproof_charger_settings built = {
    .packs = 1, .highest_v = 58, .highest_a = 100, .stale_s = 5, .silent_s = 60, .steady_s = 10,
    .fallback_v = 54, .fallback_a = 20, .compensation_v = 0.5, .compensation_v_per_s = 0.01,
    .sense_time_s = 60, .sense_error_v = 0.02, .regulation_v = 0.1, .raise_v_per_s = 0.1,
    .raise_a_per_s = 5, .zero_s = 1, .frozen_s = 60, .max_gap_s = 10, .plausible_v = {30, 70},
    .plausible_a = 1000,
};
"""


@pytest.mark.parametrize("flags", [(), ("-DFULLPROOF_SINGLE",)], ids=["double", "single"])
def test_settings_that_cannot_be_set_are_read_and_compared(
    attached_charger: AttachedCharger, flags: tuple[str, ...]
) -> None:
    source = with_fault("        .language =", "        .fixed = &built, .language =")
    source = source.replace("static bool counting;", "static bool counting;\n" + BUILT)
    attachment = attached_charger(source, *flags)
    assert attachment.hello().fixed.plausible_v == (30.0, 70.0)
    report = judged(attachment, "begin/first-messages", "begin/pier")
    assert report.findings == ()
    assert report.cases == 1
    assert "made for highest_v 29" in report.not_applicable["begin/pier"]
