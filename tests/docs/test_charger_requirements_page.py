"""The page of what a charger has to do says what the catalogue says."""

from __future__ import annotations

from harness.charger.rules import CHARGER_REQUIREMENTS

PLACE = "reference/charger-requirements.md"


def test_every_requirement_has_a_heading_its_sentence_and_its_settings(
    pages: dict[str, str],
) -> None:
    page = pages[PLACE]
    own = [one for one in CHARGER_REQUIREMENTS if one.group != "LINK"]
    assert len(own) == 38
    for requirement in own:
        anchor = requirement.id.lower().replace(".", "-")
        assert f"### {requirement.id} {{#{anchor}}}" in page
        assert f"[{requirement.id}](#{anchor})" in page
        assert f"> {requirement.statement}" in page
        assert requirement.reason in page
    stale = page.partition("### STALE.falls-back")[2].partition("###")[0]
    assert "*Settings, with their defaults:* `stale_s` (5)." in stale
    assert "`stale/wire-off`" in stale
