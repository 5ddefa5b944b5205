"""Why packs of a pair were not filled: asked of the reasons for logs, and of the true voltages."""

from __future__ import annotations

from attrs import evolve

from harness.explain.explained import explain
from harness.explain.reason import Reason
from harness.report.paired import Paired
from harness.world.as_log import as_log
from harness.world.voltage_account import account


def with_reasons(paired: Paired) -> Paired:
    """The same, with a reason and an account for each pack that was not filled."""
    if paired.fills_all:
        nothing = (None,) * len(paired.fillings)
        return evolve(paired, reasons=nothing, accounts=nothing)
    found = _reasons(paired)
    return evolve(
        paired,
        reasons=tuple(None if each.filled else found.get(each.name) for each in paired.fillings),
        accounts=tuple(
            None if each.filled else account(paired.result, p)
            for p, each in enumerate(paired.fillings)
        ),
    )


def _reasons(paired: Paired) -> dict[str, Reason]:
    result = paired.result
    settings = {}
    for branch, pack in zip(result.world.packs, result.packs, strict=True):
        fixed = pack.identity.fixed
        settings[pack.name] = branch.settings if fixed is None else fixed
    try:
        explained = explain(as_log(result), settings)
    except ValueError:
        # A run that broke off before anybody read anything has no log.
        return {}
    return {pack.name: explained.main(pack.name) for pack in explained.packs}
