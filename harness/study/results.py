"""What a study has to say of each bank in each arm: facts of the study, and columns read one by one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from harness.errors import InputError
from harness.parquet_file import opened_parquet
from harness.run import Floats
from harness.study.measures import MEASURES

# What stands in every row besides what the measures are made of.
KEYS = ("bank", "arm", "stopped")
COLUMNS = tuple(dict.fromkeys(name for measure in MEASURES for name in measure.columns))

Flags = npt.NDArray[np.bool_]
Whole = npt.NDArray[np.int64]


@frozen
class ArmName:
    """By what an arm differs from the others.

    Attributes:
        rule: name of the reset rule.
        policy: name of the bank policy.
        settings: names and values of the settings at its point of the grid; empty without a grid.
    """

    rule: str
    policy: str
    settings: tuple[tuple[str, object], ...] = ()

    @property
    def settings_text(self) -> str:
        """The settings in words; empty without a grid."""
        return ", ".join(f"{name} {_told(value)}" for name, value in self.settings)

    @property
    def parts(self) -> dict[str, str]:
        """Rule, policy and settings by name, in words."""
        return {
            "rule": self.rule,
            "policy": self.policy,
            **{name: f"{name} {_told(value)}" for name, value in self.settings},
        }


def _told(value: object) -> str:
    if value is None:
        return "none"
    return f"{value:.10g}" if isinstance(value, float) else str(value)


@frozen(kw_only=True)
class Facts:
    """What was studied, as far as a report tells it.

    Attributes:
        title: of the study.
        question: what it is to answer; empty where it does not say.
        arms: by what each arm differs, in the order of their numbers.
        banks: how many were asked for, numbered from 0.
        days: how long each is simulated.
        seed: from which everything is drawn.
        false_full_below_soc: a full reset below this true state of charge is false.
        truly_full_soc: from this true state of charge on a pack is truly full.
        fingerprint: of everything that the rows depend on.
        settings: what else was set, as pairs of a name and words.
        limits: what the simulated banks leave out, in sentences.
        failed: banks that could not be run in any arm, with the reason.
        labels: the arms in as few words as tell them apart.
    """

    title: str
    arms: tuple[ArmName, ...]
    banks: int
    days: float
    seed: int
    fingerprint: str
    question: str = ""
    false_full_below_soc: float = 0.97
    truly_full_soc: float = 0.99
    settings: tuple[tuple[str, str], ...] = ()
    limits: tuple[str, ...] = ()
    failed: tuple[tuple[int, str], ...] = ()

    labels: tuple[str, ...] = field(init=False, repr=False, eq=False)

    @labels.default
    def _labels(self) -> tuple[str, ...]:
        return labels_of(self.arms)


def labels_of(arms: Sequence[ArmName]) -> tuple[str, ...]:
    """Names of arms: of rule, policy and settings, what is not the same in all of them."""
    parts = [(arm.rule, arm.policy, arm.settings_text) for arm in arms]
    varied = [len({each[k] for each in parts}) > 1 for k in range(3)]
    if not any(varied):
        varied[0] = True
    return tuple(
        ", ".join(word for word, differs in zip(each, varied, strict=True) if differs and word)
        or "as set"
        for each in parts
    )


@frozen(eq=False)
class Results:
    """Rows of a study as arrays, of the shape (banks, arms).

    Attributes:
        facts: what was studied.
        path: the Parquet file with the rows, sorted by bank, then by arm.
        banks: numbers of the banks that are there, rising, of the shape (banks,).
        stopped: whether the physics gave up, of the shape (banks, arms).
    """

    facts: Facts
    path: Path
    banks: Whole
    stopped: Flags

    @property
    def ran(self) -> Flags:
        """Whether a bank ran to its end in an arm, of the shape (banks, arms)."""
        return ~self.stopped

    def column(self, name: str) -> Floats:
        """One column, of the shape (banks, arms); what stopped is 0 in it.

        Raises:
            InputError: a value is no number.
        """
        read = _column(self.path, name)
        if read.dtype.kind not in "biuf":
            hint = "numbers must stand there"
            raise InputError(f"it holds {read.dtype}", file=self.path, column=name, hint=hint)
        values = read.reshape(self.stopped.shape).astype(np.float64)
        values[self.stopped] = 0.0
        wrong = ~np.isfinite(values)
        if wrong.any():
            bank, arm = np.argwhere(wrong)[0].tolist()
            raise InputError(
                f"{values[bank, arm]} for bank {self.banks[bank]} in arm {arm}",
                file=self.path,
                column=name,
                hint="a number must stand there",
            )
        return values


def read_results(path: Path, facts: Facts) -> Results:
    """The rows of a study.

    Args:
        path: a Parquet file with a row for each bank and arm.
        facts: what was studied.

    Raises:
        InputError: it cannot be read, a column is missing, or it is not of this study.
    """
    present = opened_parquet(path).schema_arrow.names
    missing = [name for name in (*KEYS, *COLUMNS) if name not in present]
    if missing:
        hint = f"a file of banks has {', '.join((*KEYS, *COLUMNS))}"
        raise InputError("the column is missing", file=path, column=missing[0], hint=hint)
    arms = len(facts.arms)
    bank = _column(path, "bank").astype(np.int64)
    arm = _column(path, "arm").astype(np.int64)
    if len(bank) == 0:
        raise InputError("it has no rows", file=path, hint="did any bank run to its end?")
    whole = len(bank) % arms == 0
    rows = bank.reshape(-1, arms) if whole else bank[: arms * (len(bank) // arms)].reshape(-1, arms)
    sound = whole and bool(
        np.array_equal(arm.reshape(-1, arms), np.tile(np.arange(arms), (len(rows), 1)))
        and (rows == rows[:, :1]).all()
        and (np.diff(rows[:, 0]) > 0).all()
    )
    if not sound:
        raise InputError(
            f"its {len(bank)} rows are not every bank in each of {arms} arms, bank by bank",
            file=path,
            hint="is it of another study, or cut off?",
        )
    if int(bank[0]) < 0 or int(bank[-1]) >= facts.banks:
        found = int(bank[0]) if bank[0] < 0 else int(bank[-1])
        hint = f"they are numbered from 0 to {facts.banks - 1}"
        raise InputError(f"there is a bank {found}", file=path, column="bank", hint=hint)
    stopped = _column(path, "stopped").reshape(-1, arms) != 0
    return Results(facts, path, rows[:, 0].copy(), stopped)


def _column(path: Path, name: str) -> npt.NDArray[Any]:
    import pyarrow as pa

    try:
        found = opened_parquet(path).read(columns=[name]).column(0)
        return np.asarray(found.to_numpy())
    except (pa.ArrowInvalid, OSError) as error:
        text = str(error).splitlines()[0]
        raise InputError(f"cannot be read: {text:.120}", file=path, column=name) from None
