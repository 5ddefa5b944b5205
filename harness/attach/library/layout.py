"""The structures of `fullproof.h` as NumPy sees them, and where they lie in the shared memory."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from attrs import frozen

from ctrl.settings import ON_SAG_WORDS, ON_UNCONFIRMED_WORDS, SETTING_NAMES, Settings
from harness.run import FEATURES, OPTIONAL_COLUMNS, REQUIRED_COLUMNS

HEADER = Path(__file__).parent / "fullproof.h"
MAGIC = 0x46505246
LAYOUT = 2
# The limit for one answer is the limit for so many samples. Most of what a block costs is that two
# processes take turns, so there are more than in a message of the line protocol.
ROWS_A_BLOCK = 4000

READINGS = REQUIRED_COLUMNS[1:] + OPTIONAL_COLUMNS
# Bit k of `valid`, in the order of the readings; the stamp comes first.
VALID = {name: 1 << k for k, name in enumerate(REQUIRED_COLUMNS + OPTIONAL_COLUMNS)}
# Bit k of what is present: the header has given out these numbers, whatever order `ctrl` has.
MAY_BE_NONE = (
    "sag_v",
    "taper_a",
    "float_s",
    "return_soc",
    "empty_v",
    "cell_limit_v",
    "charge_min_c",
    "charge_max_c",
    "compensation_min_c",
    "compensation_max_c",
    "sensor_lost_s",
    "sensor_frozen_s",
    "sensor_jump_c",
    "equalisation_v",
    "equalisation_every_s",
    "equalisation_max_c",
)
_OF_EQUALISATION = tuple(name for name in SETTING_NAMES if name.startswith("equalisation_"))
_WHOLE = ("cells", "on_sag", "on_unconfirmed")
_RANGES = ("plausible_v", "plausible_i")
_WORDS = {"on_sag": ON_SAG_WORDS, "on_unconfirmed": ON_UNCONFIRMED_WORDS}
FEATURE_BITS = {name: 1 << k for k, name in enumerate(FEATURES)}
# Bit k of `outputs`; the stage has none, as every controller has it.
OUTPUTS = ("soc", "full_reset", "voltage_request_v", "current_request_a")


@frozen(eq=False)
class Layout:
    """How the structures lie in memory for one precision.

    Attributes:
        real: the floating-point type, float32 or float64.
        sample: `fullproof_sample`.
        output: `fullproof_output`.
        settings: `fullproof_settings`.
    """

    real: np.dtype[Any]
    sample: np.dtype[Any]
    output: np.dtype[Any]
    settings: np.dtype[Any]

    @property
    def single(self) -> bool:
        """Whether the controller works in single precision."""
        return self.real.itemsize == 4


@cache
def layout_of(real_bytes: int) -> Layout:
    """The layout for a `fullproof_real` of so many bytes, 4 or 8."""
    real = f"f{real_bytes}"
    sample = [("time_ms", "u4"), ("valid", "u4"), *((name, real) for name in READINGS)]
    numbers = ("soc", "voltage_request_v", "current_request_a")
    output = [
        *((name, real) for name in numbers),
        ("stage", "u1"),
        ("full_reset", "u1"),
        ("reserved", "u1", (2,)),
    ]
    whole = [("has", "u4"), *((name, "u4") for name in _WHOLE)]
    rest = [
        (name, real, (2,)) if name in _RANGES else (name, real)
        for name in SETTING_NAMES
        if name not in _WHOLE
    ]
    sample_type, output_type, settings_type = (
        np.dtype(members, align=True) for members in (sample, output, whole + rest)
    )
    return Layout(np.dtype(real), sample_type, output_type, settings_type)


def settings_record(layout: Layout, settings: Settings) -> bytes:
    """Settings as the bytes of `fullproof_settings`; what is none is NaN and has no bit."""
    record = np.zeros((), dtype=layout.settings)
    for name, value in settings.to_mapping().items():
        if name in _WORDS:
            value = _WORDS[name].index(value)
        record[name] = np.nan if value is None else value
    present = (k for k, name in enumerate(MAY_BE_NONE) if getattr(settings, name) is not None)
    record["has"] = sum(1 << k for k in present)
    return record.tobytes()


def settings_mapping(layout: Layout, record: bytes) -> dict[str, Any]:
    """Settings by name, from the bytes of `fullproof_settings`; words that do not exist stay numbers."""
    fields = np.frombuffer(record, dtype=layout.settings)[0]
    named = {name: fields[name].tolist() for name in SETTING_NAMES}
    for name, words in _WORDS.items():
        if named[name] < len(words):
            named[name] = words[named[name]]
    for k, name in enumerate(MAY_BE_NONE):
        if not int(fields["has"]) >> k & 1:
            named[name] = None
    if named["equalisation_v"] is None:
        # Whoever has no equalisation need not fill in how long one would last.
        named = {name: value for name, value in named.items() if name not in _OF_EQUALISATION}
    return named


@frozen
class Places:
    """Where things lie in the memory that harness and worker share, in bytes from its start.

    The first four bytes count the samples that are answered.
    """

    settings: int = 64
    samples: int = 1024
    outputs: int = 1024 + 48 * ROWS_A_BLOCK
    size: int = 1024 + (48 + 32) * ROWS_A_BLOCK


PLACES = Places()
