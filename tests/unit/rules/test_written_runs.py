"""Each requirement on a run that breaks it and on one that keeps it, written out by hand.

Numbers are worked from the rules: entry voltage 55.8 V for 2 s, hold 6 s, full voltage 55.6 V,
return voltage 53.0 V for 2 s. A timer may be off by one interval, a voltage by nothing.
"""

from math import inf, nan

import pytest

from harness.judge import judge
from tests.unit.rules.written_runs import verdict, written

UP, HIGH, REST, LOW = 55.0, 55.9, 54.0, 52.5


def broken(*args: object, **kwargs: object) -> list[tuple[str, int, float, str]]:
    """Requirement, row, margin and unit of every finding."""
    return [
        (f.requirement, f.index, round(f.margin, 6), f.unit)
        for f in verdict(*args, **kwargs).findings
    ]


# One charge by the book: entry dwell rows 1..3, hold from row 3, reset and float at row 9.
BOOK = ("bbb" + "aaaaaa" + "fff", [UP, *[HIGH] * 9, REST, REST])


def test_a_charge_by_the_book_has_no_finding_and_exercises_its_requirements() -> None:
    said = verdict(*BOOK, resets=[9])
    assert said.findings == ()
    for name in ("ENTRY.held-long-enough", "ENTRY.not-late", "HOLD.full-length", "HOLD.ends"):
        assert said.exercised[name] >= 1
    assert "FLOAT.timer-ends" not in said.exercised


@pytest.mark.parametrize(
    ("stages", "v", "resets", "findings"),
    [
        # Entered after 0 s of 2 s; one interval is forgiven, two are not.
        ("b" + "aaaaaa" + "ff", [UP, *[HIGH] * 8], [7], [("ENTRY.held-long-enough", 1, 2.0, "s")]),
        ("bb" + "aaaaaa" + "ff", [UP, *[HIGH] * 9], [8], []),
        # Entered 10 mV under the entry voltage.
        (
            "bbb" + "aaaaaa" + "ff",
            [UP, HIGH, HIGH, 55.79, *[HIGH] * 7],
            [9],
            [("ENTRY.held-long-enough", 3, 10.0, "mV")],
        ),
        # Due at row 3: row 4 may still say bulk... no: it is the next stamp, and late.
        ("bbbb" + "aaaaaa" + "f", [UP, *[HIGH] * 10], [10], []),
        (
            "bbbbbb",
            [UP, *[HIGH] * 5],
            [],
            [("ENTRY.not-late", 4, 1.0, "s")],
        ),
        ("bbbff", [UP, UP, UP, REST, REST], [], [("ENTRY.from-bulk-only", 3, 0.0, "")]),
    ],
)
def test_entry(
    stages: str, v: list[float], resets: list[int], findings: list[tuple[str, int, float, str]]
) -> None:
    assert broken(stages, v, resets=resets) == findings


def after(stages: str, v: list[float], **kwargs: object) -> list[tuple[str, int, float, str]]:
    """As `broken`, behind three rows of bulk that lead into the hold at row 3."""
    resets = [row + 3 for row in kwargs.pop("resets", ())]  # type: ignore[attr-defined]
    return broken("bbb" + stages, [UP, HIGH, HIGH, *v], resets=resets, **kwargs)


@pytest.mark.parametrize(
    ("stages", "v", "resets", "changes", "findings"),
    [
        # Four seconds of six; five are within one interval.
        ("aaaaff", [HIGH] * 6, [4], {}, [("HOLD.full-length", 7, 2.0, "s")]),
        ("aaaaaff", [HIGH] * 7, [5], {}, []),
        ("aaaaaaaa", [HIGH] * 8, [], {}, [("HOLD.ends", 10, 1.0, "s")]),
        ("aaaaaaaf", [HIGH] * 8, [7], {}, []),
        # A sag of two samples at rows 5 and 6: two intervals start at a low sample.
        (
            "aaaaaaff",
            [HIGH, HIGH, 55.7, 55.7, HIGH, HIGH, HIGH, REST],
            [6],
            {"on_sag": "pause"},
            [("HOLD.sag-pauses", 9, 2.0, "s")],
        ),
        ("aaaaaaaaff", [HIGH, HIGH, 55.7, 55.7, *[HIGH] * 5, REST], [8], {"on_sag": "pause"}, []),
        (
            "aaaaaaaaff",
            [HIGH, HIGH, 55.7, 55.7, *[HIGH] * 5, REST],
            [8],
            {"on_sag": "restart"},
            [("HOLD.sag-restarts", 11, 2.0, "s")],
        ),
        (
            "aaaaaaaaff",
            [HIGH, HIGH, 55.7, 55.7, *[HIGH] * 5, REST],
            [8],
            {"on_sag": "run"},
            [("HOLD.sag-runs-on", 10, 1.0, "s")],
        ),
    ],
)
def test_hold(
    stages: str,
    v: list[float],
    resets: list[int],
    changes: dict[str, object],
    findings: list[tuple[str, int, float, str]],
) -> None:
    assert after(stages, v, resets=resets, **changes) == findings


