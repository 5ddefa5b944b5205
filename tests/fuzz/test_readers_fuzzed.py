"""Nothing but our own errors comes out of a reader, whatever is done to a valid file."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz.__main__ import READER_NAMES
from tests.fuzz.kept_findings import kept
from tests.fuzz.mutation import mutated
from tests.fuzz.readers import OWN_ERRORS, READERS, Reader
from tests.fuzz.watch import Watch

MANY, FEW = 25, 4
# A page is made of each result that can be read.
SLOW = ("result", "study")


@pytest.fixture(params=READERS)
def reader(request: pytest.FixtureRequest) -> Reader:
    found = READERS[request.param]
    if not found.seeds():
        pytest.skip("pyarrow is not installed")
    return found


@pytest.fixture
def watch(reader: Reader) -> Iterator[Watch]:
    """The reader under watch, with all that it needs imported."""
    with Watch(reader) as opened:
        opened.read(reader.seeds()[0])
        yield opened


def test_the_valid_examples_are_read(reader: Reader, watch: Watch) -> None:
    before = watch.accepted
    found = [watch.read(example) for example in reader.seeds()]
    assert found == [None] * len(found)
    assert watch.accepted == before + len(found)


def test_changed_examples_bring_out_our_own_errors_alone(
    reader: Reader, watch: Watch, request: pytest.FixtureRequest
) -> None:
    seeds = reader.seeds()
    name = request.node.callspec.params["reader"]

    @settings(max_examples=FEW if name in SLOW else MANY, derandomize=True, database=None)
    @given(st.integers(0, 2**32))
    def changed(number: int) -> None:
        chance = Random(number)
        finding = watch.read(mutated(chance.choice(seeds), chance))
        assert finding is None, finding.said

    changed()


@pytest.mark.parametrize(
    ("name", "data"),
    [(name, data) for name, _, data in kept()],
    ids=[f"{name}: {what}" for name, what, _ in kept()],
)
def test_a_finding_of_before_is_refused(name: str, data: bytes) -> None:
    reader = READERS[name]
    with Watch(reader) as watch:
        watch.read(reader.seeds()[0])
        before = watch.accepted
        finding = watch.read(data)
    assert finding is None, finding.said
    assert watch.accepted == before, "it was read, and is no text for this reader"


def test_the_watch_sees_what_is_no_error_of_ours() -> None:
    def take(path: object) -> object:
        raise KeyError(path)

    with Watch(Reader(".txt", lambda: (b"",), take)) as watch:
        finding = watch.read(b"")
    assert finding is not None
    assert finding.kind == "KeyError"


def test_the_watch_sees_who_does_not_come_back(monkeypatch: pytest.MonkeyPatch) -> None:
    def take(_: object) -> object:
        while True:
            pass

    monkeypatch.setattr("tests.fuzz.watch.LONGEST_S", 0.01)
    with Watch(Reader(".txt", lambda: (b"",), take)) as watch:
        finding = watch.read(b"")
    assert finding is not None
    assert finding.kind == "hang"


def test_every_reader_can_be_named() -> None:
    assert tuple(READERS) == READER_NAMES
    assert len(OWN_ERRORS) == 4
