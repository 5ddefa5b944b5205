"""A vector: a case with its name, its reasons and its expectation; and its JSON."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import cattrs
from attrs import frozen
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn

from ctrl.errors import SettingsError
from ctrl.settings import Settings
from harness.cases.json_text import members_text, plain, table
from harness.cases.trace_file import trace_from_json
from harness.errors import InputError
from harness.json_file import load_json
from harness.role import CHARGER
from harness.run import Case, Expected, Trace

FORMAT = 1


@frozen(eq=False)
class Vector:
    """One vector, as it is stored.

    Attributes:
        format: version of the vector format.
        id: stable slug `group/name`.
        title: what happens, in a few words.
        description: what the trace does and what must follow.
        why: why anybody should care.
        requirements: ids of what it exercises.
        negative: those of them that it exercises by something that must not happen.
        features: what a controller must claim for the vector to be judged.
        tags: `boundary`, `backward`, `common-practice`.
        source: where the expectation comes from: `analytic`, `reference` or `published`.
        catches: the faults that it is meant to catch, in words.
        settings: what the controller is started with.
        soc: starting state of charge, 0..1.
        power_cycles: power is lost just before the sample of each of these indices.
        equalise_requests: an equalisation is asked for just before the sample of each of these.
        cuts: the indices at which the trace is cut into messages.
        expected: what must come out.
        trace: the samples; in JSON the members `columns` and `rows`.
    """

    format: int
    id: str
    title: str
    description: str
    why: str
    requirements: tuple[str, ...]
    negative: tuple[str, ...]
    features: tuple[str, ...]
    tags: tuple[str, ...]
    source: str
    catches: tuple[str, ...]
    settings: Settings
    soc: float
    power_cycles: tuple[int, ...]
    equalise_requests: tuple[int, ...]
    cuts: tuple[int, ...]
    expected: Expected
    trace: Trace

    @property
    def group(self) -> str:
        """The part of the id before the slash."""
        return self.id.partition("/")[0]

    @property
    def case(self) -> Case:
        """The vector as something to try on a controller."""
        return Case(
            id=self.id,
            settings=self.settings,
            trace=self.trace,
            soc=self.soc,
            power_cycles=self.power_cycles,
            equalise_requests=self.equalise_requests,
            cuts=self.cuts,
            expected=self.expected,
            features=frozenset(self.features),
            requirements=self.requirements,
        )


def to_json(vector: Vector) -> str:
    """The vector as JSON: one member a line, one row a line; the same bits when read again."""
    members = _converter().unstructure(vector)
    trace: Trace = members.pop("trace")
    lines = [*members_text(members), table(trace.columns, trace.rows())]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def read_vector(path: str | Path, *, checked: bool = True) -> Vector:
    """Read a vector.

    Args:
        path: its file.
        checked: compare it with the JSON Schema first; what was rendered here needs none.

    Raises:
        InputError: the file cannot be read, or is no vector; with the member at fault.
    """
    place = Path(path)
    content = load_json(place)
    if isinstance(content, dict) and content.get("role") == CHARGER:
        raise InputError(
            f"this is a vector for a {CHARGER}", file=place, column="role", hint=f"--role {CHARGER}"
        )
    if checked:
        from harness.cases.schema import refuse_unfit  # jsonschema is slow to load

        refuse_unfit(content, place)
    trace = trace_from_json(content, place)
    _refuse_outside(content, len(trace), place)
    try:
        members = {
            name: value for name, value in content.items() if name not in ("columns", "rows")
        }
        return _converter().structure({**members, "trace": trace}, Vector)
    except SettingsError as error:
        raise InputError(str(error), file=place, column="settings") from None


def _refuse_outside(content: dict[str, Any], samples: int, path: Path) -> None:
    """Refuse what comes before a sample that does not exist; it may be left out altogether."""
    for name in ("power_cycles", "equalise_requests", "cuts"):
        for place, index in enumerate(content.get(name, ())):
            if not 0 <= index < samples:
                raise InputError(
                    f"there is {index}",
                    file=path,
                    column=f"{name}[{place}]",
                    hint=f"it must be the index of a sample, 0 to {samples - 1}",
                )


@cache
def _converter() -> cattrs.Converter:
    # The schema names the member at fault; detail here would only wrap what settings refuse.
    converter = cattrs.Converter(detailed_validation=False)
    converter.register_structure_hook(Settings, lambda value, _: Settings.from_mapping(value))
    converter.register_unstructure_hook(Settings, _settings)
    converter.register_structure_hook(Trace, lambda value, _: value)
    converter.register_unstructure_hook(Trace, lambda value: value)
    for stored in (Expected, Vector):
        converter.register_structure_hook(
            stored, make_dict_structure_fn(stored, converter, _cattrs_forbid_extra_keys=True)
        )
        converter.register_unstructure_hook(stored, make_dict_unstructure_fn(stored, converter))
    return converter


def _settings(settings: Settings) -> dict[str, Any]:
    return {name: plain(value) for name, value in settings.to_mapping().items()}
