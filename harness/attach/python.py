"""A Python class as a controller, in this process.

The class is made as `Class(settings, soc)`: a mapping of every setting by name, and the starting
count. `step(t, v, i, cell_max_v, temp_c, temp_max_c)` takes one sample, None for a reading that is
missing, and returns a mapping or an object with the answer columns; one that the controller does
not have is left out or None. `power_cycle()` loses the power; `request_equalisation()`, which is
needed only where `equalisation` is claimed, asks for one. The class says who it is in `name`,
`version`, `features` and, where its settings cannot be set, `fixed`. It refuses settings by
raising `ValueError` when it is made.
"""

from __future__ import annotations

import importlib
import importlib.util
import sys
import traceback
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import numpy as np

from ctrl.charger import Conduct
from ctrl.resets import ResetRule
from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.attach.answers import AnswerColumns, rows_fault
from harness.attach.base import EQUALISATION, Attached, AttachError, Attachment, LinkFault, Refused
from harness.attach.identity import PROTOCOL, identity_from
from harness.attach.kept import Kept, KeptText
from harness.attach.limit import TimedOut, time_limit
from harness.run import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Answers, Identity, Trace

# The limit for one answer is the limit for so many samples, as in the line protocol.
SAMPLES_A_LIMIT = 1000
TRACEBACK_LINES = 12
# The methods beside `step` that a class needs for what it claims.
METHODS = {"power_cycle": "power_cycle", EQUALISATION: "request_equalisation"}


def open_attachment(spec: str, rest: str, limit_s: float) -> PythonAttachment:
    """Attach the class of `py:module:Class` or `py:path/to/file.py:Class`.

    Raises:
        AttachError: there is no such class, or its module cannot be imported.
    """
    return PythonAttachment(spec, class_of(spec, rest), limit_s)


def class_of(spec: str, rest: str) -> type[Any]:
    """The class that is named; raises `AttachError` as `open_attachment`."""
    where, _, name = rest.rpartition(":")
    if not where or not name:
        raise AttachError(
            f"{spec!r} names no class", hint="write py:module:Class or py:path/to/file.py:Class"
        )
    module = imported(where)
    found = getattr(module, name, None)
    if not isinstance(found, type):
        if isinstance(found, ResetRule):
            raise AttachError(
                f"{name} of {where} is a rule for the full reset, no class",
                hint=f"the reference with this rule is ref:{spec}",
            )
        classes = [key for key, value in vars(module).items() if isinstance(value, type)]
        own = [key for key in classes if vars(module)[key].__module__ == module.__name__]
        raise AttachError(
            f"{where} has no class {name}",
            hint=f"it has {', '.join(own or classes) or 'no class at all'}",
        )
    return found


def imported(where: str) -> Any:
    """The module of this name, or in this file.

    Raises:
        AttachError: there is none, or it cannot be imported.
    """
    path = Path(where)
    folder = path.parent if path.suffix == ".py" else Path()
    if path.suffix == ".py" and not path.is_file():
        raise AttachError(f"there is no file {where}", hint=f"seen from {Path.cwd()}")
    # What stands beside the class can be imported by it, as if it were run from there.
    # At the end, so that a file there never stands in the way of an import of ours.
    if (beside := str(folder.resolve())) not in sys.path:
        sys.path.append(beside)
    try:
        with redirect_stdout(sys.stderr):
            return _module_of(path) if path.suffix == ".py" else importlib.import_module(where)
    except (Exception, SystemExit) as error:
        raise AttachError(
            f"cannot import {where}: {type(error).__name__}: {error}", hint=_cause(error, where)
        ) from error


def _module_of(path: Path) -> Any:
    name = f"attached_{path.stem}"
    plan = importlib.util.spec_from_file_location(name, path)
    assert plan is not None
    assert plan.loader is not None
    module = importlib.util.module_from_spec(plan)
    # dataclasses and pickles look their module up by its name.
    sys.modules[name] = module
    plan.loader.exec_module(module)
    return module


