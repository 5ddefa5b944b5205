"""A program that speaks the line protocol on its standard input and output."""

from __future__ import annotations

import errno
import os
import shlex
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from ctrl.settings import Settings
from harness.attach.answers import AnswerColumns
from harness.attach.base import Attached, AttachError, Attachment, LinkFault, Refused
from harness.attach.faults import answers_fault, end_of, no_rows, not_json, silence_fault
from harness.attach.identity import PROTOCOL, identity_from
from harness.attach.kept import shortened
from harness.attach.process import NoAnswer, Process
from harness.run import Answers, Identity, Trace

ROWS_A_MESSAGE = 1000
# So many samples are put into rows at a time, whatever the size of a message.
ROWS_A_TABLE = 64 * ROWS_A_MESSAGE

Listener = Callable[[bytes, bytes], None]


def open_attachment(spec: str, rest: str, limit_s: float) -> ProgramAttachment:
    """Attach the program of `exec:./program arguments`, quoted as in a shell.

    Raises:
        AttachError: there is no such program, or it may not be run.
    """
    return ProgramAttachment(spec, command_of(spec, rest), limit_s)


def command_of(spec: str, rest: str) -> list[str]:
    """The program and its arguments; raises `AttachError` as `open_attachment`."""
    try:
        command = shlex.split(rest)
    except ValueError as error:
        raise AttachError(
            f"cannot read the command {rest!r}: {error}",
            hint="quote as in a shell: exec:'./program \"first argument\"'",
        ) from error
    if not command:
        raise AttachError(f"{spec!r} names no program", hint="write exec:./program arguments")
    if os.name != "posix":
        raise AttachError("programs can be attached on Linux and macOS only")
    if shutil.which(command[0]) is None:
        raise AttachError(f"cannot run {command[0]}", hint=_why_not(command[0]))
    return command


def _why_not(program: str) -> str:
    path = Path(program)
    if path.is_dir():
        return "it is a folder; name the program in it"
    if path.exists():
        return f"it is not executable; try chmod +x {program}"
    if os.sep in program:
        return f"there is no such file, seen from {Path.cwd()}; is it built?"
    return f"it is not on the PATH; write ./{program} for one in this folder"


def _hint(error: OSError) -> str:
    if error.errno == errno.ENOEXEC:
        return "it is neither a program for this machine nor a script that begins with #!"
    if error.errno == errno.ENOENT:
        return "is the interpreter in its first line installed?"
    return ""


