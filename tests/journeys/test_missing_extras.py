"""Where an extra is not installed, it is said which, and how to install it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from harness.cli.main import main
from harness.report import bank_panels

SCENARIO = "thin-cable"


@pytest.mark.parametrize(
    ("extra", "missing", "command"),
    [
        ("plots", "matplotlib", ("simulate", SCENARIO, "--plot", "out.png")),
        ("plots", "matplotlib", ("pair", SCENARIO, "--plot", "out.png")),
        ("plots", "matplotlib", ("hunt", "ref", "--plot", "out.png")),
        ("parquet", "pyarrow", ("verify", "log:log.parquet")),
        ("parquet", "pyarrow", ("study", "which-reset-rule", "--out", "rows")),
        ("fmu", "fmpy", ("verify", "fmu:controller.fmu")),
        ("dask", "distributed", ("study", "which-reset-rule", "--dask", "tcp://127.0.0.1:1")),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else value,
)
def test_a_missing_extra_is_told_with_the_command_that_installs_it(
    extra: str,
    missing: str,
    command: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("log.parquet").write_bytes(b"PAR1")
    Path("controller.fmu").write_bytes(b"PK")
    for name in [name for name in sys.modules if name.partition(".")[0] == missing]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, missing, None)
    monkeypatch.setattr(bank_panels, "find_spec", lambda _: None)
    assert main(command) == 2
    said = capsys.readouterr()
    assert f"pip install 'fullproof[{extra}]'" in said.err
    assert missing in said.err
    assert said.out == ""
    assert sorted(path.name for path in Path().iterdir()) == ["controller.fmu", "log.parquet"]
