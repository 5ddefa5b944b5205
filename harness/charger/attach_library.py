"""A C library as a charger: `lib:./libcharger.so`, built with `fullproof.h`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import evolve

from ctrl.charger import ChargerSettings, Conduct
from harness.attach.library.hosted import (
    LibraryProgram,
    library_path,
    single,
    single_settings,
)
from harness.attach.library.stamps import in_milliseconds
from harness.charger.attach import ChargerAnswerColumns, ChargerAttachment, charger_identity
from harness.charger.case import (
    CHARGER_ANSWER_COLUMNS,
    OWN_COLUMNS,
    PACK_NUMBERS,
    ChargerAnswers,
    ChargerCase,
    ChargerTrace,
)
from harness.charger.library_layout import (
    LAYOUT,
    MAGIC,
    STRUCTURES,
    ChargerLayout,
    ChargerMemory,
    charger_layout_of,
    charger_settings_mapping,
    charger_settings_record,
)
from harness.run import Identity

_EXPECTED = ", ".join(f"{int(conduct)} ({conduct.word})" for conduct in Conduct)


def open_library(spec: str, rest: str, limit_s: float) -> ChargerLibrary:
    """Attach the library of `lib:./libcharger.so`.

    Raises:
        AttachError: there is no such library, or it cannot be loaded on this machine.
    """
    return ChargerLibrary(spec, library_path(spec, rest, "charger"), limit_s)


class ChargerLibrary(LibraryProgram, ChargerAttachment):
    """A charger that is a library; see `LibraryProgram`."""

    prefix = "fullproof_charger_"

    def __init__(self, spec: str, library: Path, limit_s: float) -> None:
        """Attach the library of this path."""
        self._layout: ChargerLayout | None = None
        self._memory: ChargerMemory = ChargerMemory()
        super().__init__(spec, library, limit_s)

    def start(self, settings: ChargerSettings) -> None:
        """A fresh charger in the same process; see the base class."""
        self._begin_with(charger_settings_record(self._known(), settings))

    def run(self, trace: ChargerTrace) -> ChargerAnswers:
        """Send the samples, so many at a time; see the base class."""
        self._started()
        rows = self._stepped(trace, self._known().rows_a_block(trace.packs))
        kinds = {"state": np.int8}
        return ChargerAnswers(
            **{name: rows[name].astype(kinds.get(name, float)) for name in CHARGER_ANSWER_COLUMNS}
        )

    def as_given(self, case: ChargerCase) -> ChargerCase:
        """The case with stamps in milliseconds, and in single precision where the library is."""
        layout, trace, settings = self._known(), case.trace, case.settings
        columns: dict[str, Any] = {"t": in_milliseconds(trace.t)}
        if layout.single:
            for name in (*OWN_COLUMNS[1:], *PACK_NUMBERS):
                columns[name] = single(getattr(trace, name))
            settings = ChargerSettings.from_mapping(single_settings(settings.to_mapping()))
        elif np.array_equal(columns["t"], trace.t, equal_nan=True):
            return case
        return evolve(case, trace=evolve(trace, **columns), settings=settings)

    def cannot_be_told(self, case: ChargerCase) -> str:
        """Why a case cannot be told to the library at all; empty where it can."""
        if not self._known().rows_a_block(case.settings.packs):
            return f"has more packs, {case.settings.packs}, than fit into one call of a library"
        return super().cannot_be_told(case)

    def _known(self) -> ChargerLayout:
        """The layout that the library turns out to have; asks it who it is."""
        self.hello()
        assert self._layout is not None
        return self._layout

    def _told(self) -> dict[str, Any]:
        return {
            "role": self.role,
            "magic": MAGIC,
            "version": LAYOUT,
            "structures": STRUCTURES,
            "sizes": {str(size): charger_layout_of(size).sizes for size in (4, 8)},
        }

    def _put(self, part: ChargerTrace) -> bytes:
        layout = self._known()
        offset = self._memory.put_heard(layout, part, self._clock.ticks(part.t))
        return b'"do":"run","count":%d,"messages":%d,"packs":%d' % (len(part), offset, part.packs)

    def _identified(self, answer: Mapping[str, Any]) -> Identity:
        self._refuse_unusable(answer)
        self._layout = charger_layout_of(answer["layout"][2])
        said = dict(answer)
        if said.pop("fixed", False):
            record = self._memory.settings(self._layout.settings.itemsize)
            said["fixed"] = charger_settings_mapping(self._layout, record)
        return charger_identity(said)

    def _answer_columns(self, identity: Identity) -> ChargerAnswerColumns:
        return ChargerAnswerColumns(identity.features)

    def _right(self, block: npt.NDArray[Any]) -> dict[str, npt.NDArray[np.bool_]]:
        right = {name: np.isfinite(block[name]) for name in ("set_point_v", "limit_a")}
        return right | {"state": block["state"] < len(Conduct)}

    def _should_be(self, name: str) -> str:
        return _EXPECTED if name == "state" else "a finite number"
