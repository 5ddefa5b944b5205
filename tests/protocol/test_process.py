"""Programs that hang, end, flood or will not end: nothing is waited for longer than the limit."""

from __future__ import annotations

import signal
import time
from collections.abc import Callable

import pytest

from harness.attach import LinkFault
from harness.attach.process import LONGEST_LINE_BYTES
from harness.attach.program import ProgramAttachment

Attach = Callable[..., ProgramAttachment]

GREETS = '{"seq":0,"protocol":1,"name":"hut","version":"1.2","language":"C","features":[]}'


def fault_of(call: Callable[[], object]) -> LinkFault:
    with pytest.raises(LinkFault) as caught:
        call()
    return caught.value


def test_half_a_line_and_silence(script: Attach) -> None:
    attachment = script(
        "import sys, time\nsys.stdin.readline()\n"
        "print('{\"seq\":0', end='', flush=True)\ntime.sleep(60)\n",
        limit_s=1.5,
    )
    began = time.monotonic()
    fault = fault_of(attachment.hello)
    assert time.monotonic() - began < 10.0
    assert (fault.requirement, fault.observed) == ("LINK.answers", "half a line within 1.5 s")
    assert fault.received == '{"seq":0'
    assert "line end" in fault.sentence


@pytest.mark.parametrize(
    ("text", "observed"),
    [
        ("raise SystemExit(4)", "exited with 4"),
        ("import os; os.kill(os.getpid(), 6)", "killed by SIGABRT"),
        ("import sys; sys.exit('out of memory')", "exited with 1"),
    ],
)
def test_an_end_before_hello(script: Attach, text: str, observed: str) -> None:
    fault = fault_of(script(text).hello)
    assert (fault.requirement, fault.observed) == ("LINK.stays-alive", observed)
    assert fault.stderr == ("out of memory\n" if "memory" in text else "")


def test_a_program_that_closes_its_input_but_answers_no_more(script: Attach) -> None:
    attachment = script("import os, time\nos.close(0)\ntime.sleep(60)", limit_s=0.6)
    assert fault_of(attachment.hello).observed == "nothing within 0.6 s"


def test_standard_error_is_kept_in_part(script: Attach) -> None:
    attachment = script(
        "import sys\nsys.stdin.readline()\n"
        "sys.stderr.write('first words' + 'x' * 3_000_000 + 'last words')\nsys.exit(2)\n"
    )
    fault = fault_of(attachment.hello)
    assert fault.stderr.startswith("first words")
    assert fault.stderr.endswith("last words")
    assert len(fault.stderr) < 20_000
    assert "2983637 bytes" in fault.stderr


def test_a_line_without_end_takes_bounded_memory(script: Attach) -> None:
    attachment = script(
        "import os, sys\nsys.stdin.readline()\nwhile True: os.write(1, b'x' * 65536)\n"
    )
    fault = fault_of(attachment.hello)
    assert fault.requirement == "LINK.answers"
    assert fault.observed == f"a line of more than {LONGEST_LINE_BYTES} bytes"
    assert len(fault.received) < 1000


def test_close_tells_nobody_and_waits_no_longer_than_the_limit(script: Attach) -> None:
    attachment = script(
        f"import time\ninput()\nprint({GREETS!r}, flush=True)\ntime.sleep(60)\n", limit_s=10.0
    )
    attachment.hello()
    attachment.limit_s = 0.3
    attachment.close()
    assert attachment.pid is None


def test_a_program_that_ignores_sigterm_is_ended_too(script: Attach) -> None:
    attachment = script(
        f"import signal, time\nsignal.signal({int(signal.SIGTERM)}, signal.SIG_IGN)\n"
        f"input()\nprint({GREETS!r}, flush=True)\ntime.sleep(60)\n"
    )
    attachment.hello()
    attachment.restart()
    assert attachment.pid is None
