"""The final table as two Parquet files with tidy columns. The same table gives the same bytes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isfinite
from pathlib import Path
from typing import Any

from harness.errors import InputError
from harness.study.measures import measure_named
from harness.study.results import ArmName
from harness.study.table import Comparison, Estimate, Table

ESTIMATES, COMPARISONS = "estimates.parquet", "comparisons.parquet"


def estimate_rows(table: Table) -> list[dict[str, Any]]:
    """A row for each arm and measure; what is not defined is None."""
    return [_estimate(table, each) for each in table.estimates]


def comparison_rows(table: Table) -> list[dict[str, Any]]:
    """A row for each pair of arms and measure; what is not defined is None."""
    return [_comparison(table, each) for each in table.comparisons]


def write_parquet(table: Table, folder: Path) -> tuple[Path, Path]:
    """Write the table.

    Args:
        table: it.
        folder: where `estimates.parquet` and `comparisons.parquet` are written.

    Returns:
        The two files.

    Raises:
        InputError: one cannot be written, or there is no pyarrow.
    """
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError:
        hint = "pip install 'fullproof[parquet]'"
        raise InputError("a Parquet file needs pyarrow", file=folder, hint=hint) from None
    files = folder / ESTIMATES, folder / COMPARISONS
    settings = _settings_fields(table, pa)
    fields = _estimate_fields(pa) + settings, _comparison_fields(pa) + settings
    rows = estimate_rows(table), comparison_rows(table)
    for file, some, schema in zip(files, rows, map(pa.schema, fields), strict=True):
        plain = [_flat(row, schema, pa) for row in some]
        try:
            parquet.write_table(pa.Table.from_pylist(plain, schema=schema), file)
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", file=file) from None
    return files


def _estimate(table: Table, each: Estimate) -> dict[str, Any]:
    measure, arm = measure_named(each.measure), table.facts.arms[each.arm]
    return {
        "arm": each.arm,
        "rule": arm.rule,
        "policy": arm.policy,
        "settings": _settings(arm),
        "measure": each.measure,
        "unit": measure.unit,
        "value": _number(each.value),
        "low": _number(each.low),
        "high": _number(each.high),
        "banks": each.banks,
        "on_front": each.arm in table.front,
        "note": each.note,
    }


def _comparison(table: Table, comparison: Comparison) -> dict[str, Any]:
    each = comparison.difference
    first, second = (table.facts.arms[k] for k in (each.pair.first, each.pair.second))
    return {
        "varied": each.pair.varied,
        "first": each.pair.first,
        "second": each.pair.second,
        "first_rule": first.rule,
        "first_policy": first.policy,
        "second_rule": second.rule,
        "second_policy": second.policy,
        "settings": _settings(first),
        "measure": comparison.measure,
        "unit": measure_named(comparison.measure).unit,
        "difference": _number(each.value),
        "low": _number(each.low),
        "high": _number(each.high),
        "p": _number(each.p),
        "p_holm": _number(each.p_holm),
        "exact": each.exact,
        "d_z": _number(each.d_z),
        "better_share": _number(each.better_share),
        "banks": each.banks,
        "banks_compared": each.compared,
        "banks_differ": each.differ,
        "standing": comparison.standing.name.lower(),
        "note": comparison.note,
    }


def _settings(arm: ArmName) -> dict[str, Any]:
    return dict(arm.settings)


def _flat(row: dict[str, Any], schema: Any, pa: Any) -> dict[str, Any]:
    """A row with a column for each setting."""
    settings = {f"setting_{name}": value for name, value in row.pop("settings").items()}
    for name, value in settings.items():
        if value is not None and schema.field(name).type == pa.string():
            settings[name] = str(value)
    return {**row, **settings}


def _number(value: float) -> float | None:
    return value if isfinite(value) else None


def _estimate_fields(pa: Any) -> list[Any]:
    return _fields(
        pa,
        ("arm", "int32"),
        *_texts("rule", "policy", "measure", "unit"),
        *_floats("value", "low", "high"),
        ("banks", "int64"),
        ("on_front", "bool_"),
        ("note", "string"),
    )


def _comparison_fields(pa: Any) -> list[Any]:
    return _fields(
        pa,
        ("varied", "string"),
        ("first", "int32"),
        ("second", "int32"),
        *_texts("first_rule", "first_policy", "second_rule", "second_policy", "measure", "unit"),
        *_floats("difference", "low", "high", "p", "p_holm"),
        ("exact", "bool_"),
        *_floats("d_z", "better_share"),
        *((name, "int64") for name in ("banks", "banks_compared", "banks_differ")),
        *_texts("standing", "note"),
    )


def _texts(*names: str) -> list[tuple[str, str]]:
    return [(name, "string") for name in names]


def _floats(*names: str) -> list[tuple[str, str]]:
    return [(name, "float64") for name in names]


def _fields(pa: Any, *named: tuple[str, str]) -> list[Any]:
    return [pa.field(name, getattr(pa, kind)()) for name, kind in named]


def _settings_fields(table: Table, pa: Any) -> list[Any]:
    """A column for each setting of the grid: of numbers, or of words where one is a word."""
    values: dict[str, list[object]] = {}
    for arm in table.facts.arms:
        for name, value in arm.settings:
            values.setdefault(f"setting_{name}", []).append(value)
    return [pa.field(name, _kind(pa, some)) for name, some in values.items()]


def _kind(pa: Any, values: Sequence[object]) -> Any:
    def all_are(test: Callable[[object], bool]) -> bool:
        return all(value is None or test(value) for value in values)

    if all_are(lambda value: isinstance(value, bool)):
        return pa.bool_()
    if all_are(lambda value: isinstance(value, int | float) and not isinstance(value, bool)):
        return pa.float64()
    return pa.string()
