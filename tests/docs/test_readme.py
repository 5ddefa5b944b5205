"""The commands that the README begins with are tried on a bare machine."""

from __future__ import annotations

import re
from pathlib import Path

_BLOCK = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def test_first_two_commands_are_the_ones_that_ci_runs(root: Path) -> None:
    readme = (root / "README.md").read_text(encoding="utf-8")
    install_and_verify, install_and_test = (block.strip() for block in _BLOCK.findall(readme)[:2])
    assert install_and_verify.endswith("fullproof verify")
    assert install_and_test.endswith("-m pytest")
    commands = [
        line.strip() for line in (root / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    ]
    assert install_and_verify in commands
    assert install_and_test in commands