class PythonObject(Attached):
    """Whatever is under test, as a Python class: everything but what is said of its role.

    Attributes:
        members: what the class says of itself.
    """

    members: tuple[str, ...] = ("name", "version", "features", "fixed")

    def __init__(self, spec: str, made: type[Any], limit_s: float) -> None:
        super().__init__(spec, limit_s)
        self._class = made
        self._identity: Identity | None = None
        self._columns: AnswerColumns | None = None
        self._object: Any = None
        self._printed = Kept()

    def hello(self) -> Identity:
        """Who the class says it is; see the base class."""
        if self._identity is None:
            said = {name: getattr(self._class, name, None) for name in self.members}
            identity = self._identified(said | {"protocol": PROTOCOL, "language": "Python"})
            needed = self._needed(identity)
            for method in needed:
                if not callable(getattr(self._class, method, None)):
                    raise LinkFault(
                        "LINK.greets",
                        observed=f"no method {method}",
                        expected=f"methods {' and '.join(needed)}",
                        sentence=f"The class {self._class.__name__} has no method {method}.",
                    )
            self._identity = identity
        return self._identity

    def _identified(self, said: Mapping[str, Any]) -> Identity:
        """Who the class says it is; raises `LinkFault`."""
        return identity_from(said)

    def _needed(self, identity: Identity) -> tuple[str, ...]:
        """The methods that the class must have."""
        return (
            "step",
            *(method for feature, method in METHODS.items() if feature in identity.features),
        )

    def _start(self, *arguments: Any, of: str, columns: type[AnswerColumns]) -> None:
        """Make a new object of the class from these arguments, which `of` names."""
        identity = self.hello()
        self.restart()
        with self._watched(f"{self._class.__name__}({of})"):
            try:
                self._object = self._class(*arguments)
            except ValueError as error:
                raise Refused(str(error), stderr=self._printed.text, role=self.role) from error
        self._columns = columns(identity.features)

    def _stepped(self, parts: Iterable[tuple[int, Iterable[Sequence[Any]]]]) -> AnswerColumns:
        """Step through samples, so many at a time, each as the arguments of `step`.

        Raises:
            LinkFault: it did not answer as it should.
            RuntimeError: there was no accepted `start` before.
        """
        columns = self._started()
        done = 0
        try:
            for count, samples in parts:
                start = done
                rows: list[list[Any]] = []
                try:
                    with self._watched("step(…)"):
                        for readings in samples:
                            rows.append(_row(self._object.step(*readings), columns.known))
                finally:
                    done += len(rows)
                names, rows = _present(rows, start, columns.known)
                columns.add(names, rows, count)
            columns.check()
        except LinkFault as fault:
            if fault.index < 0:
                fault.index = done
            fault.stderr = fault.stderr or self._printed.text
            self.restart()
            raise
        return columns

    def _started(self) -> AnswerColumns:
        if self._columns is None:
            raise RuntimeError(f"the {self.role} has not been started")
        return self._columns

    def power_cycle(self) -> None:
        """Let the controller lose its power; see the base class."""
        self._started()
        with self._watched("power_cycle()"):
            self._object.power_cycle()

    def restart(self) -> None:
        """Forget the object; the next `start` makes a new one."""
        self._object = None
        self._columns = None
        self._printed = Kept()

    @contextmanager
    def _watched(self, call: str) -> Iterator[None]:
        """Run code of the class: what it prints is kept, what it raises becomes a fault."""
        sink = KeptText(self._printed)
        try:
            with redirect_stdout(sink), redirect_stderr(sink), time_limit(self.limit_s):
                yield
        except (LinkFault, KeyboardInterrupt):
            raise
        except TimedOut as error:
            raise LinkFault(
                "LINK.answers",
                observed=f"no answer within {self.limit_s:g} s",
                expected="an answer within the limit",
                sentence=f"{call} took longer than {self.limit_s:g} s and was cut off.",
                sent=call,
                stderr=self._printed.text + _trimmed(error),
            ) from None
        except BaseException as error:
            raised = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
            raise LinkFault(
                "LINK.stays-alive",
                observed=raised,
                expected="no exception",
                sentence=f"{call} raised {raised}",
                sent=call,
                stderr=self._printed.text + _trimmed(error),
            ) from error


