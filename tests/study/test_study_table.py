"""From rows to the final table: values by hand, what is left out, what cannot be said, and the files."""

from __future__ import annotations

import json
from collections.abc import Callable
from math import isnan, nan
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from jsonschema import Draft202012Validator
from pyarrow import parquet

from harness.errors import InputError
from harness.report.caution import CAUTION
from harness.report.study_json import SCHEMA, to_json
from harness.study.measures import MEASURES, Kind, measure_named
from harness.study.pareto import not_dominated
from harness.study.results import COLUMNS, ArmName, labels_of, read_results
from harness.study.table import Estimate, Standing, Stop, Table, table_of
from harness.study.table_file import COMPARISONS, ESTIMATES, write_parquet
from tests.study.drawn_rows import Rows, arms_of, drawn, facts_of, results_of, written

TWO = arms_of(("taper", "hold_only"), ("every",))


def table(tmp_path: Path, rows: Rows, arms: tuple[ArmName, ...] = TWO, **more: int) -> Table:
    banks = len(rows["stopped"])
    return table_of(results_of(tmp_path, rows, facts_of(arms, banks)), resamples=500, **more)


def of(found: Table, measure: str, arm: int = 0) -> Estimate:
    return found.of(measure)[arm]


@pytest.mark.parametrize(
    ("name", "by_hand"),
    [
        ("false_fulls", lambda r: r["false_resets"].sum(0) / (r["pack_days"].sum(0) / 365)),
        ("missed_fulls", lambda r: r["missed_days"].sum(0) / r["full_days"].sum(0)),
        ("false_share", lambda r: r["false_resets"].sum(0) / r["resets"].sum(0)),
        ("worst_false_full", lambda r: r["worst_reset_error"].max(0)),
        ("soc_error", lambda r: (r["error_sq_days"].sum(0) / r["pack_days"].sum(0)) ** 0.5),
        ("soc_error_p95", lambda r: r["error_p95"].mean(0)),
        ("reset_error", lambda r: (r["reset_error_sq"].sum(0) / r["resets"].sum(0)) ** 0.5),
        ("time_to_full", lambda r: r["to_full_h"].sum(0) / r["to_full_days"].sum(0)),
        ("above_345", lambda r: 365 * r["above_345_h"].sum(0) / r["pack_days"].sum(0)),
        ("above_350", lambda r: 365 * r["above_350_h"].sum(0) / r["pack_days"].sum(0)),
        ("float_to_bulk", lambda r: r["float_to_bulk"].sum(0) / r["pack_days"].sum(0)),
        ("never_reset", lambda r: r["followers_never_reset"].sum(0) / r["followers"].sum(0)),
        ("longest_without", lambda r: r["longest_without_days"].mean(0)),
        ("heat", lambda r: 365 * r["heat_kwh"].sum(0) / r["ran_days"].sum(0)),
        ("sun_unused", lambda r: 365 * r["sun_unused_kwh"].sum(0) / r["ran_days"].sum(0)),
        ("denied", lambda r: 365 * r["denied_kwh"].sum(0) / r["ran_days"].sum(0)),
    ],
)
def test_every_measure_is_what_its_formula_says(
    tmp_path: Path, name: str, by_hand: Callable[[Rows], np.ndarray[tuple[int], np.dtype[np.float64]]]
) -> None:  # fmt: skip
    rows = drawn(TWO, 30)
    rows["pack_days"] *= np.linspace(0.5, 1.0, 30)[:, None]
    rows["denied_kwh"] += 0.25
    found = [each.value for each in table(tmp_path, rows).of(name)]
    assert found == pytest.approx(by_hand(rows).tolist(), rel=1e-9)


def test_every_measure_was_worked_out_by_hand_and_says_how_it_is_made() -> None:
    (mark,) = test_every_measure_is_what_its_formula_says.pytestmark  # type: ignore[attr-defined]
    assert [name for name, _ in mark.args[1]] == [each.name for each in MEASURES]
    assert measure_named("false_fulls").formula == "sum(false_resets) / (sum(pack_days) / 365)"
    assert measure_named("soc_error").formula == "sqrt(sum(error_sq_days) / sum(pack_days))"
    assert measure_named("soc_error_p95").formula == "sum(error_p95) / banks"
    assert measure_named("worst_false_full").formula == "max(worst_reset_error)"


