"""The example of a charger as a library, with faults planted in it; and a small one that does nothing."""

from __future__ import annotations

import numpy as np

from ctrl.vocabulary import Stage
from harness.charger.case import ChargerTrace
from tests.attach.planted import EXAMPLE

CHARGER = EXAMPLE.with_name("charger_library.c")
# What a library of a charger must have, after the header.
SMALL_CHARGER = """
const fullproof_charger_description *fullproof_charger_describe(void) {
    static const fullproof_charger_description me = {"other half", "1", "C", 0};
    return &me;
}
const char *fullproof_charger_start(const fullproof_charger_settings *s) { (void)s; return 0; }
void fullproof_charger_step(const fullproof_charger_sample *s, const fullproof_message *m,
                            fullproof_charger_output *o) { (void)s, (void)m, (void)o; }
void fullproof_charger_power_cycle(void) {}
"""


def with_fault(line: str, instead: str) -> str:
    """The text of the example with something else in the place of one line."""
    text = CHARGER.read_text()
    assert text.count(line) == 1, f"the example has no one line {line!r}"
    return text.replace(line, instead)


def long_trace(packs: int, size: int) -> ChargerTrace:
    """More samples than go into one call, from packs that differ."""
    t = np.arange(float(size)) / 8
    each = np.ones((size, packs)) + np.arange(packs) / 16
    return ChargerTrace(
        t,
        np.full(size, 55.0),
        np.full(size, 5.0),
        request_v=54.0 + each,
        request_a=each * (10.0 + (np.arange(size) // 500 % 3)[:, None]),
        pack_v=54.0 + each / 2 + (np.arange(size) % 2)[:, None] / 64,
        pack_a=each,
        stage=np.full((size, packs), Stage.ABSORPTION, np.int8),
        age_s=each / 4,
    )
