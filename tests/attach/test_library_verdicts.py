"""A library that conforms passes every requirement; one with a fault in it is told rightly."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from ctrl.settings import Settings
from harness.attach.base import LinkFault
from harness.attach.library.attachment import LibraryAttachment
from harness.attach.registry import attach
from harness.cli.main import main
from harness.run import Case, Trace
from tests.attach.conftest import Attached
from tests.attach.planted import (
    EXAMPLE,
    SANITIZE,
    SANITIZE_ADDRESS,
    SANITIZE_UNDEFINED,
    compiled,
    needs_compiler,
    with_fault,
)

pytestmark = needs_compiler
BEYOND = r"AddressSanitizer:heap-buffer-overflow\S+/tested\.c:\d+infullproof_step"
SIGNED = r"\S+tested\.c:\d+:\d+:runtimeerror:signedintegeroverflow"


def verified(library: Path, capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    """The exit code of `verify`, and what it says, its lines joined."""
    code = main(["verify", f"lib:{library}", *arguments])
    return code, re.sub(r"\s+", " ", capsys.readouterr().out)


@pytest.mark.parametrize(
    "flags",
    [(), ("-DFULLPROOF_SINGLE",), SANITIZE, ("-fvisibility=hidden", "-O3")],
    ids=["double", "single", "sanitized", "hidden"],
)
def test_the_example_conforms(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], flags: tuple[str, ...]
) -> None:
    code, said = verified(compiled(tmp_path, EXAMPLE.read_text(), *flags), capsys)
    assert "83 pass, of 83 requirements" in said
    assert code == 0


@pytest.mark.parametrize("start_ms", ["0", "2147483000", "4294967295"])
def test_the_start_of_the_counter_changes_nothing(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    start_ms: str,
) -> None:
    monkeypatch.setenv("FULLPROOF_WORKER_CLOCK_MS", start_ms)
    assert verified(compiled(tmp_path, EXAMPLE.read_text()), capsys)[0] == 0


@pytest.mark.parametrize(
    ("fault", "broken"),
    [
        ("wrap-of-a-deadline", "HOLD.full-length"),
        ("wrap-of-the-clock", "HOLD.full-length"),
        ("zero-means-never", "SOC.counts"),
    ],
)
def test_a_counter_that_wraps_shows_who_does_not_expect_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], fault: str, broken: str
) -> None:
    code, said = verified(compiled(tmp_path, with_fault(fault)), capsys)
    assert code == 1
    assert f"{broken} (" in said[said.index(" broken ") :]


def test_a_deadline_that_wraps_is_no_fault_before_it_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """So it is the wrap that the test above finds, and nothing else about that controller."""
    library = compiled(tmp_path, with_fault("wrap-of-a-deadline"))
    monkeypatch.setenv("FULLPROOF_WORKER_CLOCK_MS", "0")
    assert verified(library, capsys, "--select", "hold/full-length")[0] == 0
    monkeypatch.delenv("FULLPROOF_WORKER_CLOCK_MS")
    assert verified(library, capsys, "--select", "hold/full-length")[0] == 1


@pytest.mark.parametrize(
    ("fault", "flags", "told"),
    [
        ("overflow", SANITIZE, BEYOND),
        ("overflow", SANITIZE_ADDRESS, BEYOND),
        ("signed-overflow", SANITIZE, SIGNED),
        ("signed-overflow", SANITIZE_UNDEFINED, SIGNED),
    ],
)
def test_a_sanitizer_sees_what_the_plain_build_hides(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    fault: str,
    flags: tuple[str, ...],
    told: str,
) -> None:
    source = with_fault(fault)
    assert verified(compiled(tmp_path, source, name="plain"), capsys)[0] == 0
    code, said = verified(compiled(tmp_path, source, *flags), capsys, "--fail-fast")
    assert code == 1
    assert "LINK.stays-alive" in said
    # A long path is broken over two lines.
    said = said.replace(" ", "")
    assert re.search(f"killedbySIGABRT;{told}", said)
    assert re.search(f"infullproof_step.Thesanitizersays:{told}", said)


def test_the_report_of_a_sanitizer_is_in_the_detail(attached: Attached) -> None:
    attachment = attached(with_fault("overflow"), *SANITIZE_ADDRESS)
    size = 60
    case_trace = Trace(np.arange(float(size)), np.full(size, 54.0), np.zeros(size))
    attachment.start(Settings(), 0.5)
    with pytest.raises(LinkFault) as caught:
        attachment.run(case_trace)
    assert "heap-buffer-overflow" in caught.value.observed
    detail = caught.value.detail
    assert "WRITE of size 8" in detail
    assert "256-byte region" in detail
    assert "last line sent: sample 32: time_ms" in detail


def test_an_endless_loop_is_told_and_the_rest_is_judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    library = compiled(tmp_path, with_fault("endless-loop"))
    select = ("--select", "time/invalid-in-a-paused-hold", "--select", "hold/full-length")
    code, said = verified(library, capsys, "--limit-s", "0.5", *select)
    assert code == 1
    assert "did not come back within 0.5 s in fullproof_step" in said
    assert "v missing" in said
    assert "tried 2 cases" in said
    assert re.search(r"pass HOLD\.full-length", said)


def given(attachment: LibraryAttachment, t: list[float]) -> Case:
    """What reaches the library of a case with these stamps."""
    size = len(t)
    trace = Trace(np.array(t), np.full(size, 55.1), np.full(size, 40.1))
    return attachment.as_given(Case("of/stamps", Settings(), trace))


def test_a_controller_is_judged_by_what_it_was_given(attached: Attached) -> None:
    attachment = attached(EXAMPLE.read_text())
    assert given(attachment, [0.0, 0.1236]).trace.t.tolist() == [0.0, 0.124]
    assert given(attachment, [0.0, 0.1236]).trace.v[0] == 55.1


def test_single_precision_is_judged_in_single_precision(attached: Attached) -> None:
    case = given(attached(EXAMPLE.read_text(), "-DFULLPROOF_SINGLE"), [0.0, 0.1236])
    assert case.trace.t.tolist() == [0.0, 0.124]
    assert case.trace.v[0] == float(np.float32(55.1)) != 55.1
    assert case.settings.entry_v == float(np.float32(55.8)) != 55.8
    assert case.settings.sag_v is None


def test_settings_that_cannot_be_set_are_read(attached: Attached) -> None:
    source = (
        EXAMPLE.read_text()
        .replace(".features =", ".fixed = &built, .features =")
        .replace("static int64_t elapsed_ms;", "static int64_t elapsed_ms;\n" + BUILT)
    )
    identity = attached(source).hello()
    assert identity.fixed == Settings.for_cells(16, hold_s=120.0, float_s=900.0, on_sag="pause")


BUILT = """
static const fullproof_settings built = {
    .has = 0xFF & ~(FULLPROOF_HAS_SAG_V | FULLPROOF_HAS_TAPER_A),
    .cells = 16, .on_sag = FULLPROOF_SAG_PAUSE, .capacity_ah = 280, .absorption_v = 56,
    .entry_v = 55.8, .entry_dwell_s = 3, .hold_s = 120, .full_v = 55.6, .wait_limit_s = 3600,
    .float_v = 54, .float_s = 900, .return_v = 53, .return_dwell_s = 60, .return_soc = 0.9,
    .charge_current_a = 100, .charge_efficiency = 1, .soc_ceiling = 0.99, .empty_v = 44.8,
    .empty_dwell_s = 10, .cell_limit_v = 3.65, .cell_release_v = 3.5, .charge_max_c = 45,
    .temp_band_c = 3, .trip_dwell_s = 1, .release_dwell_s = 10, .max_gap_s = 30,
    .plausible_v = {16, 64}, .plausible_i = {-500, 500}, .reference_c = 25,
};
"""


def test_the_worker_is_named_by_its_library(tmp_path: Path) -> None:
    library = compiled(tmp_path, EXAMPLE.read_text())
    with attach(f"lib:{library}") as attachment:
        identity = attachment.hello()
    assert (identity.name, identity.version, identity.language) == ("example-library", "1.0", "C")
    assert len(identity.features) == 19