def test_stopped_banks_are_left_out_and_named(tmp_path: Path) -> None:
    rows = drawn(TWO, 30)
    rows["stopped"][4, 1] = rows["stopped"][7, 0] = rows["stopped"][7, 1] = 1
    # What a bank that stopped said until then has no part in anything, whatever it is.
    rows["false_resets"][4, 1] = 1e9
    rows["heat_kwh"][7, 0] = nan
    found = table(tmp_path, rows)
    assert found.stops == (Stop(4, (1,)), Stop(7, (0, 1)))
    kept = [k for k in range(30) if k not in (4, 7)]
    by_hand = rows["false_resets"][kept, 1].sum() / (rows["pack_days"][kept, 1].sum() / 365)
    assert of(found, "false_fulls", 1).value == pytest.approx(by_hand, rel=1e-9)
    assert (of(found, "false_fulls", 0).banks, of(found, "false_fulls", 1).banks) == (29, 28)
    assert {each.difference.banks for each in found.comparisons} == {28}


def test_with_one_bank_there_is_a_value_and_no_interval(tmp_path: Path) -> None:
    found = table(tmp_path, drawn(TWO, 1))
    for each in found.estimates:
        if measure_named(each.measure).kind is not Kind.LARGEST:
            assert each.note == "one bank: no interval"
        assert isnan(each.low)
        assert isnan(each.high)
        assert each.value >= 0.0
    for comparison in found.comparisons:
        assert comparison.difference.p == 1.0
        assert comparison.standing in (Standing.NOT_TOLD_APART, Standing.SAME)
        assert comparison.note == "one bank: no interval, and no test can tell"


def test_what_cannot_be_divided_is_not_defined_and_not_nothing(tmp_path: Path) -> None:
    rows = drawn(TWO, 20)
    for name in ("resets", "false_resets", "reset_error_sq", "to_full_h", "to_full_days"):
        rows[name][:, 0] = 0.0
    found = table(tmp_path, rows)
    for name, column in (("false_share", "resets"), ("time_to_full", "to_full_days")):
        each = of(found, name)
        assert isnan(each.value)
        assert (each.banks, each.note) == (0, f"not defined: {column} is 0 in every bank")
        (comparison,) = found.compared_in(name)
        assert comparison.standing is Standing.UNDEFINED
        assert isnan(comparison.difference.p)
        assert comparison.note == "not defined in one of them"
    # No full reset is none that is false: that much is known.
    assert of(found, "false_fulls").value == 0.0


def test_where_no_bank_saw_it_the_note_says_how_rare_it_must_be(tmp_path: Path) -> None:
    each = of(table(tmp_path, drawn(TWO, 59)), "denied")
    assert (each.value, isnan(each.low), isnan(each.high)) == (0.0, True, True)
    # 0.95 ** 59 is just under 0.05.
    assert (
        each.note == "the same in all 59 banks: with 95 % confidence fewer than 5 % of banks differ"
    )


def test_arms_that_are_the_same_in_every_bank_are_called_so(tmp_path: Path) -> None:
    rows = drawn(TWO, 20)
    for values in rows.values():
        values[:, 1] = values[:, 0]
    for comparison in table(tmp_path, rows).comparisons:
        each = comparison.difference
        assert comparison.standing is Standing.SAME
        assert (each.value, each.p, each.better_share) == (0.0, 1.0, 0.5)
        assert comparison.note == "no bank of 20 differs"


def test_a_clear_difference_is_told_apart_the_right_way_round(tmp_path: Path) -> None:
    found = table(tmp_path, drawn(TWO, 60))
    # The tapered rule has more false fulls, and misses more full days, in the rows as drawn.
    for name in ("false_fulls", "missed_fulls"):
        (comparison,) = found.compared_in(name)
        each = comparison.difference
        assert comparison.standing is Standing.SECOND_BETTER
        assert 0.0 < each.low < each.value < each.high
        assert each.value == pytest.approx(of(found, name, 0).value - of(found, name, 1).value)
        assert each.better_share < 0.2
    # Heat is drawn alike in both, but for a little noise.
    (heat,) = found.compared_in("heat")
    assert heat.standing is Standing.NOT_TOLD_APART


