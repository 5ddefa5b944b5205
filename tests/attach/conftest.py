"""What the tests of libraries share: libraries that are compiled, and attachments that are closed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from harness.attach.library.attachment import LibraryAttachment
from harness.attach.registry import attach
from harness.charger.attach import attach_charger
from harness.charger.attach_library import ChargerLibrary
from tests.attach.planted import compiled

Attached = Callable[..., LibraryAttachment]
AttachedCharger = Callable[..., ChargerLibrary]


@pytest.fixture
def attached(tmp_path: Path) -> Iterator[Attached]:
    """Attach a library of which the text is given; it is thrown away at the end of the test."""
    attachments: list[LibraryAttachment] = []

    def opened(source: str, *flags: str, limit_s: float = 20.0) -> LibraryAttachment:
        attachment = attach(f"lib:{compiled(tmp_path, source, *flags)}", limit_s=limit_s)
        assert isinstance(attachment, LibraryAttachment)
        attachments.append(attachment)
        return attachment

    yield opened
    for attachment in attachments:
        attachment.restart()


@pytest.fixture
def attached_charger(tmp_path: Path) -> Iterator[AttachedCharger]:
    """Attach a charger as a library of which the text is given; it is thrown away at the end of the test."""
    attachments: list[ChargerLibrary] = []

    def opened(source: str, *flags: str, limit_s: float = 20.0) -> ChargerLibrary:
        spec = f"lib:{compiled(tmp_path, source, *flags)}"
        attachment = attach_charger(spec, limit_s=limit_s)
        assert isinstance(attachment, ChargerLibrary)
        attachments.append(attachment)
        return attachment

    yield opened
    for attachment in attachments:
        attachment.restart()
