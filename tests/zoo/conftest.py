"""The shipped vectors, and what each controller of the zoo makes of them; each worked out once.

Where the tests run in several processes at a time, they share what they have worked out as files.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from harness.cases import shipped
from harness.run import Case
from harness.zoo.fault import Fault
from harness.zoo.matrix import Row, answers_to, examine
from harness.zoo.subject import attached, of_fault


@pytest.fixture(scope="session")
def cases() -> tuple[Case, ...]:
    """Every shipped vector as a case."""
    return tuple(vector.case for vector in shipped())


@pytest.fixture(scope="session")
def row_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the rows of this run of the tests are kept, whichever process works them out."""
    own = tmp_path_factory.getbasetemp()
    folder = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "zoo-rows"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def row_of(cases: tuple[Case, ...], row_folder: Path) -> Callable[[Fault], Row]:
    """What the vectors say of a faulty controller."""
    with attached(None) as attachment:
        example = answers_to(attachment, cases)

    def worked_out(fault: Fault) -> Row:
        path = row_folder / f"{fault.name}.json"
        if not path.exists():
            row = examine(fault, cases, example)
            # Renaming is one step: no other process ever reads half a file.
            part = path.with_suffix(f".{os.getpid()}")
            part.write_text(json.dumps([row.differs, dict(row.found)]), encoding="utf-8")
            part.rename(path)
        differs, found = json.loads(path.read_text(encoding="utf-8"))
        return Row(
            of_fault(fault), tuple(differs), {name: tuple(ids) for name, ids in found.items()}
        )

    return worked_out
