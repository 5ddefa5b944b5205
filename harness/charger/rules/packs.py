"""PACKS: several packs on one charger."""

from __future__ import annotations

from harness.charger.rules import names
from harness.charger.rules.conduct import conduct
from harness.charger.rules.current import limit
from harness.charger.rules.voltage import set_point
from harness.rules.requirement import Requirement

REQUIREMENTS = (
    Requirement(
        id=names.EVERY_PACK,
        title="every pack must be heard",
        statement=(
            "The charger follows only while every pack is fresh, and is stopped when any of them is "
            "silent."
        ),
        reason="The pack that nobody hears is the one that cannot ask for less.",
        check=conduct,
    ),
    Requirement(
        id=names.LOWEST,
        title="the lowest voltage counts",
        statement="With requests that differ, the base is at most the lowest of those in force.",
        reason=(
            "Packs in parallel share one voltage; the mean of two requests is too much for one of "
            "them."
        ),
        check=set_point,
    ),
    Requirement(
        id=names.ONE_ZERO,
        title="one pack that wants nothing stops the current",
        statement=(
            "When one of several packs asks for 0 A, the limit is 0 within `zero_s`, whatever the "
            "others ask for."
        ),
        reason="A charger cannot single out one pack of a bank.",
        check=limit,
    ),
    Requirement(
        id=names.HIGHEST_READING,
        title="the highest reading counts",
        statement=(
            "The compensation does not rise while the highest reading of the packs is at the base in "
            "force, however much the others lack; `sense_error_v` either way."
        ),
        reason="Compensated by the mean, the pack with the good cable gets too much.",
        check=set_point,
    ),
)