def test_those_that_nobody_beats() -> None:
    false = np.array([1.0, 2.0, 3.0, 2.0, nan, 1.0])
    missed = np.array([5.0, 3.0, 3.0, 4.0, 0.0, 5.0])
    assert not_dominated(false, missed).tolist() == [True, True, False, False, False, True]


def test_many_pairs_get_more_exchanges(tmp_path: Path) -> None:
    arms = arms_of(("taper", "hold_only"), ("every",), tuple(range(60)))
    found = table(tmp_path, drawn(arms, 25), arms, flips=99)
    # Sixty pairs, and the least p value that is left after the correction is 0.01.
    assert found.flips == 5_999
    (best,) = {each.difference.p_holm for each in found.compared_in("false_fulls")}
    assert best == pytest.approx(60 / 6_000)


def test_labels_hold_what_varies() -> None:
    assert labels_of(arms_of(("taper",), ("every", "any"))) == ("every", "any")
    assert labels_of(TWO) == ("taper", "hold_only")
    assert labels_of(arms_of(("taper",), ("every",), (60.0, 90.5))) == ("hold_s 60", "hold_s 90.5")
    assert labels_of(TWO[:1]) == ("taper",)
    assert labels_of(arms_of(("taper", "hold_only"), ("any",), (60.0,)))[0] == "taper"


def test_the_same_rows_give_the_same_bytes(tmp_path: Path) -> None:
    arms = arms_of(("taper", "hold_only"), ("every", "any"), (900.0, 3_600.0))
    texts, files = [], []
    for name in ("one", "other"):
        (folder := tmp_path / name).mkdir()
        found = table(folder, drawn(arms, 25), arms)
        texts.append(to_json(found))
        files.append([each.read_bytes() for each in write_parquet(found, folder)])
    assert texts[0] == texts[1]
    assert files[0] == files[1]


def test_the_files_are_tidy(tmp_path: Path) -> None:
    arms = tuple(
        ArmName(rule, "every", (("hold_s", hold), ("on_sag", sag), ("float_s", None)))
        for rule in ("taper", "hold_only")
        for hold, sag in ((900, "restart"), (3_600.5, "pause"))
    )
    found = table(tmp_path, drawn(arms, 12), arms)
    write_parquet(found, tmp_path)
    estimates = parquet.read_table(tmp_path / ESTIMATES)
    assert estimates.num_rows == 4 * len(MEASURES)
    kinds = {field.name: field.type for field in estimates.schema}
    assert kinds["value"] == kinds["low"] == kinds["setting_hold_s"] == pa.float64()
    assert kinds["setting_on_sag"] == kinds["note"] == pa.string()
    (row,) = (
        each for each in estimates.to_pylist() if (each["arm"], each["measure"]) == (1, "heat")
    )
    assert row["value"] == of(found, "heat", 1).value
    assert (row["setting_hold_s"], row["setting_on_sag"]) == (3_600.5, "pause")
    worst = [each for each in estimates.to_pylist() if each["measure"] == "worst_false_full"]
    assert {each["low"] for each in worst} == {None}
    comparisons = parquet.read_table(tmp_path / COMPARISONS).to_pylist()
    assert len(comparisons) == len(found.comparisons) == 2 * (len(MEASURES) - 1)
    assert {each["first_rule"] for each in comparisons} == {"taper"}
    assert {each["second_rule"] for each in comparisons} == {"hold_only"}
    for file in (ESTIMATES, COMPARISONS):
        raw = (tmp_path / file).read_bytes()
        assert b"NaN" not in raw
        nans = parquet.read_table(tmp_path / file)
        for column in nans.columns:
            if column.type == pa.float64():
                assert not np.isnan(column.drop_null().to_numpy()).any()