class PythonAttachment(PythonObject, Attachment):
    """A controller that is a Python class."""

    def start(self, settings: Settings, soc: float) -> None:
        """Make a new object of the class; see the base class."""
        self._start(settings.to_mapping(), float(soc), of="settings, soc", columns=AnswerColumns)

    def run(self, trace: Trace) -> Answers:
        """Step through the samples; see the base class."""
        self._started()
        if not len(trace):
            raise ValueError("a run needs at least one sample")
        parts = (trace.part(k, k + SAMPLES_A_LIMIT) for k in range(0, len(trace), SAMPLES_A_LIMIT))
        return self._stepped((len(part), _readings(part)) for part in parts).answers()

    def request_equalisation(self) -> None:
        """Ask the object for an equalisation; see the base class."""
        self._started()
        with self._watched("request_equalisation()"):
            self._object.request_equalisation()


def _readings(trace: Trace) -> Iterator[tuple[float | None, ...]]:
    """The samples as the arguments of `step`: None for what is missing or not finite."""
    columns: list[list[float | None]] = []
    for name in REQUIRED_COLUMNS + OPTIONAL_COLUMNS:
        if name not in trace.columns:
            columns.append([None] * len(trace))
            continue
        values = trace.column(name)
        readings: list[float | None] = values.tolist()
        for index in np.flatnonzero(~np.isfinite(values)):
            readings[index] = None
        columns.append(readings)
    return zip(*columns, strict=True)


def _row(answer: Any, names: Sequence[str]) -> list[Any]:
    if isinstance(answer, Mapping):
        row = [answer.get(name) for name in names]
    else:
        row = [getattr(answer, name, None) for name in names]
    return [value.word if isinstance(value, Stage | Conduct) else value for value in row]


def _present(
    rows: list[list[Any]], start: int, names: Sequence[str]
) -> tuple[list[str], list[list[Any]]]:
    """The names of the columns in which there is an answer, and the rows of just those.

    Raises:
        LinkFault: `LINK.rows`: a column that only some of the answers have; its index counts from
            `start`.
    """
    kept = [k for k, value in enumerate(rows[0]) if value is not None]
    for index, row in enumerate(rows):
        here = [k for k, value in enumerate(row) if value is not None]
        if here != kept:
            uneven = names[min(set(here) ^ set(kept))]
            raise rows_fault(
                f"{uneven} in some answers only",
                "the same columns in every answer",
                f"step(…) returned {uneven} for some samples and not for others.",
                index=start + index,
            )
    return [names[k] for k in kept], [[row[k] for k in kept] for row in rows]


def _trimmed(error: BaseException) -> str:
    """The end of the traceback, without the part of it that belongs to the harness and to Python."""
    lines = traceback.format_list(_theirs(error)) + traceback.format_exception_only(error)
    return "\n" + "".join(lines[-TRACEBACK_LINES:]).rstrip()


def _theirs(error: BaseException) -> list[traceback.FrameSummary]:
    """The frames of an error that are neither the harness's nor those of the import itself."""
    own = Path(__file__).parent
    return [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if Path(frame.filename).parent != own
        and not frame.filename.startswith("<frozen importlib")
        and frame.filename != importlib.__file__
    ]


def _cause(error: BaseException, where: str) -> str:
    """The place in the user's own code that an import failed at, in one line."""
    if isinstance(error, SyntaxError):
        return f"see {error.filename}:{error.lineno}: {(error.text or '').strip()}"
    frames = _theirs(error)
    if frames:
        return f"see {frames[-1].filename}:{frames[-1].lineno}: {frames[-1].line}"
    if where.endswith(".py"):
        return ""
    return f"it is neither installed nor seen from {Path.cwd()}; a file is py:path/to/file.py:Class"
