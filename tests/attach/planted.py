"""The example library with faults planted in it, compiled; and small libraries that misbehave.

Each fault is a few lines put in the place of one line of the example, so that everything else about
the controller conforms.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from harness.attach.library.layout import HEADER

EXAMPLE = Path(__file__).parents[2] / "harness" / "examples" / "c" / "library.c"
COMPILER = shutil.which("cc")
BUILD = ("-std=gnu11", "-O1", "-shared", "-fPIC")
_TRACED = ("-g", "-O1", "-fno-omit-frame-pointer")
SANITIZE = (*_TRACED, "-fsanitize=address,undefined")
SANITIZE_ADDRESS = (*_TRACED, "-fsanitize=address")
SANITIZE_UNDEFINED = (*_TRACED, "-fsanitize=undefined")

needs_compiler = pytest.mark.skipif(COMPILER is None, reason="there is no C compiler cc")

_STEP = "    step();\n"
# name: (line of the example, what stands there instead)
FAULTS: dict[str, tuple[str, str]] = {
    "overflow": (
        _STEP,
        # The memory that the library gives is a little longer, so nothing else is overwritten.
        """    enum { RECENT = 32 };
    static double *recent_v; /* for an average that nobody asked for */
    static unsigned newest;
    if (!recent_v) recent_v = malloc(RECENT * sizeof *recent_v);
    recent_v[newest] = in.v;
    newest = newest == RECENT ? 0 : newest + 1; /* one too late */
    step();
""",
    ),
    "signed-overflow": (
        _STEP,
        """    static int32_t since_start_ms = INT32_MAX - 30000;
    since_start_ms += 1000;
    step();
""",
    ),
    "endless-loop": (
        _STEP,
        """    while (!(sample->valid & FULLPROOF_VALID_V)) { /* until the meter answers */
        __asm__ volatile("");
    }
    step();
""",
    ),
    # The end of the hold as a stamp: right until the counter begins at 0 again.
    "wrap-of-a-deadline": (
        _STEP,
        """    static uint32_t deadline_ms;
    bool held = now.stage == ABSORPTION, plain = !set.sag_pauses && !set.sag_restarts;
    if (held && plain && isnan(now.confirm_since))
        now.hold_since = sample->time_ms >= deadline_ms ? in.t - set.hold_s : in.t;
    step();
    if (!held && now.stage == ABSORPTION)
        deadline_ms = sample->time_ms + (uint32_t)(1000 * set.hold_s);
""",
    ),
    # The counter taken for the time: at its wrap the clock seems to be set back.
    "wrap-of-the-clock": (
        "        in.t = (double)elapsed_ms / 1000;\n",
        "        in.t = (double)sample->time_ms / 1000;\n",
    ),
    # A stamp of 0 taken for no stamp.
    "zero-means-never": (
        "        in.t = (double)elapsed_ms / 1000;\n",
        "        in.t = (double)elapsed_ms / 1000;\n        if (sample->time_ms == 0) in.t = NAN;\n",
    ),
}


def compiled(folder: Path, source: str, *flags: str, name: str = "tested") -> Path:
    """A shared library of this text; the header and the example can be included."""
    assert COMPILER is not None
    file, library = folder / f"{name}.c", folder / f"lib{name}.so"
    file.write_text(source)
    includes = (f"-I{HEADER.parent}", f"-I{EXAMPLE.parent}")
    subprocess.run(
        [COMPILER, *BUILD, *includes, *flags, "-o", str(library), str(file), "-lm"],
        check=True,
    )
    return library


def with_fault(name: str) -> str:
    """The text of the example library with one fault."""
    text = EXAMPLE.read_text()
    line, instead = FAULTS[name]
    assert text.count(line) == 1, f"the example has no one line {line!r}"
    return text.replace(line, instead)


# A library that does nothing but what is put into its places.
SMALL = r"""
#define _GNU_SOURCE
#define FULLPROOF_EXPORTS
#include "fullproof.h"
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
static unsigned steps;
const fullproof_description *fullproof_describe(void) {
    static const fullproof_description me = {
        FULLPROOF_CLAIMS_SOC | FULLPROOF_CLAIMS_POWER_CYCLE, FULLPROOF_GIVES_SOC, "small", "1", "C", 0};
    return &me;
}
const char *fullproof_start(const fullproof_settings *settings, double soc) {
    (void)settings, (void)soc;
    steps = 0;
    /*START*/
    return 0;
}
void fullproof_step(const fullproof_sample *sample, fullproof_output *output) {
    output->stage = FULLPROOF_BULK;
    output->soc = 0.5;
    if (steps++ == 3 && sample) { /*STEP*/ }
}
void fullproof_power_cycle(void) { /*POWER_CYCLE*/ }
"""


def small(*, step: str = "", start: str = "", power_cycle: str = "") -> str:
    """A library whose fourth step, whose start or whose loss of power does something."""
    text = SMALL.replace("/*STEP*/", step).replace("/*START*/", start)
    return text.replace("/*POWER_CYCLE*/", power_cycle)
