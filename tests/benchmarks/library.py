"""A C library in its worker: what a sample costs over the library's own time, and a new start."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from statistics import median

import numpy as np

from ctrl.settings import Settings
from harness.attach.library.attachment import LibraryAttachment, open_attachment
from harness.attach.library.layout import HEADER
from harness.run import Trace
from tests.benchmarks.link import seconds

EXAMPLE = Path(__file__).parents[2] / "harness" / "examples" / "c" / "library.c"
SAMPLES = 1_000_000
OWN_SAMPLES = 4_000_000
ROUNDS = 5

# The same samples, prepared beforehand, given to the same function by a program in C.
ALONE = r"""
#include "library.c"
#include <time.h>
enum { ROWS = 1000 };
static fullproof_sample samples[ROWS];
static fullproof_output outputs[ROWS];
int main(int argc, char **argv) {
    uint32_t done, blocks = (uint32_t)atoi(argv[1]) / ROWS;
    fullproof_settings s;
    double *real = &s.capacity_ah;
    for (unsigned k = 0; k < (sizeof s - 16) / sizeof *real; k++) real[k] = NAN;
    s.has = 0, s.cells = 16, s.on_sag = 0, s.on_unconfirmed = 0;
    s.capacity_ah = 280, s.absorption_v = 56, s.entry_v = 55.8, s.entry_dwell_s = 3, s.hold_s = 3600;
    s.full_v = 55.6, s.confirm_s = 0, s.wait_limit_s = 3600, s.float_v = 54, s.return_v = 53;
    s.return_dwell_s = 60, s.charge_current_a = 100, s.charge_efficiency = 1, s.soc_ceiling = .99;
    s.empty_dwell_s = 10, s.cell_release_v = 3.5, s.temp_band_c = 3, s.trip_dwell_s = 1;
    s.release_dwell_s = 10, s.max_gap_s = 30, s.compensation_v_per_c = 0, s.reference_c = 25;
    s.plausible_v[0] = 16, s.plausible_v[1] = 64, s.plausible_i[0] = -500, s.plausible_i[1] = 500;
    fullproof_start(&s, 0.5);
    struct timespec begin, end;
    clock_gettime(CLOCK_MONOTONIC, &begin);
    for (uint32_t block = 0, t = 0; block < blocks; block++) {
        for (int k = 0; k < ROWS; k++, t += 1000)
            samples[k] = (fullproof_sample){t, 7, 54.5, 12.5, NAN, NAN, NAN};
        fullproof_run(samples, outputs, ROWS, &done);
    }
    clock_gettime(CLOCK_MONOTONIC, &end);
    printf("%.9f\n", (double)(end.tv_sec - begin.tv_sec) + 1e-9 * (double)(end.tv_nsec - begin.tv_nsec));
    return argc < 2;
}
"""


class Attached:
    """The example library, attached and alone."""

    def __init__(self, folder: Path) -> None:
        library, self._alone = folder / "libexample.so", folder / "alone"
        source = folder / "alone.c"
        source.write_text(ALONE)
        common = ("cc", "-std=gnu11", "-O2", f"-I{HEADER.parent}", f"-I{EXAMPLE.parent}")
        for what in (
            ("-shared", "-fPIC", "-o", str(library), str(EXAMPLE), "-lm"),
            ("-o", str(self._alone), str(source), "-lm"),
        ):
            subprocess.run([*common, *what], check=True)
        self.attachment: LibraryAttachment = open_attachment(f"lib:{library}", str(library), 60.0)
        t = np.arange(float(SAMPLES))
        self._trace = Trace(t, np.full(SAMPLES, 54.5), np.full(SAMPLES, 12.5))

    def __enter__(self) -> Attached:
        return self

    def __exit__(self, *_: object) -> None:
        self.attachment.close()

    def run(self) -> None:
        """The whole trace through the worker."""
        self.attachment.start(Settings(), 0.5)
        self.attachment.run(self._trace)

    def alone_s(self) -> float:
        """What the library takes for as many samples by itself, s."""
        command = [str(self._alone), str(OWN_SAMPLES)]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        return float(said) * SAMPLES / OWN_SAMPLES

    def over_own(self) -> str:
        """What the worker adds to a sample."""
        self.run()
        pairs = [(seconds(self.run), self.alone_s()) for _ in range(ROUNDS)]
        attached, alone = (median(column) for column in zip(*pairs, strict=True))
        over, own = ((attached - alone) / SAMPLES * 1e9, alone / SAMPLES * 1e9)
        return f"{over:.3g} ns, over {own:.3g} ns of its own"

    def new_start(self) -> None:
        """What follows a crash: a new process, the library loaded, the controller started."""
        self.attachment.restart()
        self.attachment.start(Settings(), 0.5)

    def new_start_over_python(self) -> str:
        """A new start against an interpreter that starts and ends."""
        bare = [sys.executable, "-I", "-c", "pass"]
        pairs = [
            (seconds(self.new_start), seconds(lambda: subprocess.run(bare, check=True)))
            for _ in range(4 * ROUNDS)
        ]
        ours, theirs = (median(column) for column in zip(*pairs, strict=True))
        return f"{ours / theirs:.3g} times, {1e3 * ours:.3g} ms"