DIP = [*[HIGH] * 6, 55.59, REST]


@pytest.mark.parametrize(
    ("stages", "v", "resets", "changes", "findings"),
    [
        ("aaaaaaff", DIP, [6], {}, [("FULL.voltage", 9, 10.0, "mV")]),
        ("aaaaaaff", DIP, [], {}, []),
        ("aaaaaaff", [*[HIGH] * 7, REST], [], {}, [("FULL.granted", 9, 300.0, "mV")]),
        ("aaaaaabb", DIP, [], {}, [("FULL.denied", 9, 0.0, "")]),
        ("aaaaaabb", DIP, [], {"on_unconfirmed": "bulk"}, []),
        ("aaaaaaff", DIP, [], {"on_unconfirmed": "wait"}, [("FULL.wait", 9, 3600.0, "s")]),
        (
            "aaaaaaff",
            [*[HIGH] * 7, REST],
            [6],
            {"confirm_s": 4.0},
            [("FULL.confirmed", 9, 4.0, "s")],
        ),
        ("aaaaaaaaaaff", [*[HIGH] * 11, REST], [10], {"confirm_s": 4.0}, []),
        # Two resets for one hold, and one in bulk.
        ("aaaaaaff", [HIGH] * 8, [6, 7], {}, [("FULL.at-hold-end", 10, 0.0, "")]),
        ("aaaaaaff", [HIGH] * 8, [-1, 6], {}, [("FULL.at-hold-end", 2, 0.0, "")]),
    ],
)
def test_full(
    stages: str,
    v: list[float],
    resets: list[int],
    changes: dict[str, object],
    findings: list[tuple[str, int, float, str]],
) -> None:
    soc = [0.5] * (len(stages) + 3)
    for row in resets:
        soc[row + 3 :] = [1.0] * (len(soc) - row - 3)
    assert after(stages, v, resets=resets, soc=soc, **changes) == findings


def test_a_large_current_denies_where_a_taper_current_is_set() -> None:
    currents = [0.0] * 9 + [25.0, 0.0]
    findings = after("aaaaaaff", [HIGH] * 8, resets=[6], i=currents, taper_a=20.0, capacity_ah=1e9)
    assert findings == [("FULL.taper", 9, 5.0, "A")]


def test_a_reset_that_stops_short_of_one() -> None:
    soc = [0.5] * 9 + [0.99] * 2
    assert after("aaaaaaff", [HIGH] * 8, resets=[6], soc=soc) == [("FULL.sets-one", 9, 0.01, "SoC")]


IN_FLOAT = "bbbaaaaaa"
UP_THERE = [UP, *[HIGH] * 8]


@pytest.mark.parametrize(
    ("stages", "v", "changes", "findings"),
    [
        ("fffb", [HIGH, REST, REST, REST], {}, [("FLOAT.stays", 12, 0.0, "")]),
        ("ffffb", [HIGH, REST, LOW, LOW, LOW], {}, []),
        # One sample below the return voltage, 0 s of 2 s.
        ("ffb", [HIGH, REST, LOW], {}, [("RETURN.voltage-held", 11, 2.0, "s")]),
        ("fffff", [HIGH, LOW, LOW, LOW, LOW], {}, [("RETURN.low-voltage", 13, 1.0, "s")]),
        ("ffa", [HIGH, HIGH, HIGH], {}, [
            ("RETURN.to-bulk", 11, 0.0, ""),
            ("ENTRY.from-bulk-only", 11, 0.0, ""),
        ]),
        ("ffffb", [HIGH, *[REST] * 4], {"float_s": 4.0}, []),
        ("ffb", [HIGH, REST, REST], {"float_s": 4.0}, [("FLOAT.timer-full-length", 11, 2.0, "s")]),
        ("ffffff", [HIGH, *[REST] * 5], {"float_s": 4.0}, [("FLOAT.timer-ends", 14, 1.0, "s")]),
    ],
)  # fmt: skip
def test_float(
    stages: str,
    v: list[float],
    changes: dict[str, object],
    findings: list[tuple[str, int, float, str]],
) -> None:
    found = broken(IN_FLOAT + stages, [*UP_THERE, *v], resets=[9], **changes)
    assert sorted(found) == sorted(findings)