@pytest.mark.parametrize("banks", [1, 25])
def test_the_json_keeps_to_its_schema(tmp_path: Path, banks: int) -> None:
    arms = arms_of(("taper", "hold_only"), ("every", "any"), (900.0, 3_600.0))
    rows = drawn(arms, banks)
    rows["resets"][:, 0] = 0.0
    if banks > 1:
        rows["stopped"][3, 2] = 1
    facts = facts_of(arms, banks + 1, failed=((banks, "its worker died"),))
    found = table_of(results_of(tmp_path, rows, facts), resamples=200)
    document = json.loads(to_json(found))
    schema = json.loads(SCHEMA.read_text())
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(document)
    assert next(iter(document)) == "format"
    assert document["caution"] == CAUTION
    assert document["end"] == {
        "estimates": len(document["estimates"]),
        "comparisons": len(document["comparisons"]),
        "complete": True,
    }
    assert document["failed"] == [{"bank": banks, "why": "its worker died"}]
    assert len(document["stopped"]) == (banks > 1)
    # What is not there is null, and a member that nobody described is refused.
    assert any(each["value"] is None for each in document["estimates"])
    document["estimates"][0]["more"] = 1
    assert not Draft202012Validator(schema).is_valid(document)


def wrong(change: str, rows: Rows) -> None:
    """Rows with something wrong with them."""
    if change == "not a number":
        rows["heat_kwh"][2, 1] = nan
    elif change == "missing":
        del rows["to_full_h"]


@pytest.mark.parametrize(
    ("change", "banks", "told"),
    [
        ("not a number", 5, "heat_kwh: nan for bank 2 in arm 1; a number must stand there"),
        ("missing", 5, "to_full_h: the column is missing; a file of banks has bank, arm, stopped"),
        ("", 4, "bank: there is a bank 4; they are numbered from 0 to 3"),
    ],
)
def test_rows_that_cannot_be_used_are_named(
    tmp_path: Path, change: str, banks: int, told: str
) -> None:
    rows = drawn(TWO, 5)
    wrong(change, rows)
    file = written(tmp_path, rows)
    with pytest.raises(InputError) as caught:
        table_of(read_results(file, facts_of(TWO, banks)), resamples=50)
    assert str(caught.value).startswith(f"{file}: {told}")


def test_rows_of_another_study_are_refused(tmp_path: Path) -> None:
    file = written(tmp_path, drawn(TWO, 5))
    three = arms_of(("taper", "hold_only", "first_touch"), ("every",))
    with pytest.raises(InputError, match="its 10 rows are not every bank in each of 3 arms"):
        read_results(file, facts_of(three, 5))
    unsorted = written(tmp_path, drawn(TWO, 5), bank=[0, 2, 1, 3, 4])
    with pytest.raises(InputError, match="bank by bank"):
        read_results(unsorted, facts_of(TWO, 5))
    none = written(tmp_path, drawn(TWO, 0))
    with pytest.raises(InputError, match="it has no rows"):
        read_results(none, facts_of(TWO, 5))
    (broken := tmp_path / "broken.parquet").write_bytes(b"PAR1 and no more")
    with pytest.raises(InputError, match="is no Parquet file"):
        read_results(broken, facts_of(TWO, 5))


def test_words_in_a_column_of_numbers_are_refused(tmp_path: Path) -> None:
    file = written(tmp_path, drawn(TWO, 5))
    rows = parquet.read_table(file)
    place = rows.column_names.index("heat_kwh")
    parquet.write_table(rows.set_column(place, "heat_kwh", pa.array(["much"] * 10)), file)
    with pytest.raises(InputError, match="heat_kwh: it holds object; numbers must stand there"):
        table_of(read_results(file, facts_of(TWO, 5)), resamples=50)


def test_banks_that_are_missing_leave_the_others_their_numbers(tmp_path: Path) -> None:
    rows = drawn(TWO, 4)
    rows["stopped"][1, 0] = 1
    results = results_of(tmp_path, rows, facts_of(TWO, 9), bank=[0, 3, 4, 8])
    found = table_of(results, resamples=50)
    assert found.there == 4
    assert found.stops == (Stop(3, (0,)),)
    assert set(COLUMNS) <= set(rows)
