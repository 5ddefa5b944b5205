"""Mutation operators of timed automata: what each changes, and where it was published."""

from __future__ import annotations

from attrs import frozen


@frozen
class Publication:
    """Where an operator was described.

    Attributes:
        authors: who wrote it.
        title: its title.
        where: where it appeared.
        year: when.
        doi: its identifier; empty where none is known here.
    """

    authors: str
    title: str
    where: str
    year: int
    doi: str = ""

    @property
    def short(self) -> str:
        """Authors and year, as a table has room for."""
        return f"{self.authors} {self.year}"


TIME_FOR_MUTANTS = Publication(
    "Aichernig, Lorber, Ničković",
    "Time for Mutants: Model-Based Mutation Testing with Timed Automata",
    "Tests and Proofs (TAP)",
    2013,
)
STATE_MACHINES = Publication(
    "Fabbri et al.",
    "Mutation Analysis Testing for Finite State Machines",
    "International Symposium on Software Reliability Engineering (ISSRE)",
    1994,
    "10.1109/ISSRE.1994.341378",
)
STATIC_DETECTION = Publication(
    "Basile et al.",
    "Static Detection of Equivalent Mutants in Real-Time Model-Based Mutation Testing",
    "Empirical Software Engineering 27(7)",
    2022,
    "10.1007/s10664-022-10149-y",
)
TIMELINESS = Publication(
    "Nilsson, Offutt, Andler",
    "Mutation-Based Testing Criteria for Timeliness",
    "International Computer Software and Applications Conference (COMPSAC)",
    2004,
)


@frozen
class Operator:
    """One way to make a faulty controller out of a right one.

    Attributes:
        name: short slug; the names of its mutants begin with it.
        sentence: what it changes.
        publication: where it was described, or where its nearest relative was; None for none.
    """

    name: str
    sentence: str
    publication: Publication | None


BOUNDARY = Operator(
    "boundary",
    "A guard takes in or leaves out the very value of its limit: >= for >, < for <=.",
    TIME_FOR_MUTANTS,
)
PART = Operator(
    "part",
    "A guard of several conditions loses one of them.",
    TIME_FOR_MUTANTS,
)
NEGATE = Operator(
    "negate",
    "A guard is asked the other way round.",
    TIME_FOR_MUTANTS,
)
TARGET = Operator(
    "target",
    "A row of the table of transitions leads to another stage.",
    TIME_FOR_MUTANTS,
)
SOURCE = Operator(
    "source",
    "A row of the table works in a stage in which it should not, or is missing where it should be.",
    TIME_FOR_MUTANTS,
)
SINK = Operator(
    "sink",
    "A stage, once entered, is never left.",
    TIME_FOR_MUTANTS,
)
RESET = Operator(
    "reset",
    "A timer or a dwell is not set back where it should be, or is set back where it should not.",
    TIME_FOR_MUTANTS,
)
SHIFT = Operator(
    "shift",
    "A number is a little too great or too small: by millivolts, amperes, degrees or parts of the count.",
    STATIC_DETECTION,
)
TIME_SHIFT = Operator(
    "time",
    "A timer or a dwell is too long or too short, by seconds or by samples.",
    TIMELINESS,
)
SWAP = Operator(
    "swap",
    "A setting takes the place of another one, or of none.",
    STATIC_DETECTION,
)
DROP = Operator(
    "drop",
    "An action is left out.",
    STATE_MACHINES,
)
DUPLICATE = Operator(
    "extra",
    "An action is done twice, or on another way as well.",
    STATE_MACHINES,
)
PRECISION = Operator(
    "precision",
    "A number is kept, read or said with too few digits.",
    STATE_MACHINES,
)
PERSISTENCE = Operator(
    "memory",
    "Something survives what it should not survive, or is forgotten where it should be kept.",
    STATE_MACHINES,
)

BY_HAND = Operator(
    "by-hand",
    "A mistake written by hand into the example controller, with how a real one comes by it.",
    None,
)

OPERATORS = (
    BOUNDARY,
    PART,
    NEGATE,
    TARGET,
    SOURCE,
    SINK,
    RESET,
    SHIFT,
    TIME_SHIFT,
    SWAP,
    DROP,
    DUPLICATE,
    PRECISION,
    PERSISTENCE,
    BY_HAND,
)
