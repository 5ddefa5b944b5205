"""Programs that answer as they are told: what is accepted, and what is said of what is not."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ctrl.settings import Settings
from harness.attach import LinkFault, Refused
from harness.attach.program import ProgramAttachment
from harness.run import Answers, Trace

Attach = Callable[..., ProgramAttachment]

WHO: dict[str, Any] = {
    "protocol": 1,
    "name": "hut",
    "version": "1.2",
    "language": "C",
    "features": ["soc", "full_reset", "requests", "power_cycle"],
}
OK = '{"seq":%SEQ%,"ok":true}'
ROW = ["absorption", 0.5, False, 56.0]
COLUMNS = ["stage", "soc", "full_reset", "voltage_request_v"]
ONE = Trace(np.zeros(1), np.full(1, 54.0), np.full(1, 3.0))


def hello(**changes: Any) -> str:
    return json.dumps({**WHO, **changes}).replace("{", '{"seq":%SEQ%,', 1)


def answer(*rows: Any, columns: Any = COLUMNS, **more: Any) -> str:
    text = json.dumps({"columns": columns, "rows": list(rows), **more})
    return text.replace("{", '{"seq":%SEQ%,', 1)


def fault_of(call: Callable[[], Any]) -> LinkFault:
    with pytest.raises(LinkFault) as caught:
        call()
    return caught.value


def run_one(attachment: ProgramAttachment, samples: int = 1) -> Answers:
    attachment.start(Settings(), 0.5)
    many = [np.full(samples, value) for value in (0.0, 54.0, 3.0)]
    return attachment.run(Trace(*many))


def test_a_session(canned: Attach) -> None:
    attachment = canned(hello(), OK, answer(ROW), OK, answer(["float", 1, True, 54.5]))
    identity = attachment.hello()
    assert (identity.name, identity.version, identity.language) == ("hut", "1.2", "C")
    assert identity.features == {"soc", "full_reset", "requests", "power_cycle"}
    assert identity.fixed is None
    attachment.start(Settings(), 0.5)
    first = attachment.run(ONE)
    attachment.power_cycle()
    second = attachment.run(ONE)
    attachment.stop()
    assert attachment.pid is None
    assert first.stage.tolist() == [1]
    assert first.stage.dtype == np.int8
    assert first.current_request_a is None
    assert second.stage.tolist() == [2]
    assert second.soc is not None
    assert second.soc.dtype == np.float64
    assert second.soc.tolist() == [1.0]
    assert second.full_reset is not None
    assert second.full_reset.dtype == np.bool_
    assert second.full_reset.tolist() == [True]


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"  \n"])
def test_members_of_its_own_and_white_space_are_ignored(canned: Attach, end: bytes) -> None:
    attachment = canned(hello(own=[1]), OK, answer(ROW, note="extra"), end=end)
    assert len(run_one(attachment)) == 1


def test_hello_is_asked_once(canned: Attach) -> None:
    attachment = canned(hello())
    assert attachment.hello() is attachment.hello()


@pytest.mark.parametrize(
    ("changes", "observed", "expected"),
    [
        ({"protocol": 2}, "protocol 2", "protocol 1"),
        ({"protocol": True}, "protocol True", "protocol 1"),
        ({"protocol": None}, "no protocol", "protocol 1"),
        ({"name": ""}, "name ''", "name as text that is not empty"),
        ({"version": 2}, "version 2", "version as text that is not empty"),
        ({"language": None}, "no language", "language as text that is not empty"),
        ({"features": None}, "no features", "features as a list of words, empty for none"),
        ({"features": "soc"}, "features 'soc'", "features as a list of words, empty for none"),
        (
            {"features": ["soc", "return-soc"]},
            "feature 'return-soc'",
            "a feature that the protocol knows: did you mean 'return_soc'?",
        ),
        ({"features": [7]}, "feature 7", "a feature that the protocol knows"),
        ({"fixed": 16}, "fixed 16", "fixed as an object of settings, or left out"),
        (
            {"fixed": {**Settings().to_mapping(), "hold_h": 1.0}},
            "fixed: there is no setting 'hold_h'; did you mean 'hold_s'?",
            "settings that the rules allow",
        ),
        (
            {"fixed": {**Settings().to_mapping(), "return_v": 54.5}},
            "fixed: return_v 54.5 and float_v 54.0 contradict each other; "
            "it must be return_v < float_v",
            "settings that the rules allow",
        ),
        (
            {"fixed": {k: v for k, v in Settings().to_mapping().items() if k != "hold_s"}},
            "fixed without hold_s",
            "every setting, null for none",
        ),
    ],
)
def test_a_wrong_greeting(
    canned: Attach, changes: dict[str, Any], observed: str, expected: str
) -> None:
    fault = fault_of(canned(hello(**changes)).hello)
    assert fault.requirement == "LINK.greets"
    assert fault.observed == observed
    assert fault.expected.startswith(expected)
    assert observed in fault.sentence
    assert fault.sent == '{"seq":0,"do":"hello","protocol":1}'
    assert fault.received.startswith('{"seq":0,')


def test_fixed_settings_are_read(canned: Attach) -> None:
    built_with = Settings.for_cells(8, hold_s=600.0, taper_a=4.0)
    identity = canned(hello(fixed=built_with.to_mapping())).hello()
    assert identity.fixed == built_with


@pytest.mark.parametrize(
    ("line", "requirement", "observed"),
    [
        ("", "LINK.answers", "an empty line"),
        ("ok", "LINK.answers", "not JSON: ok"),
        ("[]", "LINK.answers", "a JSON list"),
        ('{"seq":%SEQ%,', "LINK.answers", "JSON without its end"),
        ('{"seq":%SEQ%,"ok":true}\n{}', "LINK.answers", "more than one line"),
        ('{"seq":%SEQ%,"ok":NaN}', "LINK.answers", "not JSON: NaN}"),
        ('{"seq":%SEQ%,"ok":"\xe9"}', "LINK.answers", "not UTF-8 at byte 16"),
        ('{"ok":true}', "LINK.sequence", "no seq"),
        ('{"seq":7,"ok":true}', "LINK.sequence", "seq 7"),
        ('{"seq":true,"ok":true}', "LINK.sequence", "seq True"),
        ('{"seq":"1","ok":true}', "LINK.sequence", "seq '1'"),
        ('{"seq":%SEQ%}', "LINK.starts", "neither ok nor an error"),
        ('{"seq":%SEQ%,"ok":1}', "LINK.starts", "neither ok nor an error"),
        ('{"seq":%SEQ%,"error":5}', "LINK.starts", "neither ok nor an error"),
    ],
)
def test_a_wrong_answer_to_start(
    canned: Attach, line: str, requirement: str, observed: str
) -> None:
    attachment = canned(hello(), line)
    fault = fault_of(lambda: attachment.start(Settings(), 0.5))
    assert (fault.requirement, fault.observed) == (requirement, observed)
    assert fault.index == -1
    assert fault.sent.startswith('{"seq":1,"do":"start"')
    assert fault.received.startswith(line.split("\n")[0][:7])


def test_a_refusal_has_the_reason(canned: Attach) -> None:
    attachment = canned(hello(), '{"seq":%SEQ%,"error":"16 cells only"}', OK)
    with pytest.raises(Refused) as caught:
        attachment.start(Settings.for_cells(8), 0.5)
    assert caught.value.reason == "16 cells only"
    assert caught.value.requirement == "LINK.starts"
    with pytest.raises(RuntimeError):
        attachment.run(ONE)
    attachment.start(Settings(), 0.5)


@pytest.mark.parametrize(
    ("line", "observed", "index"),
    [
        (answer(ROW), "1 rows", 1),
        (answer(ROW, ROW, ROW, ROW), "4 rows", 2),
        (answer(ROW, ROW, ROW[:3]), "a row of 3 values", 2),
        (answer(ROW, ROW, 5), "a row 5", 2),
        (answer(ROW, "abcd", ROW), "a row 'abcd'", 1),
        (answer().replace("[]", "{}"), "no list of rows", 0),
        (answer().replace("rows", "lines"), "no list of rows", 0),
        (answer(ROW, ROW, ROW).replace("columns", "names"), "no list of columns", 0),
        (answer([], [], [], columns=[]), "no columns", 0),
        ('{"seq":%SEQ%,"error":"tired"}', "an error: 'tired'", 0),
        (answer(columns=["stage", "socc"]), "column 'socc'", 0),
        (answer(columns=["stage", 5]), "column 5", 0),
        (answer(columns=["stage", "soc", "soc"]), "columns stage, soc, soc", 0),
        (answer(columns=["soc", "full_reset"]), "columns soc, full_reset", 0),
        (
            answer(columns=["stage", "soc", "full_reset"]),
            "feature requests claimed, column voltage_request_v left out",
            0,
        ),
        (answer(ROW, ["boost", *ROW[1:]], ROW), "stage 'boost'", 1),
        (answer(ROW, [0, *ROW[1:]], ROW), "stage 0", 1),
        (answer(ROW, [["bulk"], *ROW[1:]], ROW), "stage ['bulk']", 1),
        (answer(ROW, ROW, ["bulk", None, False, 56.0]), "soc None", 2),
        (answer(ROW, ROW, ["bulk", True, False, 56.0]), "soc True", 2),
        (answer(ROW, ROW, ["bulk", 0.5, 0, 56.0]), "full_reset 0", 2),
        (answer(["bulk", 0.5, False, "56"], ROW, ROW), "voltage_request_v '56'", 0),
    ],
)
def test_wrong_rows(canned: Attach, line: str, observed: str, index: int) -> None:
    attachment = canned(hello(), OK, line)
    fault = fault_of(lambda: run_one(attachment, samples=3))
    assert (fault.requirement, fault.observed) == ("LINK.rows", observed)
    assert fault.index == index
    assert fault.sent.startswith('{"seq":2,"do":"run"')
    assert fault.received.startswith('{"seq":2,')
    assert attachment.pid is None


def test_columns_in_any_order_but_always_the_same(canned: Attach) -> None:
    columns = COLUMNS[::-1]
    attachment = canned(
        hello(), OK, answer(ROW[::-1], columns=columns), answer(ROW), OK, answer(ROW)
    )
    attachment.start(Settings(), 0.5)
    assert attachment.run(ONE).stage.tolist() == [1]
    fault = fault_of(lambda: attachment.run(ONE))
    assert fault.requirement == "LINK.rows"
    assert fault.expected == "columns voltage_request_v, full_reset, soc, stage, as before"


def test_the_first_wrong_row_is_told_with_its_own_lines(canned: Attach) -> None:
    attachment = canned(hello(), OK, answer(ROW), answer(["boost", *ROW[1:]]), answer(ROW))
    attachment.rows_a_message = 1
    fault = fault_of(lambda: run_one(attachment, samples=20))
    assert (fault.requirement, fault.observed) == ("LINK.rows", "stage 'boost'")
    assert fault.index == 1
    assert '"seq":3,' in fault.sent
    assert '"seq":3,' in fault.received


def test_an_end_between_two_rows_is_told_at_the_row(canned: Attach) -> None:
    attachment = canned(hello(), OK, answer(ROW), answer(ROW))
    attachment.rows_a_message = 1
    fault = fault_of(lambda: run_one(attachment, samples=20))
    assert (fault.requirement, fault.observed) == ("LINK.stays-alive", "exited with 0")
    assert fault.index == 2
    assert '"seq":4,' in fault.sent
    assert fault.received == ""


def test_power_cycle_must_be_answered_with_ok(canned: Attach) -> None:
    attachment = canned(hello(), OK, '{"seq":%SEQ%,"error":"no such thing"}')
    attachment.start(Settings(), 0.5)
    fault = fault_of(attachment.power_cycle)
    assert (fault.requirement, fault.expected) == ("LINK.answers", '"ok":true')


def test_nothing_runs_before_start(canned: Attach) -> None:
    attachment = canned(hello(), OK)
    with pytest.raises(RuntimeError):
        attachment.run(ONE)
    with pytest.raises(RuntimeError):
        attachment.power_cycle()
    attachment.start(Settings(), 0.5)
    with pytest.raises(ValueError, match="at least one sample"):
        attachment.run(ONE.part(0, 0))


def test_slow_but_within_the_limit(canned: Attach) -> None:
    attachment = canned(hello(), OK, answer(ROW), answer(ROW), answer(ROW), pause_s=0.3)
    attachment.rows_a_message = 1
    attachment.start(Settings(), 0.5)
    attachment.limit_s = 2.0
    assert len(attachment.run(Trace(np.arange(3.0), np.full(3, 54.0), np.zeros(3)))) == 3


def test_long_lines_go_both_ways(sabotaged: Attach, long_trace: Trace) -> None:
    attachment = sabotaged("well_behaved")
    attachment.rows_a_message = 2500
    sizes: list[tuple[int, int]] = []
    attachment.listener = lambda sent, received: sizes.append((len(sent), len(received)))
    attachment.start(Settings(), 0.5)
    assert len(attachment.run(long_trace)) == 2500
    assert min(sizes[-1]) > 100_000, "both are longer than a pipe holds"


@pytest.mark.parametrize("rows_a_message", [1, 7, 1000])
def test_how_a_trace_is_cut_changes_no_answer(
    sabotaged: Attach, long_trace: Trace, rows_a_message: int
) -> None:
    trace = long_trace.part(0, 300)
    attachment = sabotaged("well_behaved")
    attachment.start(Settings(), 0.5)
    whole = attachment.run(trace)
    attachment.rows_a_message = rows_a_message
    attachment.start(Settings(), 0.5)
    cut = Answers.joined([attachment.run(trace.part(0, 111)), attachment.run(trace.part(111, 300))])
    assert cut.stage.tolist() == whole.stage.tolist()
    assert whole.soc is not None
    assert cut.soc is not None
    assert cut.soc.tolist() == whole.soc.tolist()


def test_cuts_that_change_the_answers_are_seen(sabotaged: Attach) -> None:
    size = 20
    trace = Trace(np.arange(float(size)), np.full(size, 55.9), np.full(size, 9.0))
    attachment = sabotaged("depends_on_cuts")
    attachment.start(Settings(), 0.5)
    assert attachment.run(trace).stage.tolist() == [0] * 3 + [1] * 17
    attachment.start(Settings(), 0.5)
    cut = Answers.joined([attachment.run(trace.part(0, 10)), attachment.run(trace.part(10, size))])
    assert cut.stage.tolist() == [0] * 3 + [1] * 7 + [0] * 3 + [1] * 7


def test_restart_begins_a_new_process(canned: Attach) -> None:
    attachment = canned(hello(), OK)
    attachment.start(Settings(), 0.5)
    processes = [attachment.pid]
    attachment.restart()
    processes.append(attachment.pid)
    attachment.start(Settings(), 0.5)
    processes.append(attachment.pid)
    attachment.close()
    attachment.close()
    first, between, second = processes
    assert between is None
    assert first != second
    assert None not in (first, second)


def test_an_interrupted_session_says_no_farewell(canned: Attach) -> None:
    attachment = canned(hello(), OK)
    attachment.start(Settings(), 0.5)
    attachment.__exit__(KeyboardInterrupt, KeyboardInterrupt(), None)
    assert attachment.pid is None


def test_a_fault_becomes_a_finding() -> None:
    fault = LinkFault(
        "LINK.rows",
        observed="999 rows",
        expected="1000 rows",
        sentence="The answer has 999 rows to 1000 rows sent.",
        sent='{"seq":2}',
        stderr="hm",
        index=999,
    )
    finding = fault.finding("hold/of-the-hut", t=12.5)
    assert (finding.requirement, finding.case) == ("LINK.rows", "hold/of-the-hut")
    assert (finding.t, finding.index, finding.margin) == (12.5, 999, 0.0)
    assert finding.detail == 'last line sent: {"seq":2}\nstandard error: hm'
