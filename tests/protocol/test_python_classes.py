"""A Python class as a controller: what it may do, and what is said of what it may not."""

from __future__ import annotations

import math
import signal
import textwrap
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ctrl.settings import Settings
from harness.attach import Attachment, LinkFault, Refused, attach
from harness.run import Case, Trace
from harness.verify import verify

Attach = Callable[..., Attachment]

HUT = """
class Hut:
    name, version, features = "hut", "1", {features}
    {member}
    def __init__(self, settings, soc):
        self.settings, self.soc = settings, soc
        {init}
    def step(self, t, v, i, cell_max_v, temp_c, temp_max_c):
        {step}
        return {{"stage": "bulk", "soc": self.soc}}
    def power_cycle(self):
        {power_cycle}
"""


@pytest.fixture
def hut(tmp_path: Path) -> Attach:
    """Attach the class `Hut` with some of its lines replaced."""

    def attach_it(limit_s: float = 10.0, **lines: str) -> Attachment:
        usual = {"features": "['soc']", "member": "", "init": "pass", "step": "pass"}
        module = tmp_path / "hut_of_test.py"
        module.write_text(HUT.format(**{**usual, "power_cycle": "pass", **lines}))
        return attach(f"py:{module}:Hut", limit_s=limit_s)

    return attach_it


def trace(size: int = 3, **columns: Any) -> Trace:
    return Trace(np.arange(float(size)), np.full(size, 54.0), np.full(size, 2.0), **columns)


def fault_of(call: Callable[[], Any]) -> LinkFault:
    with pytest.raises(LinkFault) as caught:
        call()
    return caught.value


def run(attachment: Attachment, size: int = 3) -> None:
    attachment.start(Settings(), 0.5)
    attachment.run(trace(size))


def test_a_session(hut: Attach) -> None:
    attachment = hut(step="self.soc += 0.125", power_cycle="self.soc = 0.25")
    identity = attachment.hello()
    assert (identity.name, identity.version, identity.language) == ("hut", "1", "Python")
    assert identity.features == {"soc"}
    attachment.start(Settings(), 0.5)
    first = attachment.run(trace())
    assert first.soc is not None
    assert first.soc.tolist() == [0.625, 0.75, 0.875]
    assert first.stage.tolist() == [0, 0, 0]
    assert first.full_reset is None
    attachment.power_cycle()
    second = attachment.run(trace())
    assert second.soc is not None
    assert second.soc.tolist() == [0.375, 0.5, 0.625]
    attachment.start(Settings(), 0.0)
    third = attachment.run(trace(1))
    assert third.soc is not None
    assert third.soc.tolist() == [0.125]


def test_what_the_class_is_given(hut: Attach) -> None:
    attachment = hut(
        init="assert settings['cells'] == 8 and settings['taper_a'] is None",
        step="self.soc = repr((t, v, i, cell_max_v, temp_c, temp_max_c))\n"
        "        raise ValueError(self.soc)",
    )
    attachment.start(Settings.for_cells(8), 0.5)
    one = Trace(np.array([1.0]), np.array([math.nan]), np.array([-2.0]), temp_c=np.array([20.0]))
    fault = fault_of(lambda: attachment.run(one))
    assert fault.observed == "ValueError: (1.0, None, -2.0, None, 20.0, None)"


def test_answers_as_an_object_with_a_stage_of_the_reference(tmp_path: Path) -> None:
    module = tmp_path / "object_hut.py"
    module.write_text(
        textwrap.dedent(
            """
            from dataclasses import dataclass
            import numpy as np
            from ctrl.vocabulary import Stage

            @dataclass
            class Said:
                stage: object
                full_reset: object
                soc: object = None

            class Hut:
                name, version, features = "hut", "1", ("full_reset",)
                def __init__(self, settings, soc): pass
                def step(self, t, *_):
                    return Said(Stage.FLOAT if t else "absorption", np.bool_(t == 1.0))
            """
        )
    )
    with attach(f"py:{module}:Hut") as attachment:
        attachment.start(Settings(), 0.5)
        answers = attachment.run(trace())
    assert answers.stage.tolist() == [1, 2, 2]
    assert answers.full_reset is not None
    assert answers.full_reset.tolist() == [False, True, False]
    assert answers.soc is None