class Program(Attached):
    """Whatever is under test, in a process of its own: everything but what is said of its role.

    After `start` it has answer columns; see `ProgramAttachment` for the role `controller`.

    Attributes:
        rows_a_message: the most samples sent in one `run` message.
        listener: called with each line sent and its answer, where somebody wants to listen in.
    """

    def __init__(self, spec: str, command: Sequence[str], limit_s: float) -> None:
        super().__init__(spec, limit_s)
        self.rows_a_message = ROWS_A_MESSAGE
        self.listener: Listener | None = None
        self._command = list(command)
        self._process: Process | None = None
        self._identity: Identity | None = None
        self._columns: AnswerColumns | None = None
        self._seq = 0
        self._sent = b""
        self._received = b""

    @property
    def pid(self) -> int | None:
        """The id of the program's process and process group; None while it does not run."""
        return self._process.pid if self._process else None

    def hello(self) -> Identity:
        """Who the program says it is; starts it where it does not run. See the base class."""
        if self._process is None or self._identity is None:
            self._greet()
        assert self._identity is not None
        return self._identity

    def power_cycle(self) -> None:
        """Let the controller lose its power; see the base class."""
        self._operate("power_cycle", "that the power was lost")

    def _operate(self, word: str, what: str) -> None:
        """Say a word that is answered with ok; `what` is what the answer then says."""
        self._started()
        if self._say(do=word).get("ok") is not True:
            raise self._fault(
                "LINK.answers",
                f"{word} not answered with ok",
                '"ok":true',
                f"The answer to {word} does not say {what}.",
            )

    def restart(self) -> None:
        """Kill the program and everything it started."""
        if self._process is not None:
            self._process.kill()
        self._process = None
        self._columns = None

    def stop(self) -> None:
        """Tell the program to stop and wait for its end; see the base class."""
        if self._process is None:
            return
        self._sent = self._line(b'"do":"stop"')
        self._received = b""
        status = self._process.farewell(self._sent, self.limit_s)
        said = bytes(self._process.unread)
        if status == 0 and not said:
            self.restart()
            return
        self._received = said
        if status is None:
            observed = f"still running {self.limit_s:g} s later"
        elif status:
            observed = end_of(status)
        else:
            observed = "printed on standard output"
        raise self._fault(
            "LINK.stops",
            observed,
            "exits with 0, without an answer",
            f"After stop the program did not simply end: {observed}; "
            "it must exit with 0 and print nothing more on standard output.",
        )

    def _greet(self) -> None:
        self._seq = 0
        self._sent, self._received = b"", b""
        try:
            self._process = self._begin()
        except OSError as error:
            raise AttachError(
                f"cannot run {self._command[0]}: {error.strerror}", hint=_hint(error)
            ) from error
        # A controller is never asked for its role: it had none to say before there were two.
        asked = {} if self.role == Attached.role else {"role": self.role}
        answer = self._say(do="hello", protocol=PROTOCOL, **asked)
        try:
            identity = self._identified(answer)
        except LinkFault as fault:
            self._throw_away(fault)
            raise
        self._identity = self._identity or identity

    def _begin(self) -> Process:
        """Start the process; raises `OSError`."""
        return Process(self._command)

    def _identified(self, answer: Mapping[str, Any]) -> Identity:
        """Who an answer to `hello` says the controller is; raises `LinkFault`."""
        return identity_from(answer)

    def _heard(self, line: bytes) -> None:
        """Tell whoever listens in."""
        if self.listener is not None:
            self.listener(self._sent, line)

    def _silent(self, silence: NoAnswer) -> LinkFault:
        """What is said where no answer came."""
        return silence_fault(silence, self.limit_s)

    def _started(self) -> AnswerColumns:
        if self._columns is None:
            raise RuntimeError(f"the {self.role} has not been started")
        return self._columns

    def _say(self, **message: Any) -> dict[str, Any]:
        try:
            return self._ask(orjson.dumps(message)[1:-1])
        except LinkFault as fault:
            self._throw_away(fault)
            raise

    def _line(self, members: bytes) -> bytes:
        line = b'{"seq":%d,%b}\n' % (self._seq, members)
        self._seq += 1
        return line

    def _ask(self, members: bytes) -> dict[str, Any]:
        """Send a message of these members and take its answer; its `seq` is checked."""
        assert self._process is not None
        seq = self._seq
        self._sent = self._line(members)
        self._received = b""
        try:
            line = self._process.ask(self._sent, self.limit_s)
        except NoAnswer as silence:
            self._received = silence.partial
            raise self._silent(silence) from silence
        self._received = line
        self._heard(line)
        try:
            answer = orjson.loads(line)
        except orjson.JSONDecodeError as error:
            raise not_json(line, error) from error
        if type(answer) is not dict:
            raise answers_fault(
                f"a JSON {type(answer).__name__}", "The answer is not a JSON object."
            )
        said = answer.get("seq")
        if said != seq or type(said) is bool:
            observed = "no seq" if said is None else f"seq {said!r:.40}"
            raise LinkFault(
                "LINK.sequence",
                observed=observed,
                expected=f"seq {seq}",
                sentence=f"The answer to message {seq} has {observed}; it must repeat seq {seq}.",
            )
        if self._process.unread:
            self._received = line + self._process.unread
            raise answers_fault(
                "more than one line", "The program printed more than one line as its answer."
            )
        return answer

    def _last_lines(self) -> dict[str, str]:
        assert self._process is not None
        return {
            "sent": shortened(self._sent),
            "received": shortened(self._received),
            "stderr": self._process.stderr.text,
        }

    def _first_fault(self, fault: LinkFault, columns: AnswerColumns, done: int) -> LinkFault:
        """The first fault of a run: a wrong row that nobody has looked at yet comes before."""
        if fault.index < 0:
            fault.index = done
        try:
            columns.check()
        except LinkFault as earlier:
            fault = earlier
        self._throw_away(fault)
        return fault

    def _throw_away(self, fault: LinkFault) -> None:
        """End the program and add to the fault what was said last."""
        if self._process is not None:
            self._process.kill()
            lines = self._last_lines()
            fault.sent = fault.sent or lines["sent"]
            fault.received = fault.received or lines["received"]
            fault.stderr = lines["stderr"]
        self.restart()

    def _fault(self, requirement: str, observed: str, expected: str, sentence: str) -> LinkFault:
        fault = LinkFault(requirement, observed=observed, expected=expected, sentence=sentence)
        self._throw_away(fault)
        return fault

    def _start(self, **members: Any) -> None:
        """Say `start` and take its answer; see the base class."""
        identity = self.hello()
        self._columns = None
        answer = self._say(do="start", **members)
        error = answer.get("error")
        if isinstance(error, str):
            raise Refused(error, role=self.role, **self._last_lines())
        if answer.get("ok") is not True:
            raise self._fault(
                "LINK.starts",
                "neither ok nor an error",
                '"ok":true, or "error" with the reason as text',
                f"The answer to start says neither that the {self.role} runs nor why it does not.",
            )
        self._columns = self._answer_columns(identity)

    def _answer_columns(self, identity: Identity) -> AnswerColumns:
        return AnswerColumns(identity.features)

    def _answered(self, names: Sequence[str], parts: Iterable[tuple[int, bytes]]) -> AnswerColumns:
        """Send rows as text, so many at a time, and take their answers; raises `LinkFault`."""
        columns = self._started()
        head = b'"do":"run","columns":%b,"rows":' % orjson.dumps(names)
        done = 0
        try:
            for count, rows in parts:
                answer = self._ask(head + rows)
                if "error" in answer:
                    raise no_rows(answer["error"])
                said = answer.get("rows")
                columns.add(answer.get("columns"), said, count, (self._sent, self._received))
                done += count
            columns.check()
        except LinkFault as fault:
            raise self._first_fault(fault, columns, done) from fault.__cause__
        return columns