def test_a_low_count_ends_float_at_once() -> None:
    run = {"resets": [9], "return_soc": 0.9, "soc": [0.5] * 9 + [1.0, 1.0, 0.85, 0.85]}
    kept = verdict(IN_FLOAT + "ffbb", [*UP_THERE, HIGH, REST, REST, REST], **run)
    late = verdict(IN_FLOAT + "ffff", [*UP_THERE, HIGH, REST, REST, REST], **run)
    assert [f.requirement for f in kept.findings] == ["SOC.no-jump"]
    assert [f.requirement for f in late.findings] == ["RETURN.low-soc", "SOC.no-jump"]


GAP_T = [0.0, 1.0, 2.0, 42.0, 43.0, 44.0]


@pytest.mark.parametrize(
    ("stages", "v", "t", "findings"),
    [
        ("bbbaaa", [UP, *[HIGH] * 5], GAP_T, [("TIME.gap-restarts-dwell", 3, 2.0, "s")]),
        ("bbbbba", [UP, *[HIGH] * 5], GAP_T, []),
        (
            "bbbaaa",
            [UP, *[HIGH] * 5],
            [0, 1, 2, 3, 43, 44],
            [("TIME.gap-abandons-hold", 4, 10.0, "s")],
        ),
        ("bbbabb", [UP, *[HIGH] * 5], [0, 1, 2, 3, 43, 44], []),
        ("bbbaaa", [UP, *[HIGH] * 5], [0, 1, 2, 3, -7, -6], [("TIME.backward-step", 4, 10.0, "s")]),
        # An invalid sample in the dwell interrupts nothing: due at row 3, late at row 4.
        (
            "bbbbbb",
            [UP, HIGH, nan, HIGH, HIGH, HIGH],
            None,
            [("TIME.invalid-skipped", 4, 1.0, "s")],
        ),
        ("bbabbb", [UP, UP, inf, UP, UP, UP], None, [("TIME.invalid-skipped", 2, 0.0, "")]),
    ],
)
def test_time(
    stages: str,
    v: list[float],
    t: list[float] | None,
    findings: list[tuple[str, int, float, str]],
) -> None:
    found = [f for f in broken(stages, v, t=t) if not f[0].startswith("ENTRY.from")]
    assert found == findings


def test_a_controller_that_sees_nothing_must_stop_the_charge() -> None:
    t = [0.0, 10.0, 20.0, 30.0, 40.0, 50.0]
    v = [UP, nan, nan, nan, nan, nan]
    assert broken("bbbbii", v, t=t) == []
    assert broken("bbbbbb", v, t=t) == [("PROTECT.no-reading", 5, 20.0, "s")]
    assert broken("bbiiii", v, t=t) == [("PROTECT.no-reading", 2, 10.0, "s")]


CELL = {"trip_dwell_s": 2.0, "release_dwell_s": 2.0}