def test_an_exception_is_a_fault_with_its_own_lines_only(hut: Attach) -> None:
    attachment = hut(step="if t == 2: return {}['entry_v']")
    fault = fault_of(lambda: run(attachment))
    assert (fault.requirement, fault.observed) == ("LINK.stays-alive", "KeyError: 'entry_v'")
    assert fault.index == 2
    assert "hut_of_test.py" in fault.stderr
    assert "harness/attach" not in fault.stderr
    assert fault.stderr.endswith("KeyError: 'entry_v'")
    run(hut())


@pytest.mark.parametrize(
    ("where", "code", "observed"),
    [
        ("step", "raise SystemExit(3)", "SystemExit: 3"),
        ("step", "return 1 / 0", "ZeroDivisionError: division by zero"),
        ("init", "self.nothing", "AttributeError: 'Hut' object has no attribute 'nothing'"),
        ("step", "import os; os.path.missing()", None),
    ],
)
def test_any_exception_is_a_fault(hut: Attach, where: str, code: str, observed: str | None) -> None:
    fault = fault_of(lambda: run(hut(**{where: code})))
    assert fault.requirement == "LINK.stays-alive"
    assert observed is None or fault.observed == observed


def test_power_cycle_can_fail_too(hut: Attach) -> None:
    attachment = hut(power_cycle="raise NotImplementedError")
    run(attachment)
    fault = fault_of(attachment.power_cycle)
    assert (fault.requirement, fault.observed) == ("LINK.stays-alive", "NotImplementedError")


def test_an_interrupt_of_ours_is_not_the_fault_of_the_class(hut: Attach) -> None:
    attachment = hut(step="raise KeyboardInterrupt")
    with pytest.raises(KeyboardInterrupt):
        run(attachment)


def test_settings_are_refused_by_a_value_error(hut: Attach) -> None:
    attachment = hut(init="if soc > 0.5: raise ValueError('too full for me')")
    with pytest.raises(Refused) as caught:
        attachment.start(Settings(), 0.75)
    assert caught.value.reason == "too full for me"
    run(attachment)


@pytest.mark.parametrize(
    ("lines", "observed"),
    [
        ({"features": "['sock']"}, "feature 'sock'"),
        ({"features": "None"}, "no features"),
        ({"member": "version = None"}, "no version"),
        ({"member": "fixed = {'cells': 8}"}, None),
    ],
)
def test_a_class_that_does_not_say_who_it_is(
    hut: Attach, lines: dict[str, str], observed: str | None
) -> None:
    fault = fault_of(hut(**lines).hello)
    assert fault.requirement == "LINK.greets"
    assert observed is None or fault.observed == observed


@pytest.mark.parametrize("method", ["step", "power_cycle"])
def test_a_method_that_is_missing(tmp_path: Path, method: str) -> None:
    module = tmp_path / "half_hut.py"
    text = HUT.format(
        features="['power_cycle']", member="", init="pass", step="pass", power_cycle="pass"
    )
    module.write_text(text.replace(f"def {method}(", "def something_else("))
    with attach(f"py:{module}:Hut") as attachment:
        fault = fault_of(attachment.hello)
    assert (fault.requirement, fault.observed) == ("LINK.greets", f"no method {method}")


def test_fixed_settings_are_read(hut: Attach) -> None:
    built_with = Settings.for_cells(8)
    attachment = hut(member=f"fixed = {built_with.to_mapping()!r}")
    assert attachment.hello().fixed == built_with


@pytest.mark.parametrize(
    ("step", "observed", "index"),
    [
        ("return None", "no columns", 0),
        ("return {'soc': 0.5}", "columns soc", 0),
        ("return {'stage': 'boost', 'soc': 0.5}", "stage 'boost'", 0),
        ("return {'stage': 'bulk', 'soc': float('nan')}", "soc nan", 0),
        ("return {'stage': 'bulk', 'soc': 10**400}", None, 0),
        ("return {'stage': 'bulk', 'soc': '0.5'}", "soc '0.5'", 0),
        ("return {'stage': 'bulk'}", "feature soc claimed, column soc left out", 0),
        (
            "return {'stage': 'bulk', 'soc': 0.5 if t < 1500 else None}",
            "soc in some answers only",
            1500,
        ),
        ("return {'stage': 'bulk', 'soc': 0.5 if t < 1500 else [1]}", "soc [1]", 1500),
    ],
)
def test_wrong_answers(hut: Attach, step: str, observed: str | None, index: int) -> None:
    attachment = hut(step=step)
    fault = fault_of(lambda: run(attachment, 2000))
    assert fault.requirement == "LINK.rows"
    assert observed is None or fault.observed == observed
    assert fault.index == index


