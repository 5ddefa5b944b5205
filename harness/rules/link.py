"""LINK: how a controller answers; judged where it is attached and where a case is run twice."""

from __future__ import annotations

from harness.rules.life import Life
from harness.rules.requirement import Marks, Requirement

CUTS = "LINK.cuts"
FRESH = "LINK.fresh-start"


def where_it_is_attached(life: Life, marks: Marks) -> None:
    """Nothing of this group shows in a run that came about; a fault comes with the attachment."""


REQUIREMENTS = (
    Requirement(
        id="LINK.greets",
        title="it says who it is",
        statement="`hello` is answered with the protocol version, a name, a version, a language and the "
        "features that the controller claims.",
        reason="A verdict has to name what it is about.",
        check=where_it_is_attached,
    ),
    Requirement(
        id="LINK.starts",
        title="it starts with allowed settings",
        statement="`start` with settings that the rules allow is answered with `ok`.",
        reason="A controller that refuses its settings cannot be judged by them.",
        check=where_it_is_attached,
    ),
    Requirement(
        id="LINK.answers",
        title="it answers each message with one line",
        statement="Each message but `stop` is answered within the limit with one line of JSON in UTF-8.",
        reason="A controller that hangs on its bench hangs in the field.",
        check=where_it_is_attached,
    ),
    Requirement(
        id="LINK.sequence",
        title="it repeats the sequence number",
        statement="Each answer carries the `seq` of the message that it answers.",
        reason="Answers that are one message behind look like a controller that is slow.",
        check=where_it_is_attached,
    ),
    Requirement(
        id="LINK.rows",
        title="it answers row by row",
        statement="`run` is answered with one row for each row sent, in columns that are known, of the "
        "right types, and the same throughout.",
        reason="A row too few shifts everything after it.",
        check=where_it_is_attached,
    ),
    Requirement(
        id="LINK.stays-alive",
        title="it does not die",
        statement="The program does not end before it is told to.",
        reason="A crash is never a pass, whatever came before it.",
        check=where_it_is_attached,
    ),
    Requirement(
        id="LINK.stops",
        title="it ends when it is told to",
        statement="`stop` ends the program within the limit, with exit code 0.",
        reason="What does not end cleanly has usually broken something on the way.",
        check=where_it_is_attached,
    ),
    Requirement(
        id=CUTS,
        title="how a trace is cut changes nothing",
        statement="The answers to a trace are the same however it is cut into `run` messages.",
        reason="State that lives as long as a message is lost at the next one.",
        check=where_it_is_attached,
    ),
    Requirement(
        id=FRESH,
        title="every start is a fresh start",
        statement="The answers to a trace are the same whatever ran on the same program before its `start`.",
        reason="State that survives a start makes every later verdict worthless.",
        check=where_it_is_attached,
    ),
)
