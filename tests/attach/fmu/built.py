"""FMUs that the tests build from C: the example controller behind the functions of the standard."""

from __future__ import annotations

import re
import shutil
import subprocess
import zipfile
from collections.abc import Mapping
from pathlib import Path
from xml.sax.saxutils import quoteattr

import pytest

from ctrl.settings import Settings

EXAMPLE = Path(__file__).parents[3] / "harness" / "examples" / "c"
SOURCE = Path(__file__).parent / "fmi.c"
TOKEN = "{8c4e810f-3df3-4a00-8276-176fa3c9f9e0}"
PAIRS = ("plausible_v_low", "plausible_v_high", "plausible_i_low", "plausible_i_high")
WORDS = ("on_sag", "on_unconfirmed")
# In FMI 3 a type has another name.
TYPES = {2: {"Real": "Real", "Integer": "Integer", "Boolean": "Boolean"},
         3: {"Real": "Float64", "Integer": "Int32", "Boolean": "Boolean"}}  # fmt: skip


def built(
    folder: Path,
    version: int,
    *flags: str,
    stamp: bool = True,
    settable: bool = True,
    renamed: Mapping[str, str] | None = None,
    kinds: Mapping[str, str] | None = None,
    platform: str = "",
) -> Path:
    """Build an FMU.

    Args:
        folder: where.
        version: of the standard, 2 or 3.
        flags: for the compiler.
        stamp: whether it is told the stamp.
        settable: whether it has parameters.
        renamed: other names for its variables.
        kinds: other types.
        platform: a folder of binaries other than that of this machine.
    """
    compiler = shutil.which("cc")
    if compiler is None:
        pytest.skip("there is no C compiler")
    fmpy = pytest.importorskip("fmpy")
    headers = Path(fmpy.__file__).parent / "c-code"
    library = folder / "controller.so"
    told = ["-DTOLD_STAMP"] if stamp else []
    three = ["-DFMI3"] if version == 3 else []
    options = [*told, *three, *flags, f"-I{EXAMPLE}", f"-I{headers}", "-o", str(library)]
    command = [compiler, "-std=c11", "-O1", "-shared", "-fPIC", "-w", *options, str(SOURCE), "-lm"]
    subprocess.run(command, check=True)
    own = platform or (fmpy.platform if version == 2 else fmpy.platform_tuple)
    place = folder / "controller.fmu"
    with zipfile.ZipFile(place, "w") as archive:
        suffix = ".dll" if own.startswith("win") else ".so"
        archive.write(library, f"binaries/{own}/controller{suffix}")
        text = description(version, stamp, settable, renamed or {}, kinds or {})
        archive.writestr("modelDescription.xml", text)
    return place


def as_initializer(settings: Settings) -> str:
    """The settings as the example keeps them, for the compiler's option `-DFIXED=`."""
    values = {
        name: "NAN" if (value := getattr(settings, name)) is None else repr(float(value))
        for name in _numbers()
        if name not in PAIRS
    }
    if settings.sag_v is None:
        values["sag_v"] = values["entry_v"]
    values["lowest_v"], values["highest_v"] = map(repr, settings.plausible_v)
    values["lowest_a"], values["highest_a"] = map(repr, settings.plausible_i)
    values["sag_pauses"] = str(int(settings.on_sag == "pause"))
    values["sag_restarts"] = str(int(settings.on_sag == "restart"))
    values["unconfirmed_waits"] = str(int(settings.on_unconfirmed == "wait"))
    values["unconfirmed_to_bulk"] = str(int(settings.on_unconfirmed == "bulk"))
    return "{" + ", ".join(f".{name} = {value}" for name, value in values.items()) + "}"


def _numbers() -> list[str]:
    """The settings that are numbers, in the order in which the example lists them."""
    text = (EXAMPLE / "controller.c").read_text(encoding="utf-8").replace("\\\n", " ")
    names: list[str] = []
    for macro in ("REQUIRED", "MAY_BE_NONE"):
        found = re.search(rf"#define {macro}\(X\)(.*)", text)
        assert found is not None
        names += re.findall(r"X\((\w+)\)", found[1])
    return [*names, *PAIRS]


def description(
    version: int,
    stamp: bool,
    settable: bool,
    renamed: Mapping[str, str],
    kinds: Mapping[str, str],
) -> str:
    """The model description: inputs from 0, outputs from 10, settings from 20 on."""
    inputs = ["t", "v", "i", "cell_max_v", "temp_c", "temp_max_c"]
    outputs = ["stage", "soc", "full_reset", "voltage_request_v", "current_request_a"]
    own = {"stage": "Integer", "full_reset": "Boolean", "cells": "Integer"}
    own |= dict.fromkeys(WORDS, "Integer")
    variables = [(k, name, "input") for k, name in enumerate(inputs) if stamp or name != "t"]
    variables += [(10 + k, name, "output") for k, name in enumerate(outputs)]
    if settable:
        settings = ["soc", "cells", *WORDS, *(n if n != "cells" else "" for n in _numbers())]
        variables += [(20 + k, name, "parameter") for k, name in enumerate(settings) if name]
    lines, outs = [], []
    for at, (reference, name, causality) in enumerate(variables, start=1):
        # A parameter and an output of the same meaning need two names.
        shown = renamed.get(f"{causality}.{name}", renamed.get(name, name))
        if causality == "parameter" and name == "soc":
            shown = renamed.get("parameter.soc", "start_soc")
        kind = TYPES[version][kinds.get(name, own.get(name, "Real"))]
        if causality == "output":
            outs.append((at, reference))
        vary = {"parameter": "fixed", "input": "continuous", "output": "discrete"}[causality]
        if kind not in ("Real", "Float64") and causality == "input":
            vary = "discrete"
        start = ' start="0"' if causality != "output" and kind != "Boolean" else ""
        start = ' start="false"' if causality != "output" and kind == "Boolean" else start
        rest = f'name={quoteattr(shown)} valueReference="{reference}" causality="{causality}"'
        rest += f' variability="{vary}"'
        lines.append(
            f"<ScalarVariable {rest}><{kind}{start}/></ScalarVariable>"
            if version == 2
            else f"<{kind} {rest}{start}/>"
        )
    if version == 3:
        lines.append('<Float64 name="time" valueReference="999" causality="independent"/>')
    body = "\n    ".join(lines)
    if version == 2:
        unknowns = "".join(f'<Unknown index="{at}"/>' for at, _ in outs)
        return f"""<?xml version="1.0" encoding="UTF-8"?>
<fmiModelDescription fmiVersion="2.0" modelName="example" guid="{TOKEN}" version="1.2"
    generationTool="the tests">
  <CoSimulation modelIdentifier="controller" canHandleVariableCommunicationStepSize="true"/>
  <ModelVariables>
    {body}
  </ModelVariables>
  <ModelStructure><Outputs>{unknowns}</Outputs><InitialUnknowns>{unknowns}</InitialUnknowns>
  </ModelStructure>
</fmiModelDescription>
"""
    outputs_3 = "".join(f'<Output valueReference="{r}"/>' for _, r in outs)
    unknowns = "".join(f'<InitialUnknown valueReference="{r}"/>' for _, r in outs)
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<fmiModelDescription fmiVersion="3.0" modelName="example" instantiationToken="{TOKEN}" version="1.2"
    generationTool="the tests">
  <CoSimulation modelIdentifier="controller" canHandleVariableCommunicationStepSize="true"/>
  <ModelVariables>
    {body}
  </ModelVariables>
  <ModelStructure>{outputs_3}{unknowns}</ModelStructure>
</fmiModelDescription>
"""
