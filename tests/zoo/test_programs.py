"""The faulty controllers as programs: over the line protocol, in Python and in C."""

from __future__ import annotations

import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from harness.attach import attach
from harness.run import Case
from harness.verify import verify
from harness.zoo.build import c_program, fault_named
from harness.zoo.fault import Fault
from harness.zoo.faults import C_FAULTS
from harness.zoo.matrix import answers_to, same
from harness.zoo.mutants import mutants
from harness.zoo.mutants.attachment import MutantAttachment

ZOO = [sys.executable, "-m", "harness.zoo"]
with_compiler = pytest.mark.skipif(shutil.which("cc") is None, reason="there is no C compiler cc")


def ran(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*ZOO, *arguments], capture_output=True, text=True, check=False)


def test_a_faulty_program_is_found_over_the_line_protocol(cases: tuple[Case, ...]) -> None:
    with attach(f"exec:{shlex.join(ZOO)} hold-one-minute-short") as attachment:
        assert attachment.hello().name == "example-python with hold-one-minute-short"
        report = verify(attachment, [case for case in cases if case.id == "hold/full-length"])
    assert [finding.requirement for finding in report.findings] == ["HOLD.full-length"]
    assert report.exit_code == 1


@with_compiler
@pytest.mark.parametrize("fault", C_FAULTS, ids=lambda fault: fault.name)
def test_a_fault_in_c_is_found(fault: Fault, tmp_path: Path, cases: tuple[Case, ...]) -> None:
    with attach(f"exec:{shlex.quote(str(c_program(tmp_path, fault)))}") as attachment:
        report = verify(attachment, cases)
    assert fault.requirement in {finding.requirement for finding in report.findings}
    assert report.exit_code == 1


@with_compiler
def test_the_c_example_itself_conforms(tmp_path: Path, cases: tuple[Case, ...]) -> None:
    with attach(f"exec:{shlex.quote(str(c_program(tmp_path)))}") as attachment:
        report = verify(attachment, cases)
    assert report.findings == ()
    assert report.exit_code == 0


@with_compiler
def test_a_fault_in_c_runs_by_its_name() -> None:
    with attach(f"exec:{shlex.join(ZOO)} c-hold-one-minute-short") as attachment:
        assert attachment.hello().language == "C"


def test_the_list_names_every_fault() -> None:
    done = ran("--list")
    assert done.returncode == 0
    lines = done.stdout.splitlines()
    assert "hold-one-minute-short" in [line.split()[0] for line in lines]
    assert "c-hold-one-minute-short" in [line.split()[0] for line in lines]
    assert all(len(line.split()) > 3 for line in lines)


def test_whoever_reads_only_the_first_line_of_the_list_gets_no_complaint() -> None:
    with subprocess.Popen([*ZOO, "--list"], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as zoo:
        assert zoo.stdout is not None
        assert zoo.stderr is not None
        zoo.stdout.close()
        assert zoo.stderr.read() == b""
        assert zoo.wait() == 0


def test_the_source_can_be_printed() -> None:
    done = ran("--source", "c-full-without-recheck")
    assert done.returncode == 0
    assert fault_named("c-full-without-recheck").new in done.stdout


def test_wrong_use_is_explained() -> None:
    done = ran("hold-one-minute-shot")
    assert done.returncode == 2
    assert "did you mean 'hold-one-minute-short'" in done.stderr
    assert ran().returncode == 2
    assert ran("--list", "hold-one-minute-short").returncode == 2


def test_a_mutant_says_the_same_as_a_program_and_in_this_process(cases: tuple[Case, ...]) -> None:
    name = "memory-tripped-kept-over-power"
    mutant = next(each for each in mutants() if each.name == name)
    some = [case for case in cases if case.power_cycles or case.id.startswith("full/")]
    some += [case for case in cases if case.equalise_requests and not case.power_cycles]
    with attach(f"exec:{shlex.join(ZOO)} {name}") as program, MutantAttachment(mutant) as inside:
        assert program.hello() == inside.hello()
        said, right = answers_to(program, some), answers_to(inside, some)
    assert None not in said.values()
    assert all(same(said[case.id], right[case.id]) for case in some)


def test_a_mutant_that_refuses_to_start_says_why(cases: tuple[Case, ...]) -> None:
    name = "negate-powered-up-not-isfinite-soc-and-0-0-le-soc-le-1-0"
    with attach(f"exec:{shlex.join(ZOO)} {name}") as attachment:
        report = verify(attachment, cases[:1])
    assert [finding.requirement for finding in report.findings] == ["LINK.starts"]
    assert "the starting state of charge is" in report.findings[0].observed


def test_a_variant_runs_by_its_name(cases: tuple[Case, ...]) -> None:
    with attach(f"exec:{shlex.join(ZOO)} message-in-pieces") as attachment:
        assert verify(attachment, cases[:3]).findings == ()


def test_the_list_names_mutants_and_variants() -> None:
    lines = {line.split()[0]: line for line in ran("--list").stdout.splitlines()}
    assert {mutant.name for mutant in mutants()} <= set(lines)
    assert "(keeps the rules)" in lines["message-in-pieces"]


def test_the_source_of_a_mutant_can_be_printed() -> None:
    done = ran("--source", "boundary-bulk-level-v-ge-entry-v")
    assert done.returncode == 0
    assert done.stdout.startswith("def bulk(")
    assert "level_v > limits.entry_v" in done.stdout
    none = ran("--source", "shift-entry-v-5mv-lower")
    assert none.returncode == 2
    assert "changes no source of the reference" in none.stderr


def test_a_name_like_no_other_is_not_answered_with_all_of_them() -> None:
    done = ran("zzz")
    assert done.returncode == 2
    assert len(done.stderr) < 200
