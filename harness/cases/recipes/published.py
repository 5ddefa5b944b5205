"""A charge that nobody here invented: the solution of a published cell model."""

import numpy as np

from harness.cases.folder import vectors_folder
from harness.cases.packs import hut
from harness.cases.passages import Passages
from harness.cases.recipe import Book
from harness.cases.trace_file import read

BOOK = Book("published")

TRACE_NAME = "lfp-cccv-16s.bdf.csv"
# From the table in vectors/published/README.md: state of charge of the model, which is exactly the
# charge that went in divided by 280 Ah, at the start, at 5802.09 s, at 10002.09 s and at the end.
_START_SOC, _BENT_SOC, _HELD_SOC, _END_SOC = 0.200000, 0.988485, 0.995875, 0.985113
_CAPACITY_AH = 280.0


@BOOK.recipe(
    "lfp-cccv-16s",
    title="A published cell model charged at constant current, then at constant voltage",
    why="The shape of a real charge, from outside: sharp bend, falling current, steep end of the curve.",
    requirements=(
        "ENTRY.held-long-enough ENTRY.not-late HOLD.full-length HOLD.ends FULL.granted "
        "FULL.at-hold-end FULL.sets-one FLOAT.stays SOC.counts SOC.ceiling SOC.no-jump"
    ),
    features="full_reset soc",
    # The hold of 3595 s ends in the middle between two samples; with 3600 s it would end on one.
    # 55.62 V is between two readings of the fall after the hold; 55.6 V is 5 mV from one.
    settings=hut(hold_s=3595, full_v=55.62),
    catches=("counts samples instead of seconds", "needs a reading every second"),
    source="published",
)
def lfp_cccv_16s(b: Passages) -> None:
    """Rest, 140 A up to 56 V, 70 min at 56 V, a load, an hour at 54 V; a sample every 10 s."""
    s = b.settings
    path = vectors_folder() / "published" / TRACE_NAME
    b.need(path.exists(), f"{TRACE_NAME} is missing")
    b.need(s.cells == 16, f"the trace is one of 16 cells, cells is {s.cells}")
    b.need(s.max_gap_s > 11, "the trace has a sample every 10 s: max_gap_s must be more than 11 s")
    b.need(s.capacity_ah == _CAPACITY_AH, "the trace is one of 280 Ah")
    b.need(s.charge_efficiency == 1.0, "charge_efficiency must be 1")
    b.need(0.9887 < s.soc_ceiling < 0.9952, "soc_ceiling must be about 0.99")
    b.need_setting("empty_v", None, 44.8)
    b.need_setting("return_soc", None, 0.9)
    b.need_float_room(5000)
    trace = read(path)
    t, v, i = trace.t, trace.v, trace.i
    # The voltage rises past entry_v once and stays until the load comes at 10010 s: the dwell runs
    # from the first sample at entry_v, the hold from the sample on which the dwell is over.
    first = int(np.argmax(v >= s.entry_v))
    gone = int(np.argmax(t >= 10005.0))
    enters = int(np.argmax(t >= t[first] + s.entry_dwell_s))
    expires = int(np.argmax(t >= t[enters] + s.hold_s))
    resets = int(np.argmax(t >= t[expires] + s.confirm_s))
    b.need(
        v[first] >= s.entry_v and 0 < first <= enters < expires <= resets < gone,
        "the hold does not fit into the 70 min at 56 V",
    )
    b.need(bool(np.all(v[resets:] > s.return_v)), "the trace falls under return_v")
    b.need(bool(np.all(v[first:gone] >= max(s.entry_v, s.full_v))), "56 V is not held throughout")
    b.need(s.taper_a is None or bool(np.all(abs(i[expires:gone]) < s.taper_a)), "taper_a is 0")
    b.soc = _START_SOC
    for k in range(len(trace)):
        b.at(float(t[k]), v=float(v[k]), i=float(i[k]))
        if t[k] == 5800.0:
            # 2.09 s of 140 A before the bend; a rectangle sum differs by half an interval of it.
            b.expect_soc(_BENT_SOC - 2.09 * 140 / (3600 * _CAPACITY_AH), 0.0008)
        if k == enters:
            b.expect("absorption")
        if k == resets:
            b.expect_reset()
    # The current was zero at the reset, so all that the model lost since then is counted.
    b.expect_soc(1.0 - (_HELD_SOC - _END_SOC), 0.0002)