@pytest.mark.parametrize(
    ("stages", "cell", "findings"),
    [
        ("bbbiiiii", [3.4, 3.66, 3.66, 3.66, 3.66, 3.66, 3.66, 3.66], []),
        ("bbbbbbbb", [3.4, *[3.66] * 7], [("PROTECT.cell-trips", 4, 1.0, "s")]),
        ("bbiiiiii", [3.4, 3.4, *[3.66] * 6], [("PROTECT.cell-held", 2, 2.0, "s")]),
        ("bbiiiiii", [3.4, 3.4, 3.64, *[3.4] * 5], [("PROTECT.cell-held", 2, 10.0, "mV")]),
        # Clear from row 5: released at row 7. 3.52 V is under the limit, but not clear.
        ("bbbiiiib", [3.4, *[3.66] * 3, 3.52, 3.4, 3.4, 3.4], []),
        (
            "bbbiibbb",
            [3.4, *[3.66] * 3, 3.52, 3.4, 3.4, 3.4],
            [("PROTECT.release-held", 5, 2.0, "s")],
        ),
        ("bbbiiiii", [3.4, *[3.66] * 3, 3.4, 3.4, 3.4, 3.4], [("PROTECT.releases", 7, 1.0, "s")]),
        ("bbbiiiif", [3.4, *[3.66] * 3, 3.52, 3.4, 3.4, 3.4], [("PROTECT.to-bulk", 7, 0.0, "")]),
    ],
)
def test_cell_protection(
    stages: str, cell: list[float], findings: list[tuple[str, int, float, str]]
) -> None:
    assert broken(stages, [UP] * 8, readings={"cell_max_v": cell}, **CELL) == findings


def test_temperature_protection() -> None:
    cold = {"temp_c": [5.0, -1.0, -1.0, -1.0, -1.0, -1.0]}
    late = broken("bbbbbb", [UP] * 6, readings=cold, **CELL)
    assert late == [("PROTECT.temperature-trips", 4, 1.0, "s")]
    cool = {"temp_c": [5.0, 0.0, 0.0, 0.0, 0.0, 0.0]}
    early = broken("bbiiii", [UP] * 6, readings=cool, **CELL)
    assert early == [("PROTECT.temperature-held", 2, 0.0, "degrees C")]


def test_a_reset_while_inhibited() -> None:
    cell = {"cell_max_v": [3.66] * 4}
    found = broken(
        "ibii", [UP] * 4, readings=cell, resets=[2], trip_dwell_s=0.0, soc=[0.5] * 2 + [1.0] * 2
    )
    assert ("PROTECT.blocks-full", 2, 0.0, "") in found


# 280 A for 36 s are 0.01 of 280 Ah.
FLOW = {"i": [280.0] * 4, "interval_s": 36.0, "max_gap_s": 40.0}


@pytest.mark.parametrize(
    ("soc", "changes", "findings"),
    [
        ([0.5, 0.51, 0.52, 0.53], {}, []),
        ([0.5, 0.51, 0.5201, 0.5301], {}, [("SOC.counts", 2, 0.0001, "SoC")]),
        ([0.5, 0.51, 0.62, 0.63], {}, [("SOC.no-jump", 2, 0.1, "SoC")]),
        ([0.51, 0.52, 0.53, 0.54], {}, [("SOC.starts", 0, 0.01, "SoC")]),
        ([0.5, 0.51, 0.515, 0.525], {"soc_ceiling": 0.515}, [("SOC.ceiling", 3, 0.01, "SoC")]),
        ([0.5, 0.51, 0.515, 0.515], {"soc_ceiling": 0.515}, []),
        (
            [0.5, 0.51, 0.52, 0.53],
            {"charge_efficiency": 0.9},
            [("SOC.efficiency", 1, 0.001, "SoC")],
        ),
    ],
)
def test_counting(
    soc: list[float], changes: dict[str, object], findings: list[tuple[str, int, float, str]]
) -> None:
    assert broken("bbbb", [UP] * 4, soc=soc, **{**FLOW, **changes}) == findings


def test_any_rule_between_the_rectangle_sums_is_accepted() -> None:
    flow = {**FLOW, "i": [0.0, 280.0, 280.0, 280.0]}
    assert broken("bbbb", [UP] * 4, soc=[0.5, 0.5, 0.51, 0.52], **flow) == []
    assert broken("bbbb", [UP] * 4, soc=[0.5, 0.51, 0.52, 0.53], **flow) == []
    assert broken("bbbb", [UP] * 4, soc=[0.5, 0.511, 0.521, 0.531], **flow) == [
        ("SOC.counts", 1, 0.001, "SoC")
    ]


