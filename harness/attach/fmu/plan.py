"""An FMU and its mapping, checked against each other, become what the worker has to do."""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from attrs import frozen

from ctrl.errors import nearest
from ctrl.settings import Settings
from harness.attach.base import EQUALISATION, AttachError
from harness.attach.fmu.mapping import (
    INPUTS,
    OUTPUTS,
    PARAMETERS,
    START_SOC,
    WORDS,
    FmuMapping,
    Wire,
    read_mapping,
)
from harness.attach.identity import LATER_SETTINGS
from harness.errors import InputError
from harness.run import FEATURES, UNTOLD

# What each of our names may be in an FMU.
_CAUSES = {
    "inputs": ("input",),
    "parameters": ("parameter", "structuralParameter"),
    "outputs": ("output",),
}
_NUMBERS = {
    "Real", "Integer", "Enumeration", "Boolean", "Float64", "Float32", "Int8", "UInt8", "Int16",
    "UInt16", "Int32", "UInt32", "Int64", "UInt64",
}  # fmt: skip
# What a feature needs to be seen, or to be told. Power cannot be taken from an FMU, and nothing is
# asked of it between samples.
_NEEDS_OUTPUT = {
    "soc": ("soc",),
    "full_reset": ("full_reset",),
    "requests": ("voltage_request_v", "current_request_a"),
}
_NEEDS_INPUT = {
    "cell_protection": "cell_max_v",
    "temperature_protection": "temp_c",
    "compensation": "temp_c",
}
_NEEDS_START = ("soc", "return_soc")
_NEEDS_PARAMETERS = {
    "compensation_limits": ("compensation_min_c", "compensation_max_c"),
    "sensor_checks": ("sensor_lost_s", "sensor_frozen_s", "sensor_jump_c"),
}
_NEVER = {
    "power_cycle": "power that can be taken from it",
    EQUALISATION: "an operation with which one is asked for",
}


@frozen
class Port:
    """A wire whose variable was found.

    Attributes:
        wire: the wire.
        reference: value reference of the variable.
        kind: its type, a word of the standard.
    """

    wire: Wire
    reference: int
    kind: str


@frozen
class FmuPlan:
    """An FMU that can be attached.

    Attributes:
        path: the file.
        version: of the standard, `2` or `3`.
        token: what the FMU wants to hear when it is begun.
        model: identifier of the model, which names the library.
        name: what the controller is called.
        release: its own version.
        tool: what made it.
        inputs: readings.
        parameters: settings and the starting count.
        outputs: answers.
        features: what is claimed.
        fixed: the settings it was built with; None where they can be set.
        first_step_s: how long before the first sample it begins, s.
    """

    path: Path
    version: int
    token: str
    model: str
    name: str
    release: str
    tool: str
    inputs: tuple[Port, ...]
    parameters: tuple[Port, ...]
    outputs: tuple[Port, ...]
    features: tuple[str, ...]
    fixed: Settings | None
    first_step_s: float

    @property
    def is_told_the_stamp(self) -> bool:
        """Whether the stamp is an input; otherwise the FMU has only its own clock."""
        return any(port.wire.name == "t" for port in self.inputs)


def planned(path: Path, mapping: FmuMapping) -> FmuPlan:
    """Read an FMU and find every variable.

    Raises:
        AttachError: it is no FMU for co-simulation on this machine, or a variable is missing.
    """
    fmpy = _fmpy()
    description = _description(fmpy, path)
    if description.coSimulation is None:
        raise AttachError(
            f"{path}: the FMU is not for co-simulation", hint="export it for co-simulation"
        )
    version = int(description.fmiVersion.partition(".")[0])
    if version not in (2, 3):
        raise AttachError(
            f"{path}: the FMU is of FMI {description.fmiVersion}",
            hint="export it as FMI 2.0 or 3.0",
        )
    have = fmpy.supported_platforms(str(path))
    if fmpy.platform not in have:
        binaries = ", ".join(name for name in have if name != "c-code") or "no platform"
        raise AttachError(
            f"{path}: the FMU has binaries for {binaries}", hint=f"this is {fmpy.platform}"
        )
    variables = {variable.name: variable for variable in description.modelVariables}
    inputs = _ports(path, variables, "inputs", mapping.inputs, INPUTS)
    outputs = _ports(path, variables, "outputs", mapping.outputs, OUTPUTS)
    parameters = _ports(path, variables, "parameters", mapping.parameters, PARAMETERS)
    for name, ports, table in (("v", inputs, "inputs"), ("i", inputs, "inputs"),
                               ("stage", outputs, "outputs")):  # fmt: skip
        if not any(port.wire.name == name for port in ports):
            known = sorted(n for n, v in variables.items() if v.causality in _CAUSES[table])
            raise AttachError(
                f"{path}: the FMU has no {table[:-1]} {name}",
                hint=f"name the variable under [{table}] of a mapping file; it has"
                f" {', '.join(known[:12]) or f'no {table}'}",
            )
    return FmuPlan(
        path=path,
        version=version,
        token=description.guid if version == 2 else description.instantiationToken,
        model=description.coSimulation.modelIdentifier,
        name=description.modelName,
        release=description.version or UNTOLD,
        tool=description.generationTool or f"FMI {description.fmiVersion}",
        inputs=inputs,
        parameters=parameters,
        outputs=outputs,
        features=_features(path, mapping, inputs, parameters, outputs),
        fixed=_fixed(path, mapping, parameters),
        first_step_s=mapping.first_step_s,
    )


