"""A library that crashes, hangs, prints, forks or ends its process costs one case, and is told."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest

from ctrl.settings import Settings
from harness.attach.base import LinkFault
from harness.attach.library.attachment import LibraryAttachment
from harness.run import Trace
from tests.attach.conftest import Attached
from tests.attach.planted import compiled, needs_compiler, small
from tests.protocol.conftest import members_of_group

pytestmark = needs_compiler
TRACE = Trace(np.arange(8.0), np.full(8, 54.25), np.full(8, 12.5))


def fault_of(attachment: LibraryAttachment) -> LinkFault:
    """The fault of one run; afterwards the controller starts anew and answers."""
    attachment.start(Settings(), 0.5)
    with pytest.raises(LinkFault) as caught:
        attachment.run(TRACE)
    attachment.start(Settings(), 0.5)
    assert attachment.run(TRACE.part(0, 3)).stage.tolist() == [0, 0, 0]
    return caught.value


@pytest.mark.parametrize(
    ("does", "observed"),
    [
        ("*(volatile int *)8 = 1;", "killed by SIGSEGV"),
        ("abort();", "killed by SIGABRT"),
        ("__builtin_trap();", "killed by SIGILL"),
        ("volatile int zero = 0; steps = 7 / zero;", "killed by SIGFPE"),
        ("exit(0);", "exited with 0"),
        ("_exit(3);", "exited with 3"),
        ("raise(15);", "killed by SIGTERM"),
    ],
)
def test_a_crash_is_told_with_its_signal_and_the_sample(
    attached: Attached, does: str, observed: str
) -> None:
    fault = fault_of(attached(small(step=does), "-include", "signal.h"))
    assert fault.requirement == "LINK.stays-alive"
    assert fault.observed == observed
    assert fault.index == 3
    assert "in fullproof_step" in fault.sentence
    assert fault.sent.startswith(
        "sample 3: time_ms 4294960296, v 54.25, i 12.5, cell_max_v missing"
    )


def test_what_a_library_printed_before_it_crashed_is_kept(attached: Attached) -> None:
    does = r'printf("the relay is stuck\n"); fprintf(stderr, "so is the fan\n"); abort();'
    fault = fault_of(attached(small(step=does)))
    assert "the relay is stuck\n" in fault.stderr
    assert "so is the fan\n" in fault.stderr


def test_printing_alone_is_no_fault(attached: Attached) -> None:
    attachment = attached(small(step=r'printf("{\"seq\":2,\"count\":8}\n"); fflush(stdout);'))
    attachment.start(Settings(), 0.5)
    assert len(attachment.run(TRACE)) == 8
    attachment.stop()


@pytest.mark.parametrize("does", ["for (;;) { steps++; }", "sleep(600);"])
def test_a_step_that_does_not_come_back_is_cut_off(attached: Attached, does: str) -> None:
    fault = fault_of(attached(small(step=does), limit_s=0.4))
    assert fault.requirement == "LINK.answers"
    assert fault.observed == "no answer within 0.4 s"
    assert fault.sentence == "The controller did not come back within 0.4 s in fullproof_step."
    assert fault.index == 3


@pytest.mark.parametrize(
    ("source", "where"),
    [
        (small(start="abort();"), "in fullproof_start"),
        (small() + "__attribute__((constructor)) static void born(void) { abort(); }", "loaded"),
    ],
)
def test_a_crash_elsewhere_says_where(attached: Attached, source: str, where: str) -> None:
    attachment = attached(source)
    with pytest.raises(LinkFault) as caught:
        attachment.start(Settings(), 0.5)
    assert caught.value.observed == "killed by SIGABRT"
    assert where in caught.value.sentence
    assert caught.value.index == -1


def test_a_crash_at_the_loss_of_power_says_so(attached: Attached) -> None:
    attachment = attached(small(power_cycle="abort();"))
    attachment.start(Settings(), 0.5)
    with pytest.raises(LinkFault, match="in fullproof_power_cycle"):
        attachment.power_cycle()


def test_memory_is_limited(attached: Attached, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FULLPROOF_WORKER_MEMORY_MB", "200")
    fault = fault_of(attached(small(step="for (;;) memset(malloc(1 << 20), 1, 1 << 20);")))
    assert fault.observed == "killed by SIGSEGV"
    assert "Its memory is limited to 200 MB." in fault.sentence


def test_gigabytes_on_standard_output_are_cut_off(
    attached: Attached, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FULLPROOF_WORKER_OUTPUT_MB", "1")
    fault = fault_of(attached(small(step='for (;;) puts("the same line again and again");')))
    assert fault.requirement == "LINK.answers"
    assert fault.observed == "more than 1 MB printed"
    assert len(fault.stderr) < 20_000


def test_gigabytes_in_a_file_are_cut_off(
    attached: Attached, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FULLPROOF_WORKER_FILE_MB", "1")
    does = """
        static char block[1 << 16];
        int file = open("log", O_CREAT | O_WRONLY, 0600);
        unsigned long written = 0;
        for (ssize_t got; (got = write(file, block, sizeof block)) > 0;) written += got;
        fprintf(stderr, "wrote %lu bytes\\n", written);
        abort();
    """
    assert f"wrote {1 << 20} bytes" in fault_of(attached(small(step=does))).stderr


def test_files_are_written_into_a_folder_that_goes_away(
    tmp_path: Path, attached: Attached, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    does = """
        fclose(fopen("spoor", "w"));
        fprintf(stderr, "%s\\n%d\\n", getcwd(0, 0), access("spoor", F_OK));
        abort();
    """
    attachment = attached(small(step=does))
    before = set(tmp_path.iterdir())
    folder, found = fault_of(attachment).stderr.split()
    assert found == "0"
    assert set(tmp_path.iterdir()) == before
    assert not Path(folder).exists()


def test_a_child_of_a_fork_ends_at_once(attached: Attached) -> None:
    """Each step forks: were a child to go on, it would fork too, and answer as well."""
    everyone = "if (fork() == 0) { for (;;) pause(); }"
    attachment = attached(small().replace("output->soc = 0.5;", f"output->soc = 0.5; {everyone}"))
    attachment.start(Settings(), 0.5)
    assert len(attachment.run(TRACE)) == 8
    group = attachment.pid
    assert group is not None
    deadline = time.monotonic() + 5.0
    while len(members_of_group(group)) > 1 and time.monotonic() < deadline:
        time.sleep(0.01)
    assert members_of_group(group) == [group]
    attachment.stop()


@pytest.mark.skipif(not hasattr(os, "memfd_create"), reason="this system has no seals")
def test_the_shared_memory_cannot_be_cut_short(attached: Attached) -> None:
    """Whoever shortened it would end the harness at its next look."""
    does = """
        char path[64], name[256] = "";
        for (int k = 3; k < 64; k++) {
            snprintf(path, sizeof path, "/proc/self/fd/%d", k);
            if (readlink(path, name, sizeof name - 1) > 0 && strstr(name, "fullproof-rows"))
                fprintf(stderr, "cut short: %d\\n", ftruncate(k, 0));
        }
        abort();
    """
    assert "cut short: -1" in fault_of(attached(small(step=does))).stderr


@pytest.mark.parametrize(
    ("does", "observed", "expected"),
    [
        (
            "output->stage = 5;",
            "stage 5",
            "stage as 0 (bulk), 1 (absorption), 2 (float), 3 (inhibited), 4 (equalisation)",
        ),
        ("output->soc = NAN;", "soc nan", "soc as a finite number"),
        ("output->soc = 1e308 * 10;", "soc inf", "soc as a finite number"),
    ],
)
def test_an_answer_that_makes_no_sense_is_told(
    attached: Attached, does: str, observed: str, expected: str
) -> None:
    fault = fault_of(attached(small(step=does)))
    assert (fault.requirement, fault.observed, fault.expected) == ("LINK.rows", observed, expected)
    assert fault.index == 3


def test_an_output_that_is_not_written_is_told(attached: Attached) -> None:
    attachment = attached(small().replace("output->stage = FULLPROOF_BULK;", ""))
    attachment.start(Settings(), 0.5)
    with pytest.raises(LinkFault, match="has stage 255") as caught:
        attachment.run(TRACE)
    assert caught.value.index == 0


def test_a_claim_without_its_output_is_told(attached: Attached) -> None:
    attachment = attached(small().replace("FULLPROOF_GIVES_SOC", "0"))
    with pytest.raises(LinkFault, match="claims soc and leaves out the column"):
        attachment.start(Settings(), 0.5)


def test_a_refusal_has_the_reason_of_the_library(attached: Attached) -> None:
    attachment = attached(small(start='return "too many cells";'))
    with pytest.raises(LinkFault, match="too many cells") as caught:
        attachment.start(Settings(), 0.5)
    assert caught.value.requirement == "LINK.starts"


def test_a_crash_after_many_samples_is_told_with_its_place(attached: Attached) -> None:
    attachment = attached(
        small(step="")
        .replace("steps++ == 3 && sample", "steps++ == 4321")
        .replace("{  }", "{ abort(); }")
    )
    attachment.start(Settings(), 0.5)
    size = 5000
    trace = Trace(np.arange(float(size)), np.full(size, 54.0), np.zeros(size))
    with pytest.raises(LinkFault) as caught:
        attachment.run(trace)
    assert caught.value.index == 4321
    assert caught.value.sent.startswith(f"sample 4321: time_ms {(4321 - 10) * 1000}, v 54")


def test_a_fault_of_another_library_stays_with_it(tmp_path: Path, attached: Attached) -> None:
    """Two attachments at once have two workers."""
    one = attached(small())
    one.start(Settings(), 0.5)
    other = attached(small(step="abort();"))
    assert fault_of(other).observed == "killed by SIGABRT"
    assert len(one.run(TRACE)) == 8
    assert compiled(tmp_path, small()).exists()
