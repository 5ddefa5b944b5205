"""The glossary has every word of art, in order, and links that lead somewhere."""

from __future__ import annotations

import re
from collections.abc import Iterable
from enum import Enum

import pytest

from ctrl.bank import POLICIES
from ctrl.charger.state import Conduct
from ctrl.chemistry import PROFILES
from ctrl.figures import Mark
from ctrl.resets import RESET_RULES
from ctrl.vocabulary import Cause, Happened, OnSag, OnUnconfirmed, Phase, Stage
from harness.explain.fix import How
from harness.explain.reason import Cause as Reason
from harness.explain.reason import Sure
from harness.run import FEATURES, Outcome
from harness.study.measures import MEASURES

GLOSSARY = "reference/glossary.md"
# A term: its word, its anchor, what it is told apart by, its unit, its meaning, where there is more.
_TERM = re.compile(
    r"^\| \*\*(.+?)\*\*\{#([\w-]+)\}( of [\w ]+)? \|([^|]*)\|([^|]*)\|([^|]*)\|$", re.MULTILINE
)
_ROW = re.compile(r"^\| (.+) \|$", re.MULTILINE)


def lower(names: Iterable[Enum]) -> list[str]:
    return [name.name.lower() for name in names]


STAGES = {
    "stage": [stage.word for stage in Stage],
    "phase": lower(phase for phase in Phase if phase is not Phase.NONE),
}
WORDS = {
    "events": [*lower(Happened), "stage_changed", "bank_asks"],
    "causes": [cause.word for cause in Cause if cause.word],
    "sags": lower(OnSag),
    "unconfirmed": lower(OnUnconfirmed),
    "rules": list(RESET_RULES),
    "policies": list(POLICIES),
    "chemistries": list(PROFILES),
    "states of a charger": [conduct.word for conduct in Conduct],
    "features": list(FEATURES),
    "measures": [measure.name for measure in MEASURES],
}
PLAIN_WORDS = {
    "reasons": [reason.value for reason in Reason],
    "how sure": [sure.value for sure in Sure],
    "how tried": [how.value for how in How],
    "outcomes": [outcome.value for outcome in Outcome],
    "marks": [mark.value for mark in Mark if mark is not Mark.SOURCE],
}


@pytest.fixture(scope="module")
def told(pages: dict[str, str]) -> dict[str, str]:
    """What the tables of reference pages, and of the page of studies, say of each first cell."""
    where = [text for place, text in pages.items() if place.startswith("reference/")]
    where.append(pages["how-to/studies.md"])
    rows = [row.split(" | ") for text in where for row in _ROW.findall(text)]
    return {cell: " ".join(rest) for first, *rest in rows for cell in (first, *rest[:1])}


@pytest.mark.parametrize("kind", WORDS)
def test_every_name_in_code_has_a_row(kind: str, told: dict[str, str]) -> None:
    assert len(WORDS[kind]) > 1
    assert [word for word in WORDS[kind] if not told.get(f"`{word}`")] == []


@pytest.mark.parametrize("kind", STAGES)
def test_every_stage_and_phase_is_named_in_the_row_of_its_kind(
    kind: str, pages: dict[str, str]
) -> None:
    (row,) = (term for term in _TERM.findall(pages[GLOSSARY]) if term[0] == kind)
    assert re.findall(r"`(\w+)`", row[4]) == STAGES[kind]


@pytest.mark.parametrize("kind", PLAIN_WORDS)
def test_every_word_of_the_output_has_a_row(kind: str, told: dict[str, str]) -> None:
    assert len(PLAIN_WORDS[kind]) > 1
    assert [word for word in PLAIN_WORDS[kind] if not told.get(word)] == []


def test_terms_have_a_meaning_and_stand_in_order(pages: dict[str, str]) -> None:
    counted = 0
    for section in re.split(r"^## ", pages[GLOSSARY], flags=re.MULTILINE):
        terms = _TERM.findall(section)
        counted += len(terms)
        words = [term[0].lower() for term in terms]
        assert words == sorted(words)
        for word, _, _, _, meaning, _ in terms:
            assert len(meaning.split()) >= 4, word
            assert meaning.rstrip().endswith("."), word
    assert counted == pages[GLOSSARY].count("| **") > 90


def test_every_term_is_used_elsewhere(pages: dict[str, str]) -> None:
    text = " ".join(words.lower() for place, words in pages.items() if place != GLOSSARY)
    words = [word for term in _TERM.findall(pages[GLOSSARY]) for word in term[0].split(", ")]
    assert [word for word in words if not re.search(rf"\b{_spelt(word)}", text)] == []


def _spelt(word: str) -> str:
    """A term as text has it, or as the name of a setting."""
    return r"[\s_-]+".join(re.escape(part) for part in word.lower().split())


def test_links_to_the_glossary_name_a_term(pages: dict[str, str]) -> None:
    anchors = set(re.findall(r"\{#([\w-]+)\}", pages[GLOSSARY]))
    named = [
        (place, anchor)
        for place, text in pages.items()
        for anchor in re.findall(r"glossary\.md#([\w-]+)\)", text)
    ]
    assert len(named) >= 10
    assert [(place, anchor) for place, anchor in named if anchor not in anchors] == []
