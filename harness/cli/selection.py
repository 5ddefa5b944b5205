"""What `--select` picks: requirements, groups of them, or vectors."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fnmatch import fnmatchcase

from attrs import evolve, frozen

from ctrl.errors import nearest
from harness.errors import InputError
from harness.rules import GROUPS, REQUIREMENTS
from harness.rules.requirement import Requirement
from harness.run import Outcome
from harness.verdict import Report

# A crash is never a pass, in whatever case it happens.
ALWAYS_JUDGED = "LINK"


@frozen
class Selection:
    """What is to be tried and judged.

    Attributes:
        patterns: the selection as it was written; empty for everything.
        requirements: ids of the requirements that are asked for.
        vectors: ids of the vectors to try.
    """

    patterns: tuple[str, ...]
    requirements: frozenset[str]
    vectors: tuple[str, ...]

    @property
    def judged(self) -> frozenset[str]:
        """What is judged: whatever is asked of a controller, it has to answer."""
        return self.requirements | {r.id for r in REQUIREMENTS if r.group == ALWAYS_JUDGED}

    def of(self, report: Report) -> Report:
        """The report without what was not asked for, unless it went wrong."""
        return evolve(
            report,
            results=tuple(
                result
                for result in report.results
                if result.requirement in self.requirements or result.outcome is Outcome.FAIL
            ),
        )


def selection(
    patterns: Sequence[str],
    vectors: Collection[str],
    *,
    catalogue: Sequence[Requirement] = REQUIREMENTS,
    of_groups: Collection[str] = tuple(GROUPS),
) -> Selection:
    """What these patterns pick.

    A pattern is the id of a requirement (`HOLD.full-length`), a group (`HOLD`), the id of a vector
    (`hold/sag-runs-on`), or one of these with `*`, `?` or `[...]`. Patterns for requirements leave
    all vectors in: a requirement has one outcome, however it was selected. LINK is always judged.

    Args:
        patterns: as they were written.
        vectors: ids of the vectors, or cases, that there are.
        catalogue: the requirements of the role.
        of_groups: the names of their groups.

    Raises:
        InputError: a pattern picks nothing.
    """
    requirements: set[str] = set()
    chosen: set[str] = set()
    for pattern in patterns:
        of_requirements = {
            r.id for r in catalogue if fnmatchcase(r.id, pattern) or fnmatchcase(r.group, pattern)
        }
        of_vectors = {name for name in vectors if fnmatchcase(name, pattern)}
        if not of_requirements and not of_vectors:
            raise InputError(
                f"--select {pattern!r} picks nothing",
                hint=_hint(pattern, vectors, catalogue, of_groups),
            )
        requirements |= of_requirements
        chosen |= of_vectors
    return Selection(
        patterns=tuple(patterns),
        requirements=frozenset(requirements or (r.id for r in catalogue)),
        vectors=tuple(name for name in vectors if name in chosen or not chosen),
    )


def _hint(
    pattern: str,
    vectors: Collection[str],
    catalogue: Sequence[Requirement],
    of_groups: Collection[str],
) -> str:
    if pattern.upper() in of_groups:
        return f"did you mean {pattern.upper()}, the requirements, or {pattern.lower()}/*, the vectors?"
    groups = [f"{name.partition('/')[0]}/*" for name in vectors]
    hint = nearest(pattern, {*of_groups, *(r.id for r in catalogue), *vectors, *groups})
    if hint.startswith("did you mean"):
        return hint
    return (
        f"groups are {', '.join(of_groups)}; "
        "ids are listed by fullproof vectors list and in the requirement reference"
    )
