"""Which variable of an FMU is which of our names: what stands in the mapping file."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from attrs import field, frozen

from ctrl.errors import SettingsError, nearest
from ctrl.settings import SETTING_NAMES, Settings
from ctrl.settings_text import without_none
from ctrl.vocabulary import Stage
from harness.errors import InputError
from harness.run import ANSWER_COLUMNS, FEATURES, OPTIONAL_COLUMNS, REQUIRED_COLUMNS
from harness.toml_fields import Fields
from harness.toml_file import read_toml

INPUTS = REQUIRED_COLUMNS + OPTIONAL_COLUMNS
OUTPUTS = ANSWER_COLUMNS
START_SOC = "soc"
PAIRS = ("plausible_v", "plausible_i")
# What a setting is called in the file; of a pair each half has a name of its own.
PARAMETERS = (
    *(name for name in SETTING_NAMES if name not in PAIRS),
    *(f"{name}_{half}" for name in PAIRS for half in ("low", "high")),
    START_SOC,
)
# The numbers that stand for words, unless the file says others.
WORDS: dict[str, dict[str, float]] = {
    "stage": {stage.word: float(stage.value) for stage in Stage},
    "on_sag": {"run": 0.0, "pause": 1.0, "restart": 2.0},
    "on_unconfirmed": {"float": 0.0, "bulk": 1.0, "wait": 2.0},
}
FIRST_STEP_S = 1.0
_EXAMPLE = '[inputs] v = "PackVoltage"'


@frozen
class Wire:
    """One of our names and the variable that has its value.

    Attributes:
        name: ours.
        variable: theirs.
        factor: theirs is ours times this.
        words: the number of each word, where the value is a word.
        none: their value where ours is none, or missing.
    """

    name: str
    variable: str
    factor: float = 1.0
    words: Mapping[str, float] = field(factory=dict)
    none: float = math.nan


@frozen
class FmuMapping:
    """What a mapping file says; where it says nothing, a variable has our name.

    Attributes:
        inputs: readings, and `t` where the FMU takes the stamp as an input.
        parameters: settings, and `soc` for the starting count.
        outputs: answers.
        features: what the controller claims; None for all that its variables allow.
        settings: those it was built with; None where the file does not say.
        first_step_s: how long before the first sample it begins, s.
    """

    inputs: tuple[Wire, ...] = ()
    parameters: tuple[Wire, ...] = ()
    outputs: tuple[Wire, ...] = ()
    features: tuple[str, ...] | None = None
    settings: Settings | None = None
    first_step_s: float = FIRST_STEP_S


def read_mapping(path: Path) -> FmuMapping:
    """Read a mapping file.

    Raises:
        InputError: it cannot be read, or a field is wrong; with its line.
    """
    whole = Fields(read_toml(path, _EXAMPLE), path)
    whole.only("inputs", "parameters", "outputs", "features", "settings", "first_step_s")
    features = None
    if "features" in whole:
        features = whole.words("features", ())
        for word in features:
            if word not in FEATURES:
                hint = nearest(word, FEATURES)
                raise whole.wrong("features", f"there is no feature {word!r}", hint)
    return FmuMapping(
        inputs=_wires(whole, "inputs", INPUTS),
        parameters=_wires(whole, "parameters", PARAMETERS),
        outputs=_wires(whole, "outputs", OUTPUTS),
        features=features,
        settings=_settings(whole) if "settings" in whole else None,
        first_step_s=whole.number("first_step_s", FIRST_STEP_S, low=0.0),
    )


def _wires(whole: Fields, table: str, names: Sequence[str]) -> tuple[Wire, ...]:
    own = whole.table(table)
    own.only(*names)
    return tuple(_wire(own, name) for name in own.values)


def _wire(own: Fields, name: str) -> Wire:
    words = WORDS.get(name, {})
    if isinstance(own.values[name], str):
        return Wire(name, own.text(name), words=words)
    entry = own.table(name)
    entry.only("name", "factor", "words", "none")
    factor = entry.number("factor", 1.0)
    if factor == 0.0:
        raise entry.wrong("factor", "it is 0", "theirs is ours times this")
    if "words" in entry:
        words = _words(entry, name, words)
    none = entry.number("none") if "none" in entry else math.nan
    return Wire(name, entry.text("name"), factor, words, none)


def _words(entry: Fields, name: str, known: Mapping[str, float]) -> dict[str, float]:
    table = entry.table("words")
    if not known:
        raise entry.wrong("words", f"{name} is a number", "leave it out")
    table.only(*known)
    missing = [word for word in known if word not in table]
    if missing and name != "stage":
        raise table.wrong(missing[0], f"{missing[0]} is missing", "give every word its number")
    numbers = {word: table.number(word) for word in table.values}
    if len(set(numbers.values())) < len(numbers):
        raise entry.wrong("words", "two words have the same number", "give each its own")
    return numbers


def _settings(whole: Fields) -> Settings:
    own = whole.table("settings")
    own.only(*SETTING_NAMES)
    values: dict[str, Any] = {name: without_none(name, value) for name, value in own.values.items()}
    try:
        return Settings.from_mapping(values)
    except SettingsError as error:
        raise InputError(str(error), file=own.file, line=own.line(), column="settings") from None
