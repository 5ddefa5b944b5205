"""What the worker may call in C, and how `worker_abi.py` is written from it.

`python -m harness.attach.library.declarations` writes the module anew: so the worker needs no
parser of C, which would take it longer to load than everything else.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from cffi import FFI

ABI_FILE = Path(__file__).parent / "worker_abi.py"
# Structures whose size depends on the precision travel as bytes, so they have no type here.
DECLARATIONS = """
struct fullproof_description {
    uint32_t features;
    uint32_t outputs;
    const char *name;
    const char *version;
    const char *language;
    const void *fixed;
};
const uint32_t *fullproof_layout(void);
const struct fullproof_description *fullproof_describe(void);
const char *fullproof_start(const void *, double);
void fullproof_step(const void *, void *);
void fullproof_run(const void *, void *, uint32_t, volatile uint32_t *);
void fullproof_power_cycle(void);
void fullproof_equalise(void);

struct fullproof_charger_description {
    const char *name;
    const char *version;
    const char *language;
    const void *fixed;
};
const uint32_t *fullproof_charger_layout(void);
const struct fullproof_charger_description *fullproof_charger_describe(void);
const char *fullproof_charger_start(const void *);
void fullproof_charger_step(const void *, const void *, void *);
void fullproof_charger_run(const void *, const void *, uint32_t, void *, uint32_t,
                           volatile uint32_t *);
void fullproof_charger_power_cycle(void);

extern void *stdout;
int setvbuf(void *, char *, int, size_t);
int fflush(void *);
void _exit(int);
int __register_atfork(void *, void *, void *, void *);
int pthread_atfork(void *, void *, void *);
"""
_HEAD = '''"""Written by `harness.attach.library.declarations`: do not edit."""

# ruff: noqa
# fmt: off
# mypy: ignore-errors
'''


def abi_module() -> str:
    """The text of `worker_abi.py`."""
    ffi = FFI()
    ffi.cdef(DECLARATIONS)
    ffi.set_source("worker_abi", None)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "worker_abi.py"
        ffi.emit_python_code(str(path))
        return _HEAD + path.read_text().split("\n", 1)[1]


if __name__ == "__main__":
    ABI_FILE.write_text(abi_module())
