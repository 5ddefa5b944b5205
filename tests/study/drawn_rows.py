"""Rows of a study drawn by the tests themselves: no bank runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
from pyarrow import parquet

from harness.study.results import COLUMNS, KEYS, ArmName, Facts, Results, read_results

RULES = ("voltage_after_hold", "first_touch", "hold_only", "taper", "voltage_and_taper")
POLICIES = ("every", "lead", "any")
DAYS, PACKS = 365, 3
LIMITS = (
    "Cells age by their capacity and resistance alone; what ages them is not simulated.",
    "Packs share one temperature of the air.",
)
Rows = dict[str, npt.NDArray[np.float64]]


def arms_of(
    rules: Sequence[str] = RULES, policies: Sequence[str] = POLICIES, holds_s: Sequence[float] = ()
) -> tuple[ArmName, ...]:
    """Every rule with every policy, and with every value of `hold_s` where there are some."""
    points: list[tuple[tuple[str, object], ...]] = [(("hold_s", each),) for each in holds_s] or [()]
    return tuple(ArmName(*each) for each in product(rules, policies, points))


def facts_of(
    arms: Sequence[ArmName],
    banks: int,
    *,
    title: str = "Reset rules in a hut",
    seed: int = 7,
    failed: tuple[tuple[int, str], ...] = (),
) -> Facts:
    """What was studied."""
    return Facts(
        title=title,
        question="Which reset rule calls a pack full when it is, and only then?",
        arms=tuple(arms),
        banks=banks,
        days=DAYS,
        seed=seed,
        fingerprint="3f" * 32,
        settings=(("base", "mountain hut, 16 cells, three packs"), ("ammeter offset", "normal, 0.1 A")),
        limits=LIMITS,
        failed=failed,
    )  # fmt: skip


def drawn(arms: Sequence[ArmName], banks: int, seed: int = 1) -> Rows:
    """Columns of the shape (banks, arms): arms differ, and banks differ in the same way in all."""
    rng = np.random.default_rng(seed)
    shape = (banks, len(arms))
    rule = np.array([RULES.index(each.rule) for each in arms])
    policy = np.array([POLICIES.index(each.policy) for each in arms])
    bank = rng.gamma(2.0, 0.5, (banks, 1))
    pack_days = np.full(shape, float(DAYS * PACKS))
    resets = rng.poisson(60.0 + 0.0 * bank + 12.0 * rule + 3.0 * policy, shape).astype(float)
    false = rng.poisson(bank * np.array([0.02, 9.0, 14.0, 30.0, 0.6])[rule] * (1.0 + 0.4 * policy))
    false_resets = np.minimum(false, resets).astype(float)
    full_days = np.round(200.0 + 40.0 * bank + 0.0 * rule)
    chance = np.clip(np.array([0.30, 0.04, 0.02, 0.10, 0.45])[rule] + 0.08 * policy, 0.0, 1.0)
    missed = rng.binomial(full_days.astype(int), np.broadcast_to(chance, shape)).astype(float)
    error = 0.01 * bank * (1.0 + false_resets / 30.0 + missed / 90.0)
    to_full_days = np.maximum(resets - 10.0, 0.0)
    return {
        "ran_days": np.full(shape, float(DAYS)),
        "pack_days": pack_days,
        "resets": resets,
        "false_resets": false_resets,
        "worst_reset_error": np.where(resets > 0, 0.02 + 0.002 * false_resets, 0.0),
        "reset_error_sq": resets * (0.005 + 0.0002 * false_resets) ** 2,
        "full_days": full_days,
        "missed_days": missed,
        "error_sq_days": pack_days * error**2,
        "error_p95": 2.0 * error,
        "to_full_h": to_full_days * (6.0 + 0.3 * rule + 0.1 * bank),
        "to_full_days": to_full_days,
        "above_345_h": 40.0 + 10.0 * bank + 12.0 * rule * bank,
        "above_350_h": np.maximum(0.0, 3.0 * bank * rule - 2.0),
        "float_to_bulk": rng.poisson(500.0, shape).astype(float),
        "followers": np.full(shape, float(PACKS - 1)),
        "followers_never_reset": rng.binomial(2, 0.1 * chance + 0.02 * policy, shape).astype(float),
        "longest_without_days": 5.0 + 100.0 * chance * bank,
        "charger_kwh": 2_000.0 + 100.0 * bank + 0.0 * rule,
        "sun_unused_kwh": 500.0 + 60.0 * bank + 4.0 * rule,
        "heat_kwh": 90.0 + 10.0 * bank + rng.normal(0.0, 0.01, shape),
        "denied_kwh": np.zeros(shape),
        "stopped": np.zeros(shape),
    }


def written(
    folder: Path, rows: Mapping[str, npt.NDArray[np.float64]], bank: Sequence[int] = ()
) -> Path:
    """The columns as a file of banks, sorted by bank, then by arm."""
    banks, arms = rows["stopped"].shape
    numbers = np.array(bank or range(banks), np.int64)
    columns = {name: pa.array(values.ravel()) for name, values in rows.items()}
    columns["stopped"] = pa.array(rows["stopped"].ravel().astype(np.int8))
    keys = {
        "bank": pa.array(np.repeat(numbers, arms)),
        "arm": pa.array(np.tile(np.arange(arms, dtype=np.int16), banks)),
    }
    file = folder / "banks.parquet"
    parquet.write_table(pa.table(keys | columns), file)
    return file


def results_of(folder: Path, rows: Rows, facts: Facts, bank: Sequence[int] = ()) -> Results:
    """The columns, written and read."""
    return read_results(written(folder, rows, bank), facts)


assert set(drawn(arms_of(), 1)) >= {*COLUMNS, *KEYS} - {"bank", "arm"}