def test_what_the_class_prints_is_kept_from_ours(
    hut: Attach, capfd: pytest.CaptureFixture[str]
) -> None:
    attachment = hut(
        init="import sys; print('init'); print('oh', file=sys.stderr)",
        step="print('step', t)\n        if t == 2: raise OSError",
    )
    fault = fault_of(lambda: run(attachment))
    assert fault.stderr.startswith("init\noh\nstep 0.0\nstep 1.0\nstep 2.0\n")
    assert capfd.readouterr() == ("", "")


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no interval timers here")
@pytest.mark.parametrize("where", ["init", "step", "power_cycle"])
def test_an_endless_loop_is_cut_off(hut: Attach, where: str) -> None:
    attachment = hut(limit_s=0.3, **{where: "while True: pass"})

    def session() -> None:
        run(attachment)
        attachment.power_cycle()

    fault = fault_of(session)
    assert (fault.requirement, fault.observed) == ("LINK.answers", "no answer within 0.3 s")
    assert fault.index == (0 if where == "step" else -1)
    assert "hut_of_test.py" in fault.stderr
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no interval timers here")
def test_a_loop_that_catches_what_cuts_it_off_is_found_out_all_the_same(hut: Attach) -> None:
    attachment = hut(
        limit_s=0.2,
        step="for _ in range(3):\n            try:\n                while True: pass\n"
        "            except BaseException: pass",
    )
    fault = fault_of(lambda: run(attachment, 1))
    assert (fault.requirement, fault.observed) == ("LINK.answers", "no answer within 0.2 s")
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)


def test_outside_the_main_thread_there_is_no_limit_but_all_else(hut: Attach) -> None:
    attachment = hut(limit_s=0.05, step="import time; time.sleep(0.1)")
    with ThreadPoolExecutor(1) as pool:
        pool.submit(run, attachment, 2).result()
    assert fault_of(lambda: run(attachment, 2)).requirement == "LINK.answers"


def test_nothing_runs_before_start(hut: Attach) -> None:
    attachment = hut()
    with pytest.raises(RuntimeError):
        attachment.run(trace())
    with pytest.raises(RuntimeError):
        attachment.power_cycle()


def test_a_request_reaches_the_class_that_claims_it(hut: Attach) -> None:
    asks = "pass\n    def request_equalisation(self):\n        self.soc = 0.75"
    attachment = hut(features="['soc', 'equalisation']", power_cycle=asks)
    attachment.start(Settings(), 0.5)
    attachment.request_equalisation()
    said = attachment.run(trace())
    assert said.soc is not None
    assert said.soc.tolist() == [0.75, 0.75, 0.75]


def test_a_class_needs_the_method_only_where_it_claims_equalisation(hut: Attach) -> None:
    assert hut().hello().features == {"soc"}
    fault = fault_of(hut(features="['soc', 'equalisation']").hello)
    assert fault.requirement == "LINK.greets"
    assert fault.observed == "no method request_equalisation"
    assert "step and request_equalisation" in fault.expected


def test_a_request_that_raises_is_a_fault(hut: Attach) -> None:
    asks = "pass\n    def request_equalisation(self):\n        raise OSError('no keys')"
    attachment = hut(features="['equalisation']", power_cycle=asks)
    attachment.start(Settings(), 0.5)
    fault = fault_of(attachment.request_equalisation)
    assert fault.requirement == "LINK.stays-alive"
    assert "request_equalisation() raised OSError: no keys" in fault.sentence


def test_whoever_does_not_claim_it_is_not_asked(hut: Attach) -> None:
    asked = Case("asked", Settings(), trace(), equalise_requests=(1,))
    attachment = hut()
    assert "asks for an equalisation" in attachment.cannot_be_told(asked)
    assert attachment.cannot_be_told(Case("plain", Settings(), trace())) == ""
    report = verify(attachment, [asked])
    assert report.cases == 0
    assert "does not claim" in report.not_applicable["asked"]
