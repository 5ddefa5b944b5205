"""The final table of a study as JSON. `study.schema.json` describes it.

The first member says what the document is, the last one how much there has to be in it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import orjson
from attrs import asdict

from harness.report.caution import CAUTION
from harness.report.study_words import sentences
from harness.study.measures import MEASURES
from harness.study.table import Table
from harness.study.table_file import comparison_rows, estimate_rows

FORMAT, VERSION = "fullproof study", 1
SCHEMA = Path(__file__).with_name("study.schema.json")


def to_json(table: Table) -> str:
    """The document, indented; the same table gives the same bytes.

    Args:
        table: of a study.
    """
    facts = table.facts
    estimates, comparisons = estimate_rows(table), comparison_rows(table)
    document: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "caution": CAUTION,
        "title": facts.title,
        "question": facts.question,
        "fingerprint": facts.fingerprint,
        "seed": facts.seed,
        "banks": facts.banks,
        "banks_there": table.there,
        "days": facts.days,
        "false_full_below_soc": facts.false_full_below_soc,
        "truly_full_soc": facts.truly_full_soc,
        "level": table.level,
        "resamples": table.resamples,
        "flips": table.flips,
        "arms": [
            {"arm": k, "rule": arm.rule, "policy": arm.policy, "settings": dict(arm.settings)}
            for k, arm in enumerate(facts.arms)
        ],
        "settings": [{"name": name, "value": words} for name, words in facts.settings],
        "limits": list(facts.limits),
        "measures": [
            {
                "name": each.name,
                "title": each.title,
                "unit": each.unit,
                "formula": each.formula,
                "meaning": each.meaning,
                "lower_is_better": each.lower_is_better,
            }
            for each in MEASURES
        ],
        "estimates": estimates,
        "comparisons": comparisons,
        "front": list(table.front),
        "sentences": [asdict(each) for each in sentences(table)],
        "stopped": [{"bank": stop.bank, "arms": list(stop.arms)} for stop in table.stops],
        "failed": [{"bank": bank, "why": why} for bank, why in facts.failed],
        "end": {"estimates": len(estimates), "comparisons": len(comparisons), "complete": True},
    }
    return orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()
