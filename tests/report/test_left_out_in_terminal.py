"""What was not applicable is told in few lines, however much it is: findings stay in sight."""

from __future__ import annotations

from io import StringIO

from rich.console import Console

from harness.report.result import Result
from harness.report.terminal import show_result
from harness.run import Identity
from harness.verdict import Report


def told(reasons: dict[str, str]) -> str:
    """What is printed of a result in which only these cases were left out, by their reasons."""
    identity = Identity("hut pack", "1.0", "C", frozenset())
    report = Report("exec:./hut", identity, (), 0, not_applicable=reasons, errors={})
    out = StringIO()
    console = Console(file=out, width=100)
    show_result(
        console, Result(report), table=False, findings_each=3, again=lambda finding: finding.case
    )
    return " ".join(out.getvalue().split())


def test_a_few_reasons_are_told_as_they_are() -> None:
    text = told({"soc/one": "needs soc", "soc/two": "needs soc", "full/one": "needs taper"})
    assert "not applicable: soc/one and 1 more: needs soc" in text
    assert "not applicable: full/one: needs taper" in text
    assert "other reason" not in text


def test_of_many_the_commonest_are_told_and_the_rest_is_counted() -> None:
    rare = {f"rare/{k}": f"needs thing {k}" for k in range(6)}
    text = told({**rare, "soc/one": "needs soc", "soc/two": "needs soc"})
    assert text.index("soc/one and 1 more: needs soc") < text.index("rare/0: needs thing 0")
    assert "rare/3" in text
    assert "rare/4" not in text
    assert "not applicable: 2 cases more, for 2 other reasons; --html has all" in text
    assert "no cases, 8 not applicable" in text