def test_a_gap_adds_nothing() -> None:
    t = [0.0, 36.0, 136.0, 172.0]
    flow = {"i": [280.0] * 4, "t": t, "max_gap_s": 40.0}
    assert broken("bbbb", [UP] * 4, soc=[0.5, 0.51, 0.51, 0.52], **flow) == []
    found = broken("bbbb", [UP] * 4, soc=[0.5, 0.51, 0.537778, 0.547778], **flow)
    assert found == [("TIME.gap-adds-nothing", 2, 0.027778, "SoC")]


def test_the_empty_rule() -> None:
    low = [46.0, 44.8, 44.8, 44.8, 44.8, 44.8]
    dwell = {"empty_dwell_s": 2.0}
    assert broken("bbbbbb", low, soc=[0.5, 0.5, 0.5, 0.0, 0.0, 0.0], **dwell) == []
    late = broken("bbbbbb", low, soc=[0.5] * 6, **dwell)
    assert late == [("SOC.empty", 4, 0.5, "SoC")]
    early = broken("bbbbbb", low, soc=[0.5, 0.0, 0.0, 0.0, 0.0, 0.0], **dwell)
    assert early == [("SOC.empty", 1, 0.5, "SoC")]


def test_a_count_outside_its_bounds() -> None:
    found = broken("bb", [UP, UP], soc=[1.0, 1.01], start_soc=1.0)
    assert found == [("SOC.bounds", 1, 0.01, "SoC"), ("SOC.no-jump", 1, 0.01, "SoC")]


def test_requests() -> None:
    assert broken("bb", [UP, UP], asked_v={1: 55.9}) == [("REQUEST.voltage", 1, 100.0, "mV")]
    above = broken("bb", [UP, UP], asked_v={1: 56.1})
    assert ("REQUEST.never-above", 1, 100.0, "mV") in above
    assert broken("bb", [UP, UP], asked_a={0: 90.0}) == [("REQUEST.current", 0, 10.0, "A")]


def test_the_voltage_asked_for_follows_the_temperature() -> None:
    # 24 cells of 5 mV per degree at 0 degrees C: 25 * 24 * 5 mV = 3.000 V (Harrington and Dunlop,
    # "Battery Charge Controller Characteristics in Photovoltaic Systems", IEEE AES Magazine,
    # August 1992, p. 15: -5 mV per degree C and cell).
    changes = {
        "compensation_v_per_c": -0.12,
        "readings": {"temp_c": [0.0, nan]},
        "charge_min_c": None,
    }
    assert broken("bb", [UP, UP], asked_v={0: 59.0, 1: 59.0}, **changes) == []
    assert broken("bb", [UP, UP], asked_v={0: 59.0, 1: 56.0}, **changes) == [
        ("REQUEST.compensated", 1, 3000.0, "mV")
    ]


def test_power() -> None:
    charge = ("bbbaa", [UP, *[HIGH] * 4])
    assert broken("bbbab", charge[1], power_cycles=(4,)) == []
    assert broken(*charge, power_cycles=(4,)) == [("POWER.starts-in-bulk", 4, 0.0, "")]
    kept = broken("bbbab", charge[1], power_cycles=(4,), soc=[0.5] * 4 + [0.4])
    assert kept == [("POWER.keeps-soc", 4, 0.1, "SoC")]
    # The dwell from before the loss of power must not count: two of three samples are new.
    remembered = broken("bbaaa", [HIGH] * 5, power_cycles=(2,), entry_dwell_s=4.0)
    assert remembered == [("POWER.starts-in-bulk", 2, 0.0, "")]


def test_what_is_not_claimed_is_not_judged() -> None:
    features = frozenset({"full_reset"})
    said = verdict("bbbb", [UP] * 4, soc=[0.5, 0.9, 0.2, 0.1], features=features)
    assert said.findings == ()
    assert not any(name.startswith("SOC.") for name in said.exercised)


def test_one_early_decision_is_one_finding() -> None:
    found = broken("b" + "a" * 12, [UP, *[HIGH] * 12], hold_s=60.0)
    assert found == [("ENTRY.held-long-enough", 1, 2.0, "s")]


def test_a_requirement_that_is_selected_alone_is_still_found() -> None:
    run = written("bbbaaa", [UP, *[HIGH] * 5], t=GAP_T)
    said = judge(run, ["TIME.gap-restarts-dwell"])
    assert [f.requirement for f in said.findings] == ["TIME.gap-restarts-dwell"]
    assert set(said.exercised) == {"TIME.gap-restarts-dwell"}
