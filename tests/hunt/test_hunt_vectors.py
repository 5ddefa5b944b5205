"""A shortened failure as a vector: read back, met by the reference, failed by the controller."""

from __future__ import annotations

from math import nan
from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

from harness.attach import attach, drive
from harness.cases.vector import read_vector, to_json
from harness.errors import InputError
from harness.hunt.as_vector import as_vector, count_tolerance, expectation, features_of
from harness.hunt.edit import with_column
from harness.hunt.failure import Failure, Key
from harness.hunt.hunt import hunt
from harness.hunt.shortest import shortest
from harness.hunt.unclaimed import without_unclaimed
from harness.judge import judge
from harness.report.hunt_files import picture_places, save_vector
from harness.run import Case, Finding
from harness.zoo.subject import attached
from tests.hunt.faulty import case, zoo

SHORT = case(
    (0.0, 56.0, 10.0), (3.0, 56.0, 10.0), (13.0, 56.0, 20.0), (73.0, 52.0, 0.0), hold_s=10.0
)
FINDING = Finding("HOLD.full-length", "told", 3.0, 1, "", "", 1.0, "s", "It was too early.")
FAILURE = Failure(
    Key("HOLD.full-length", "absorption to float"), FINDING, 7, evolve(SHORT, id="hunt/0-7")
)


def test_the_expectation_is_what_the_reference_does() -> None:
    expected = expectation(SHORT)
    assert expected.stages == ((0.0, "bulk"), (3.0, "absorption"), (13.0, "float"))
    assert expected.resets == (13.0,)
    ((t, soc, tolerance),) = expected.soc
    assert (t, soc) == (73.0, 1.0)
    assert tolerance == count_tolerance(SHORT)


def test_counts_may_differ_as_far_as_the_rectangle_sums_do() -> None:
    # 10 s over which 10 A change, 60 s over which 20 A do: 1,300 As of 280 Ah.
    assert count_tolerance(SHORT) == pytest.approx(1e-6 + 1300.0 / 3600.0 / 280.0)


def test_it_says_where_it_comes_from_and_what_it_needs() -> None:
    made = as_vector(FAILURE, SHORT, FINDING)
    assert made.id == "hunt/hold-full-length"
    assert as_vector(FAILURE, SHORT, FINDING, number=2).id == "hunt/hold-full-length-2"
    assert made.requirements == ("HOLD.full-length",)
    assert made.description.startswith("It was too early. Found in hunt/0-7 and shortened to 4")
    assert made.catches == ("It was too early.",)
    assert made.features == ()
    low = evolve(SHORT, settings=SHORT.settings.changed(confirm_s=5.0, return_dwell_s=0.0))
    power = evolve(low, power_cycles=(2,))
    assert as_vector(FAILURE, low, FINDING).features == ("confirm",)
    assert as_vector(FAILURE, power, FINDING).features == ("confirm", "power_cycle")


def test_events_of_the_reference_tell_what_it_needs() -> None:
    rows = (
        (0.0, 56.0, 0.0),
        (3.0, 56.0, 0.0),
        (13.0, 56.0, 0.0),
        (14.0, 52.0, 0.0),
        (15.0, 44.0, 0.0),
    )
    empty = case(*rows, hold_s=10.0, return_dwell_s=0.0, empty_dwell_s=0.0)
    assert as_vector(FAILURE, empty, FINDING).features == ("return_voltage", "empty_reset")


def test_a_trace_that_begins_without_a_stamp_is_refused() -> None:
    nameless = with_column(SHORT, "t", np.array([nan, 3.0, 13.0, 73.0]))
    with pytest.raises(InputError, match="begins without a stamp"):
        as_vector(FAILURE, nameless, FINDING)


@pytest.mark.parametrize(
    "fault", ["hold-one-minute-short", "count-discharge-as-charge", "silence-ignored"]
)
def test_saved_and_read_it_fails_for_the_fault_alone(fault: str, tmp_path: Path) -> None:
    with zoo(fault) as attachment:
        failures = hunt(attachment, seed=0, traces=60).failures
        assert failures
        for failure in failures[:3]:
            result = shortest(attachment, failure)
            assert result.shown is not None
            place = save_vector(tmp_path, as_vector(failure, result.case, result.shown.finding))
            read: Case = read_vector(place).case
            found = judge(drive(attachment, read)).findings
            assert failure.key.requirement in {f.requirement for f in found}
            with attached(None) as example, attach("ref") as reference:
                assert judge(drive(example, read)).findings == ()
                assert judge(drive(reference, read)).findings == ()


def test_a_saved_vector_is_never_lost(tmp_path: Path) -> None:
    folder = tmp_path / "finds"
    one = as_vector(FAILURE, SHORT, FINDING)
    other = evolve(one, soc=0.25)
    assert save_vector(folder, one) == folder / "hold-full-length.json"
    assert save_vector(folder, other) == folder / "hold-full-length-2.json"
    assert save_vector(folder, one) == folder / "hold-full-length.json"
    assert (folder / "hold-full-length.json").read_text() == to_json(one)
    assert (folder / "hold-full-length-2.json").read_text() == to_json(other)


def test_beside_it_lie_the_readings_and_what_must_come_of_them(tmp_path: Path) -> None:
    save_vector(tmp_path, as_vector(FAILURE, SHORT, FINDING))
    readings = (tmp_path / "hold-full-length.csv").read_text()
    assert readings == "t,v,i\n0,56,10\n3,56,10\n13,56,20\n73,52,0\n"
    expected = (tmp_path / "hold-full-length.expected.csv").read_text()
    assert expected.splitlines()[3:] == ["13,float,1", "73,float,0"]


def test_what_is_not_claimed_is_off_in_what_is_shown() -> None:
    # Denied with half a count: by the default of return_soc the reference goes on to bulk.
    denied = case(
        (0.0, 56.0, 0.0), (3.0, 56.0, 0.0), (13.0, 52.0, 0.0), (14.0, 52.0, 0.0), hold_s=10.0
    )
    assert features_of(denied) == ("return_soc",)
    quiet = without_unclaimed(denied, frozenset({"soc"}))
    assert quiet.settings == denied.settings.changed(return_soc=None)
    assert features_of(quiet) == ()
    assert without_unclaimed(denied, frozenset({"return_soc"})) is denied


def test_pictures_have_places_of_their_own() -> None:
    one, two = ["hold-ends"], ["hold-ends", "full-voltage"]
    assert picture_places(Path("a.png"), one) == [Path("a.png")]
    assert picture_places(Path("a.png"), two) == [
        Path("a-hold-ends.png"),
        Path("a-full-voltage.png"),
    ]
    assert picture_places(Path("d"), one) == [Path("d/hold-ends.svg")]
