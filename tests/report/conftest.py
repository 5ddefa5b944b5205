"""One faulty controller and one explained log for all of these tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from harness.report.explained import Story
from harness.report.result import Result
from tests.report.browser import Browser
from tests.report.made import broken_result, hostile_result
from tests.report.made_story import hostile_story, hut_story


@pytest.fixture(scope="session")
def broken() -> Result:
    """A hold that is a minute short, on four vectors."""
    return broken_result()


@pytest.fixture(scope="session")
def hostile() -> Result:
    """The same from a controller whose every word is an attack."""
    return hostile_result()


@pytest.fixture(scope="session")
def story() -> Story:
    """Three days of the hut: two packs that are never called full, and what would help."""
    return hut_story()


@pytest.fixture(scope="session")
def hostile_told(story: Story) -> Story:
    """The same of packs whose names are attacks, in a file whose name is one."""
    return hostile_story(story)


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One browser for all tests of a module."""
    with Browser(tmp_path_factory.mktemp("profile")) as browser:
        yield browser


@pytest.fixture
def browser(started: Browser) -> Browser:
    """The browser with nothing told yet."""
    started.events.clear()
    return started
