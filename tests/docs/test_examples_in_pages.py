"""What the pages tell a reader to run does what they say, and says what they show.

A block is taken by a comment in front of it: `<!-- runs -->`, or `<!-- exits 1 -->` where a command
ends with another code than 0; `<!-- shows COMMAND -->` is what that command prints, `...` standing
for what is left out; `<!-- file NAME -->` is a file that later blocks of the page use; with
`in FOLDER` behind `runs` or `exits 1` the commands are given in that folder;
`<!-- conversation -->` is a conversation in the line protocol, `<!-- conversation charger -->` one of
that role.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from ctrl.charger import ChargerSettings
from ctrl.settings import Settings
from harness.attach.schema import answer_complaints, message_complaints

ROOT = Path(__file__).resolve().parents[2]
_MARK = r"runs(?: in \S+)?|exits \d(?: in \S+)?|shows [^>]+|file \S+|conversation(?: charger)?"
_BLOCK = re.compile(rf"^<!-- ({_MARK}) -->\n```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def _blocks(place: str) -> list[tuple[str, str, str]]:
    return _BLOCK.findall((ROOT / place).read_text(encoding="utf-8"))


def _places(*marks: str) -> list[str]:
    pages = [*(ROOT / "docs").rglob("*.md"), ROOT / "README.md"]
    names = sorted(path.relative_to(ROOT).as_posix() for path in pages)
    return [name for name in names if any(mark.startswith(marks) for mark, _, _ in _blocks(name))]


@pytest.mark.parametrize("place", _places("runs", "exits", "shows"))
def test_blocks_of_a_page_run_in_their_order(place: str, tmp_path: Path) -> None:
    (tmp_path / "harness").symlink_to(ROOT / "harness")
    for mark, language, code in _blocks(place):
        word, _, rest = mark.partition(" ")
        if word == "file":
            (tmp_path / rest).write_text(code, encoding="utf-8")
        elif word == "shows":
            _refuse_invented(code, _run(rest, tmp_path).stdout)
        elif language == "python":
            exec(compile(code, place, "exec"), {"__name__": "example"})
        elif language == "sh":
            exit_code, _, folder = f" {rest}".partition(" in ")
            done = _run(code, tmp_path / folder)
            assert done.returncode == int(exit_code.strip() or 0), (
                f"{code}{done.stdout}{done.stderr}"
            )


def _run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    if shutil.which("cc") is None and re.match(r"cc |fullproof verify$", command):
        pytest.skip("there is no C compiler")
    scripts = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    return subprocess.run(
        ["sh", "-c", command],
        cwd=folder,
        env={**os.environ, "PATH": scripts, "COLUMNS": "80"},
        capture_output=True,
        text=True,
        timeout=300,
    )


def _refuse_invented(shown: str, printed: str) -> None:
    """Every piece between two `...` stands in the output, in this order."""
    at = 0
    for piece in re.split(r"^ *\.\.\.\n", shown, flags=re.MULTILINE):
        found = printed.find(piece, at)
        assert found >= 0, f"not printed:\n{piece}\nbut:\n{printed[at:]}"
        at = found + len(piece)


@pytest.mark.parametrize("place", _places("conversation"))
def test_conversations_of_a_page_keep_to_the_protocol(place: str) -> None:
    told = [
        (mark.partition(" ")[2] or "controller", text)
        for mark, _, text in _blocks(place)
        if mark.startswith("conversation")
    ]
    assert [role for role, _ in told] == ["controller", "charger"]
    for role, text in told:
        settings = ChargerSettings() if role == "charger" else Settings()
        written = json.dumps(settings.to_mapping())
        whole = text.replace('"settings":{...}', f'"settings":{written}')
        sent = [line[2:].encode() for line in whole.splitlines() if line.startswith("> ")]
        answers = [line[2:].encode() for line in whole.splitlines() if line.startswith("< ")]
        assert len(sent) == 5
        assert [message_complaints(line, role) for line in sent] == [[]] * 5
        # `stop` has no answer.
        pairs = list(zip(sent, answers, strict=False))
        assert len(pairs) == 4
        assert [answer_complaints(line, message, role) for message, line in pairs] == [[]] * 4
