"""The process in which a library is loaded: it speaks the line protocol and calls the library.

It is run as a program by its path, by an interpreter that was told to import next to nothing, so
that a new one is there in no time after a crash. Rows travel in memory that is shared with the
harness; a `run` message tells only how many there are.
"""

from __future__ import annotations

import json
import mmap
import os
import resource
import signal
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

FUNCTIONS = ("layout", "describe", "start", "step", "run", "power_cycle")
PREFIXES = {"controller": "fullproof_", "charger": "fullproof_charger_"}
EXPORTS = {"controller": "FULLPROOF_EXPORTS", "charger": "FULLPROOF_CHARGER_EXPORTS"}
LONGEST_TEXT = 400
LINE_BUFFERED = 1


class Unusable(Exception):  # noqa: N818  the mistake of who named the library
    """The library cannot be attached.

    Attributes:
        hint: what would be right.
    """

    def __init__(self, message: str, hint: str) -> None:
        super().__init__(message)
        self.hint = hint


class Worker:
    """One library, loaded when it is asked who it is.

    The plan names the library and the role, says where things lie in the shared memory, and what
    the sizes of the structures must be.
    """

    def __init__(self, plan: dict[str, Any], ffi: Any) -> None:
        self.plan = plan
        self.ffi = ffi
        self.shared = mmap.mmap(plan["memory"], plan["size"])
        os.close(plan["memory"])
        self.place = ffi.from_buffer("uint8_t[]", self.shared)
        self.library: Any = None
        self.role: str = plan["role"]

    def function(self, name: str) -> Any:
        """A function of the library, by what its name is for this role."""
        return getattr(self.library, PREFIXES[self.role] + name)

    def answer(self, message: dict[str, Any]) -> dict[str, Any]:
        """What is answered to one message, besides its `seq`."""
        if message["do"] == "hello":
            return self.hello()
        if message["do"] == "start":
            return self.start(message)
        if message["do"] == "power_cycle":
            self.function("power_cycle")()
            return {"ok": True}
        if message["do"] == "equalise":
            self.function("equalise")()
            return {"ok": True}
        self.run(message)
        return {"count": message["count"]}

    def hello(self) -> dict[str, Any]:
        """Load the library and ask it who it is."""
        try:
            self.load()
        except Unusable as error:
            return {"unusable": str(error), "hint": error.hint}
        said = self.function("describe")()
        if said == self.ffi.NULL:
            return {"protocol": 1, "layout": self.layout}
        if self.role == "controller" and said.features & self.plan["equalises"]:
            name = PREFIXES[self.role] + "equalise"
            if not has(self.ffi, self.library, name):
                hint = "write it, or do not claim FULLPROOF_CLAIMS_EQUALISATION"
                return {"unusable": f"the library has no {name}", "hint": hint}
        answer: dict[str, Any] = {"layout": self.layout}
        answer |= {name: self.text(getattr(said, name)) for name in ("name", "version", "language")}
        if self.role == "controller":
            answer |= {"features": said.features, "outputs": said.outputs}
        else:
            answer["role"] = self.role
        if said.fixed != self.ffi.NULL:
            size = self.layout[5]
            at = self.plan["settings"]
            self.shared[at : at + size] = self.ffi.buffer(said.fixed, size)[:]
            answer["fixed"] = True
        return answer | {"protocol": 1}

    def load(self) -> None:
        """Load the library; raises `Unusable`."""
        path = self.plan["library"]
        try:
            # Now, so that a function which is nowhere is missed here and not in the middle of a case.
            self.library = self.ffi.dlopen(path, self.ffi.RTLD_NOW)
        except OSError as error:
            raise Unusable(*refusal(str(error), path)) from None
        missing = self.missing(self.role)
        if missing:
            raise Unusable(f"the library has no {', '.join(missing)}", self.hint_of(missing))
        self.layout: list[int] = self.ffi.unpack(self.function("layout")(), 8)
        self.check_layout()

    def missing(self, role: str) -> list[str]:
        """The functions that the library would need for a role and does not have."""
        names = [PREFIXES[role] + name for name in FUNCTIONS]
        return [name for name in names if not has(self.ffi, self.library, name)]

    def hint_of(self, missing: list[str]) -> str:
        """What to do about missing functions."""
        prefix = PREFIXES[self.role]
        for role in PREFIXES:
            if role != self.role and not self.missing(role):
                return f"it is a {role}: attach it with --role {role}"
        if len(missing) == len(FUNCTIONS):
            return 'include fullproof.h and write what it asks for; in C++ inside extern "C"'
        if set(missing) <= {f"{prefix}layout", f"{prefix}run"}:
            exports = EXPORTS[self.role]
            return f"define {exports} before fullproof.h is included, in exactly one file"
        return "write it, and do not hide it from the linker"

    def check_layout(self) -> None:
        """Raise `Unusable` where the structures are not those of the header."""
        magic, version, real, *sizes = self.layout
        if magic != self.plan["magic"]:
            raise Unusable(
                f"{PREFIXES[self.role]}layout of the library does not come from fullproof.h: it "
                f"begins with {magic:#x}",
                f"define {EXPORTS[self.role]} and leave that function to the header",
            )
        if version != self.plan["version"]:
            raise Unusable(
                f"the library was built with layout {version} of fullproof.h, and this is layout "
                f"{self.plan['version']}",
                f"build it with the header of this version, {self.plan['header']}",
            )
        expected = self.plan["sizes"].get(str(real))
        names = self.plan["structures"]
        if expected is None:
            raise Unusable(f"fullproof_real has {real} bytes in the library", "it must be 4 or 8")
        for name, size, right in zip(names, sizes, expected, strict=False):
            if size != right:
                raise Unusable(
                    f"{name} has {size} bytes in the library, and it must have {right}",
                    "use fullproof.h as it is, without options that pack structures",
                )

    def text(self, pointer: Any) -> str | None:
        """A text of the library, the beginning of it where it is long; None for NULL."""
        if pointer == self.ffi.NULL:
            return None
        return bytes(self.ffi.string(pointer, LONGEST_TEXT)).decode("utf-8", "replace")

    def start(self, message: dict[str, Any]) -> dict[str, Any]:
        """Begin with the settings that stand in the shared memory."""
        size = self.layout[5]
        # A copy of just that size, so that a sanitizer sees what is read beyond it.
        settings = self.ffi.new("uint64_t[]", (size + 7) // 8)
        self.ffi.memmove(settings, self.place + self.plan["settings"], size)
        soc = (message["soc"],) if self.role == "controller" else ()
        refused = self.text(self.function("start")(settings, *soc))
        return {"ok": True} if refused is None else {"error": refused}

    def run(self, message: dict[str, Any]) -> None:
        """Answer the samples that stand in the shared memory, in one call."""
        samples = self.place + self.plan["samples"]
        outputs = self.place + self.plan["outputs"]
        done = self.ffi.cast("uint32_t *", self.place)
        count = message["count"]
        if self.role == "controller":
            self.library.fullproof_run(samples, outputs, count, done)
            return
        messages = samples + message["messages"]
        packs = message["packs"]
        self.library.fullproof_charger_run(samples, messages, packs, outputs, count, done)


def has(ffi: Any, library: Any, name: str) -> bool:
    """Whether a library has a symbol."""
    try:
        getattr(library, name)
    except (AttributeError, ffi.error):
        return False
    return True


def refusal(said: str, path: str) -> tuple[str, str]:
    """Why a library cannot be loaded, and what would be right."""
    reason = said.partition(f"{path}: ")[2] or said
    if "undefined symbol" in reason:
        return (
            f"it cannot be loaded: {reason}",
            "link it with whatever has that function, for example -lm",
        )
    if "position-independent executable" in reason:
        return f"it is a program: {reason}", "link it with cc -shared -fPIC, or use exec:"
    return f"it cannot be loaded: {reason}", ""


def limited(plan: dict[str, Any]) -> None:
    """Set the limits of this process; what a system does not have is left out."""
    wanted = (
        ("RLIMIT_CORE", 0),
        ("RLIMIT_AS", plan["memory_limit"]),
        ("RLIMIT_FSIZE", plan["file_limit"]),
    )
    for name, most in wanted:
        kind = getattr(resource, name, None)
        if kind is None or most is None:
            continue
        _, hard = resource.getrlimit(kind)
        if hard != resource.RLIM_INFINITY:
            most = min(most, hard)
        try:
            resource.setrlimit(kind, (most, hard))
        except (ValueError, OSError):
            print(f"the worker could not limit {name}", file=sys.stderr)


def prepared(ffi: Any) -> None:
    """What is printed is passed on line by line, and a child of a fork ends at once."""
    here = ffi.dlopen(None)
    if has(ffi, here, "stdout"):
        here.setvbuf(here.stdout, ffi.NULL, LINE_BUFFERED, 1024)
    nothing, end = ffi.NULL, ffi.cast("void *", ffi.addressof(here, "_exit"))
    if has(ffi, here, "__register_atfork"):
        here.__register_atfork(nothing, nothing, end, nothing)
    elif has(ffi, here, "pthread_atfork"):
        here.pthread_atfork(nothing, nothing, end)


def main() -> int:
    """Answer messages until one says stop or nobody is there any more."""
    plan: dict[str, Any] = json.loads(sys.argv[1])
    messages, answers = os.fdopen(os.dup(0), "rb"), os.dup(1)
    os.dup2(2, 1)
    nowhere = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nowhere, 0)
    sys.path += [plan["packages"], str(Path(__file__).parent)]
    ffi: Any = import_module("worker_abi").ffi
    limited(plan)
    prepared(ffi)
    worker, own = Worker(plan, ffi), os.getpid()
    # Whoever started this may be gone before it ends: then nobody else would end it.
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    for line in messages:
        message = json.loads(line)
        if message["do"] == "stop":
            break
        signal.setitimer(signal.ITIMER_REAL, plan["alarm_s"])
        answer = {"seq": message["seq"], **worker.answer(message)}
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        if os.getpid() != own:
            os._exit(0)
        os.write(answers, json.dumps(answer).encode() + b"\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
