"""Programs that break the line protocol, one fault each, around a controller that keeps the rules.

`python -m harness.zoo.saboteurs NAME` runs one. A saboteur takes the place of one thing that the
well-behaved program does; its docstring says what is wrong with it.
"""

# Each takes the same three arguments, needed or not.
# ruff: noqa: ARG001

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from attrs import frozen

from ctrl.controller import Controller, Sample
from ctrl.settings import Settings

FEATURES = (
    *("soc", "full_reset", "requests", "float_timer", "return_voltage", "return_soc", "sag_pause"),
    *("sag_restart", "confirm", "taper", "wait", "empty_reset", "cell_protection"),
    *("temperature_protection", "compensation", "power_cycle", "equalisation"),
    *("compensation_limits", "sensor_checks"),
)
INPUTS = ("t", "v", "i", "cell_max_v", "temp_c", "temp_max_c")
OUTPUTS = ("stage", "soc", "full_reset", "voltage_request_v", "current_request_a")
# Longer than anybody waits; the harness ends it before.
FOREVER_S = 3600.0

Message = dict[str, Any]
Usual = Callable[[Any], Any]


class Program:
    """Answers every message as the protocol says."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.columns: tuple[str, ...] = OUTPUTS
        self.controller = Controller(Settings())
        self.starts = 0

    def hello(self, message: Message) -> Message:
        """Say who it is."""
        who = {"name": self.name, "version": "1", "language": "Python"}
        return {"protocol": message["protocol"], **who, "features": FEATURES}

    def start(self, message: Message) -> Message:
        """Make a fresh controller."""
        self.starts += 1
        self.controller = Controller(Settings.from_mapping(message["settings"]), message["soc"])
        return {"ok": True}

    def run(self, message: Message) -> Message:
        """Step through the rows."""
        samples = (
            Sample.of(*map(dict(zip(message["columns"], row, strict=True)).get, INPUTS))
            for row in message["rows"]
        )
        return {"columns": self.columns, "rows": [self.row(sample) for sample in samples]}

    def row(self, sample: Sample) -> list[Any]:
        """Step one sample on."""
        output = self.controller.step(sample)
        answers = {name: getattr(output, name) for name in OUTPUTS} | {"stage": output.stage.word}
        return [answers[name] for name in self.columns]

    def equalise(self, message: Message) -> Message:  # noqa: ARG002  one signature for all
        """Be asked for an equalisation."""
        self.controller.request_equalisation()
        return {"ok": True}

    def power_cycle(self, message: Message) -> Message:  # noqa: ARG002  one signature for all
        """Lose the power."""
        self.controller.power_cycle()
        return {"ok": True}

    def stop(self, message: Message) -> int:  # noqa: ARG002  one signature for all
        """End; returns the exit status."""
        return 0

    def print(self, data: bytes) -> None:
        """Write bytes to standard output at once."""
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()

    def serve(self) -> int:
        """Answer messages until `stop` or the end of the input; returns the exit status."""
        for line in sys.stdin.buffer:
            message = json.loads(line)
            if message["do"] == "stop":
                return self.stop(message)
            answer = getattr(self, message["do"])(message)
            self.print(json.dumps({"seq": message["seq"], **answer}).encode() + b"\n")
        return 0


# (program, what it does as a rule, what it does it with) -> what it does here
Act = Callable[[Program, Usual, Any], Any]


@frozen
class Saboteur:
    """One fault.

    Attributes:
        sentence: what is wrong.
        breaks: the requirement that must be found broken; empty where nothing is wrong.
        place: the method of `Program` that is replaced.
        act: what is done in its place.
    """

    sentence: str
    breaks: str
    place: str
    act: Act


SABOTEURS: dict[str, Saboteur] = {}


def saboteur(place: str, breaks: str) -> Callable[[Act], Act]:
    """Enter a function under its own name."""

    def enter(act: Act) -> Act:
        SABOTEURS[act.__name__] = Saboteur(str(act.__doc__), breaks, place, act)
        return act

    return enter


@saboteur("run", "")
def well_behaved(program: Program, usual: Usual, message: Message) -> Any:
    """Does nothing wrong."""
    return usual(message)


@saboteur("print", "")
def line_in_two_writes(program: Program, usual: Usual, data: bytes) -> None:
    """Writes an answer in two parts with a pause between them, which is allowed."""
    usual(data[: len(data) // 2])
    time.sleep(0.02)
    usual(data[len(data) // 2 :])


@saboteur("run", "")
def stderr_flood(program: Program, usual: Usual, message: Message) -> Any:
    """Prints megabytes on standard error at every run, which is allowed."""
    for _ in range(64):
        sys.stderr.write("chatter " * 8192)
    return usual(message)


@saboteur("hello", "LINK.greets")
def wrong_protocol(program: Program, usual: Usual, message: Message) -> Any:
    """Speaks version 2 of the protocol."""
    return {**usual(message), "protocol": 2}


@saboteur("hello", "LINK.greets")
def unknown_feature(program: Program, usual: Usual, message: Message) -> Any:
    """Claims a feature that nobody knows."""
    return {**usual(message), "features": ["socc"]}


@saboteur("hello", "LINK.greets")
def bad_fixed(program: Program, usual: Usual, message: Message) -> Any:
    """Says that it was built with settings that contradict each other."""
    return {**usual(message), "fixed": {**Settings().to_mapping(), "full_v": 56.5}}


@saboteur("start", "LINK.starts")
def refuses_everything(program: Program, usual: Usual, message: Message) -> Any:
    """Refuses all settings."""
    return {"error": "not with me"}


@saboteur("hello", "LINK.answers")
def hang_at_hello(program: Program, usual: Usual, message: Message) -> None:
    """Never answers hello."""
    time.sleep(FOREVER_S)


@saboteur("start", "LINK.answers")
def hang_at_start(program: Program, usual: Usual, message: Message) -> None:
    """Never answers start."""
    time.sleep(FOREVER_S)


@saboteur("run", "LINK.answers")
def hang_at_run(program: Program, usual: Usual, message: Message) -> None:
    """Never answers a run."""
    time.sleep(FOREVER_S)


@saboteur("start", "LINK.answers")
def reads_nothing(program: Program, usual: Usual, message: Message) -> None:
    """Answers start and then reads no more, so that a long message finds no room."""
    program.print(json.dumps({"seq": message["seq"], **usual(message)}).encode() + b"\n")
    time.sleep(FOREVER_S)


@saboteur("run", "LINK.answers")
def closes_output(program: Program, usual: Usual, message: Message) -> None:
    """Closes its standard output in a run and lives on."""
    os.close(1)
    time.sleep(FOREVER_S)


@saboteur("print", "LINK.answers")
def split_line(program: Program, usual: Usual, data: bytes) -> None:
    """Breaks an answer over two lines."""
    usual(data.replace(b", ", b",\n", 1))


@saboteur("print", "LINK.answers")
def line_too_many(program: Program, usual: Usual, data: bytes) -> None:
    """Prints an empty line after every answer, as puts of a text with a line end does."""
    usual(data + b"\n")


@saboteur("run", "LINK.answers")
def stdout_chatter(program: Program, usual: Usual, message: Message) -> Any:
    """Prints a line of its own before the answer to a run."""
    program.print(b"debug: run\n")
    return usual(message)


@saboteur("run", "LINK.answers")
def endless_line(program: Program, usual: Usual, message: Message) -> None:
    """Answers a run with a line that never ends."""
    while True:
        program.print(b"[" * 65536)


@saboteur("run", "LINK.answers")
def not_json(program: Program, usual: Usual, message: Message) -> Any:
    """Answers a run in words, with the right answer on a line of its own after it."""
    program.print(b"bulk 0.5\n")
    return usual(message)


@saboteur("print", "LINK.answers")
def not_utf8(program: Program, usual: Usual, data: bytes) -> None:
    """Puts a byte that is not UTF-8 into its name."""
    usual(data.replace(b"not_utf8", b"not\xffutf8"))


@saboteur("row", "LINK.answers")
def nan_token(program: Program, usual: Usual, sample: Sample) -> Any:
    """Answers with the token NaN, which JSON does not have."""
    return [usual(sample)[0], float("nan"), False, 56.0, 100.0]


@saboteur("print", "LINK.answers")
def number_too_large(program: Program, usual: Usual, data: bytes) -> None:
    """Answers with a number that no float can hold."""
    usual(data.replace(b"56.0", b"1e999"))


@saboteur("run", "LINK.sequence")
def wrong_seq(program: Program, usual: Usual, message: Message) -> Any:
    """Answers a run with the number of the message before."""
    return {**usual(message), "seq": message["seq"] - 1}


@saboteur("run", "LINK.rows")
def wrong_row_count(program: Program, usual: Usual, message: Message) -> Any:
    """Leaves out the last row of a run."""
    return usual({**message, "rows": message["rows"][:-1]})


@saboteur("row", "LINK.rows")
def wrong_type(program: Program, usual: Usual, sample: Sample) -> Any:
    """Answers the state of charge as text."""
    stage, soc, *rest = usual(sample)
    return [stage, str(soc), *rest]


@saboteur("row", "LINK.rows")
def unknown_stage(program: Program, usual: Usual, sample: Sample) -> Any:
    """Names a stage that does not exist."""
    return ["boost", *usual(sample)[1:]]


@saboteur("run", "LINK.rows")
def unknown_column(program: Program, usual: Usual, message: Message) -> Any:
    """Names a column that the protocol does not know."""
    return {**usual(message), "columns": ["stage", "state_of_charge", *OUTPUTS[2:]]}


@saboteur("run", "LINK.rows")
def missing_stage_column(program: Program, usual: Usual, message: Message) -> Any:
    """Leaves the stage out."""
    program.columns = OUTPUTS[1:]
    return usual(message)


@saboteur("run", "LINK.rows")
def columns_change(program: Program, usual: Usual, message: Message) -> Any:
    """Leaves one more column out at every run."""
    answer = usual(message)
    program.columns = program.columns[:-1]
    return answer


@saboteur("run", "LINK.stays-alive")
def crash_mid_run(program: Program, usual: Usual, message: Message) -> None:
    """Dies of a segmentation fault in a run, with half of its answer printed."""
    os.write(2, b"about to touch memory that is not there\n")
    program.print(b'{"seq":')
    os.kill(os.getpid(), signal.SIGSEGV)


@saboteur("run", "LINK.stays-alive")
def exit_mid_run(program: Program, usual: Usual, message: Message) -> None:
    """Exits with status 3 in a run."""
    sys.exit(3)


@saboteur("run", "LINK.stays-alive")
def forks_child_that_lives_on(program: Program, usual: Usual, message: Message) -> None:
    """Dies in a run and leaves a child behind that holds the pipes open."""
    child = subprocess.Popen([sys.executable, "-S", "-c", f"import time; time.sleep({FOREVER_S})"])
    os.write(2, b"child %d\n" % child.pid)
    os._exit(9)


@saboteur("stop", "LINK.stops")
def hang_at_stop(program: Program, usual: Usual, message: Message) -> None:
    """Goes on living after stop."""
    time.sleep(FOREVER_S)


@saboteur("stop", "LINK.stops")
def exit_code_at_stop(program: Program, usual: Usual, message: Message) -> Any:
    """Exits with status 7 at stop."""
    return 7


@saboteur("stop", "LINK.stops")
def answers_stop(program: Program, usual: Usual, message: Message) -> Any:
    """Answers stop, which has no answer."""
    program.print(json.dumps({"seq": message["seq"], "ok": True}).encode() + b"\n")
    return 0


@saboteur("start", "LINK.fresh-start")
def keeps_state_over_start(program: Program, usual: Usual, message: Message) -> Any:
    """Goes on with the controller of the first start, whatever start says later."""
    return {"ok": True} if program.starts else usual(message)


@saboteur("run", "LINK.cuts")
def depends_on_cuts(program: Program, usual: Usual, message: Message) -> Any:
    """Forgets everything but the count at the start of every run message."""
    program.controller.power_cycle()
    return usual(message)


def main(arguments: list[str]) -> int:
    """Run the saboteur that is named; returns its exit status."""
    if len(arguments) != 1 or arguments[0] not in SABOTEURS:
        sys.stderr.write(f"name one of {', '.join(SABOTEURS)}\n")
        return 2
    program, fault = Program(arguments[0]), SABOTEURS[arguments[0]]
    setattr(program, fault.place, partial(fault.act, program, getattr(program, fault.place)))
    return program.serve()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