def _fmpy() -> Any:
    try:
        import fmpy
    except ImportError:
        raise AttachError(
            "FMUs need the package fmpy", hint="pip install 'fullproof[fmu]'"
        ) from None
    return fmpy


def _description(fmpy: Any, path: Path) -> Any:
    if not path.is_file():
        raise AttachError(f"{path}: there is no such FMU", hint=f"seen from {Path.cwd()}")
    if not zipfile.is_zipfile(path):
        raise AttachError(f"{path}: it is no FMU", hint="an FMU is a zip file")
    try:
        return fmpy.read_model_description(str(path))
    except Exception as error:  # its reader raises whatever it meets
        reason = " ".join(str(error).split())
        raise AttachError(
            f"{path}: its modelDescription.xml cannot be read: {reason}",
            hint="it lies at the top of an FMU, and names its variables",
        ) from None


def _ports(
    path: Path,
    variables: Mapping[str, Any],
    table: str,
    wires: Iterable[Wire],
    names: Iterable[str],
) -> tuple[Port, ...]:
    """The wires of the file, and those of variables that have our name."""
    given = {wire.name: wire for wire in wires}
    causes = _CAUSES[table]
    known = [name for name, variable in variables.items() if variable.causality in causes]
    ports = []
    for name in names:
        wire = given.get(name)
        if wire is None:
            if name not in known:
                continue
            wire = Wire(name, name, words=WORDS.get(name, {}))
        variable = variables.get(wire.variable)
        if variable is None or variable.causality not in causes:
            what = "no such variable" if variable is None else f"of causality {variable.causality}"
            raise AttachError(
                f"{path}: {table}.{name} is mapped to {wire.variable!r}, which is {what}",
                hint=nearest(wire.variable, known) if known else f"the FMU has no {table}",
            )
        if variable.type not in _NUMBERS or variable.dimensions:
            raise AttachError(
                f"{path}: {table}.{name} is mapped to {wire.variable!r}, of type {variable.type}",
                hint="it must be a single number",
            )
        ports.append(Port(wire, int(variable.valueReference), str(variable.type)))
    return tuple(ports)


def _features(
    path: Path,
    mapping: FmuMapping,
    inputs: tuple[Port, ...],
    parameters: tuple[Port, ...],
    outputs: tuple[Port, ...],
) -> tuple[str, ...]:
    ins = {port.wire.name for port in inputs}
    outs = {port.wire.name for port in outputs}
    told = {port.wire.name for port in parameters}

    def lacking(feature: str) -> str:
        if feature in _NEVER:
            return _NEVER[feature]
        if not outs.issuperset(_NEEDS_OUTPUT.get(feature, ())):
            return f"the outputs {' and '.join(_NEEDS_OUTPUT[feature])}"
        if feature in _NEEDS_INPUT and _NEEDS_INPUT[feature] not in ins:
            return f"the input {_NEEDS_INPUT[feature]}"
        if feature in _NEEDS_START and START_SOC not in told:
            return f"the parameter {START_SOC}, the starting count"
        settings = _NEEDS_PARAMETERS.get(feature, ())
        # Whoever wrote down what it was built with may claim what cannot be set.
        if not told.issuperset(settings) and (mapping.features is None or mapping.settings is None):
            return f"the parameters {' and '.join(settings)}"
        return ""

    if mapping.features is None:
        return tuple(feature for feature in FEATURES if not lacking(feature))
    for feature in mapping.features:
        if lacks := lacking(feature):
            raise AttachError(f"{path}: {feature} is claimed", hint=f"that needs {lacks}")
    return mapping.features


def _fixed(path: Path, mapping: FmuMapping, parameters: tuple[Port, ...]) -> Settings | None:
    """The settings it was built with; None where every one of them can be set."""
    names = {port.wire.name for port in parameters}
    needed = set(PARAMETERS) - {START_SOC, *LATER_SETTINGS}
    missing = [name for name in PARAMETERS if name in needed and name not in names]
    if not missing:
        return None
    if mapping.settings is None:
        some = ", ".join(missing[:4]) + (" and others" if len(missing) > 4 else "")
        raise AttachError(
            f"{path}: the FMU has no parameters for {some}",
            hint="so its settings are fixed: write them under [settings] of a mapping file",
        )
    if START_SOC not in names and mapping.settings.return_soc is not None:
        raise AttachError(
            f"{path}: return_soc is set, and nobody can tell the FMU the starting count",
            hint=f"map the parameter {START_SOC}, or judge a build without return_soc",
        )
    return mapping.settings


def read_plan(path: Path, mapping_file: Path | None) -> FmuPlan:
    """The plan of an FMU, with the mapping file or without one.

    Raises:
        InputError: as `planned` and `read_mapping`.
    """
    if mapping_file is None:
        return planned(path, FmuMapping())
    try:
        return planned(path, read_mapping(mapping_file))
    except InputError as error:
        raise AttachError(str(error)) from None
