"""False alarms are counted, and one would be seen: in the sum, the files and the exit code."""

from __future__ import annotations

import io
from collections.abc import Iterator

import orjson
import pytest
from attrs import evolve
from rich.console import Console

from harness.attach import attach
from harness.cli.zoo import _code
from harness.report.zoo import quiet_sentence, show
from harness.report.zoo_json import to_json
from harness.report.zoo_page import page
from harness.zoo import alarms
from harness.zoo.alarms import Quiet, gathered, listened, names, tasks_for
from harness.zoo.faults import FAULTS
from harness.zoo.variants import VARIANTS
from harness.zoo.whole import Whole

FAULT = next(fault for fault in FAULTS if fault.name == "hold-one-minute-short")


def of(quiet: tuple[Quiet, ...]) -> Whole:
    return Whole(rows=(), hunted=(), cases=("entry/a",), seeds=(0,), traces=20, quiet=quiet)


@pytest.fixture(scope="module", autouse=True)
def _few() -> Iterator[None]:
    """Three variants of all: that every one is quiet is asked elsewhere."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alarms, "VARIANTS", VARIANTS[:3])
        yield


@pytest.fixture(scope="module")
def heard() -> tuple[Quiet, ...]:
    """Some that keep the rules, and a fault in the place of one of them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alarms, "_variants", lambda: {v.name: v for v in VARIANTS} | {
            VARIANTS[0].name: FAULT
        })  # fmt: skip
        told: list[str] = []
        parts = list(listened((0,), 20, told.append, workers=1))
    assert len(told) == len(parts) == len(tasks_for((0,))) == 2 * len(names())
    return gathered(reversed(parts))


def test_what_keeps_the_rules_is_quiet_and_what_does_not_is_heard(
    heard: tuple[Quiet, ...],
) -> None:
    assert [each.name for each in heard] == list(names())
    assert all(each.vectors > 200 and each.traces == 20 for each in heard)
    assert [each.name for each in heard if each.alarms] == [VARIANTS[0].name]
    loud = next(each for each in heard if each.alarms)
    assert "HOLD.full-length" in {alarm.requirement for alarm in loud.alarms}


def test_an_alarm_is_told_everywhere(heard: tuple[Quiet, ...]) -> None:
    result = of(heard)
    count = result.alarms
    assert count > 0
    assert _code(result) == 1
    assert f"{count} false alarms" in quiet_sentence(result)
    out = io.StringIO()
    show(Console(file=out, width=100), result)
    assert f"{count} false alarms" in out.getvalue()
    assert f"{VARIANTS[0].name}: HOLD.full-length in" in out.getvalue()
    read = orjson.loads(to_json(result, 1))["keep_the_rules"]
    assert sum(len(each["false_alarms"]) for each in read) == count
    assert "<caption>False alarms</caption>" in page(result)


def test_no_alarm_is_told_as_none(heard: tuple[Quiet, ...]) -> None:
    result = of(tuple(evolve(each, alarms=()) for each in heard))
    runs = sum(each.vectors + each.traces for each in heard)
    assert _code(result) == 0
    assert quiet_sentence(result) == (
        f"{len(names())} controllers that keep the rules, {runs:,} runs judged: no false alarm"
    )
    assert "False alarms" not in page(result)


def test_an_end_of_the_link_is_an_alarm(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(alarms, "names", lambda: ("silent",))
    monkeypatch.setattr(alarms, "_attached", lambda _: attach("exec:false"))
    (part,) = gathered(listened((0,), 4, workers=1))
    assert part.traces == 4
    assert {alarm.requirement for alarm in part.alarms} == {"LINK.stays-alive"}