class ProgramAttachment(Program, Attachment):
    """A controller in a process of its own; see `Program`."""

    def start(self, settings: Settings, soc: float) -> None:
        """A fresh controller in the same process; see the base class."""
        self._start(settings=settings.to_mapping(), soc=float(soc))

    def run(self, trace: Trace) -> Answers:
        """Send the samples, `rows_a_message` at a time; see the base class."""
        self._started()
        if not len(trace):
            raise ValueError("a run needs at least one sample")
        rows = rows_as_text(trace, self.rows_a_message)
        return self._answered(trace.columns, rows).answers()

    def request_equalisation(self) -> None:
        """Say `equalise`; see the base class."""
        self._operate("equalise", "that an equalisation was asked for")


def rows_as_text(trace: Trace, rows_a_message: int) -> Iterator[tuple[int, bytes]]:
    """The samples as JSON, so many rows at a time; NaN and infinities are written as null."""
    for start in range(0, len(trace), ROWS_A_TABLE):
        columns = [trace.column(name)[start : start + ROWS_A_TABLE] for name in trace.columns]
        table = np.empty((len(columns[0]), len(columns)))
        for place, column in enumerate(columns):
            table[:, place] = column
        if rows_a_message == 1:
            # A row alone costs less when it is cut out of the text of all.
            for row in orjson.dumps(table, option=orjson.OPT_SERIALIZE_NUMPY)[2:-2].split(b"],["):
                yield 1, b"[[%b]]" % row
            continue
        for first in range(0, len(table), rows_a_message):
            rows = table[first : first + rows_a_message]
            yield len(rows), orjson.dumps(rows, option=orjson.OPT_SERIALIZE_NUMPY)
