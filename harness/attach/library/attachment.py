"""A C library as a controller: `lib:./libcontroller.so`, built with `fullproof.h`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import evolve

from ctrl.settings import Settings
from ctrl.vocabulary import Stage
from harness.attach.answers import AnswerColumns
from harness.attach.base import EQUALISATION, Attachment
from harness.attach.identity import identity_from
from harness.attach.library import layout as layouts
from harness.attach.library.hosted import (
    LibraryProgram,
    library_path,
    single,
    single_settings,
)
from harness.attach.library.layout import OUTPUTS, ROWS_A_BLOCK, Layout
from harness.attach.library.memory import SharedMemory
from harness.attach.library.stamps import in_milliseconds
from harness.run import Answers, Case, Identity, Trace

_NUMBERS = ("soc", "voltage_request_v", "current_request_a")
_EXPECTED = {
    "stage": ", ".join(f"{int(stage)} ({stage.word})" for stage in Stage),
    "full_reset": "0 or 1",
}


def open_attachment(spec: str, rest: str, limit_s: float) -> LibraryAttachment:
    """Attach the library of `lib:./libcontroller.so`.

    Raises:
        AttachError: there is no such library, or it cannot be loaded on this machine.
    """
    return LibraryAttachment(spec, library_path(spec, rest), limit_s)


class LibraryAttachment(LibraryProgram, Attachment):
    """A controller that is a library; see `LibraryProgram`."""

    def __init__(self, spec: str, library: Path, limit_s: float) -> None:
        self._layout: Layout | None = None
        self._memory = SharedMemory()
        self._outputs: tuple[str, ...] = ()
        super().__init__(spec, library, limit_s)

    def start(self, settings: Settings, soc: float) -> None:
        """A fresh controller in the same process; see the base class."""
        self.hello()
        assert self._layout is not None
        record = layouts.settings_record(self._layout, settings)
        self._begin_with(record, soc=float(soc))

    def run(self, trace: Trace) -> Answers:
        """Send the samples, so many at a time; see the base class."""
        rows = self._stepped(trace, ROWS_A_BLOCK)
        columns: dict[str, Any] = {}
        for name in self._outputs:
            kind = np.int8 if name == "stage" else np.bool_ if name == "full_reset" else np.float64
            columns[name] = rows[name].astype(kind)
        return Answers(**columns)

    def request_equalisation(self) -> None:
        """Call `fullproof_equalise`; see the base class."""
        self._doing = "equalise"
        self._operate("equalise", "that an equalisation was asked for")

    def as_given(self, case: Case) -> Case:
        """The case with stamps in milliseconds, and in single precision where the library is."""
        self.hello()
        assert self._layout is not None
        t = in_milliseconds(case.trace.t)
        columns = {"t": case.trace.t if np.array_equal(t, case.trace.t, equal_nan=True) else t}
        settings = case.settings
        if self._layout.single:
            for name in case.trace.columns[1:]:
                columns[name] = single(case.trace.column(name))
            settings = Settings.from_mapping(single_settings(settings.to_mapping()))
        elif columns["t"] is case.trace.t:
            return case
        return evolve(case, trace=evolve(case.trace, **columns), settings=settings)

    def _told(self) -> dict[str, Any]:
        kinds = {real_bytes: layouts.layout_of(real_bytes) for real_bytes in (4, 8)}
        return {
            "role": self.role,
            "magic": layouts.MAGIC,
            "version": layouts.LAYOUT,
            "equalises": layouts.FEATURE_BITS[EQUALISATION],
            "structures": ["fullproof_sample", "fullproof_output", "fullproof_settings"],
            "sizes": {
                str(real_bytes): [k.itemsize for k in (kind.sample, kind.output, kind.settings)]
                for real_bytes, kind in kinds.items()
            },
        }

    def _put(self, part: Trace) -> bytes:
        assert self._layout is not None
        self._memory.put_samples(self._layout, part, self._clock.ticks(part.t))
        return b'"do":"run","count":%d' % len(part)

    def _identified(self, answer: Mapping[str, Any]) -> Identity:
        self._refuse_unusable(answer)
        self._layout = layouts.layout_of(answer["layout"][2])
        said = dict(answer)
        bits = said.pop("features", 0)
        known = layouts.FEATURE_BITS
        names = [*known, *(f"bit {k}" for k in range(len(known), 32))]
        said["features"] = [name for k, name in enumerate(names) if bits >> k & 1]
        if said.pop("fixed", False):
            record = self._memory.settings(self._layout.settings.itemsize)
            said["fixed"] = layouts.settings_mapping(self._layout, record)
        given = said.get("outputs", 0)
        self._outputs = ("stage", *(n for k, n in enumerate(OUTPUTS) if given >> k & 1))
        identity = identity_from(said)
        # The same words as for a program that claims what it does not show.
        AnswerColumns(identity.features).add(list(self._outputs), [], 0)
        return identity

    def _right(self, block: npt.NDArray[Any]) -> dict[str, npt.NDArray[np.bool_]]:
        right = {name: np.isfinite(block[name]) for name in self._outputs if name in _NUMBERS}
        right["stage"] = block["stage"] < len(Stage)
        if "full_reset" in self._outputs:
            right["full_reset"] = block["full_reset"] <= 1
        return right

    def _should_be(self, name: str) -> str:
        return _EXPECTED.get(name, "a finite number")
