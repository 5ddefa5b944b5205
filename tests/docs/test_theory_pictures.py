"""The page of the reasons tells the numbers of the runs that its pictures are drawn from."""

from __future__ import annotations

import re

import numpy as np
import pytest

from ctrl.vocabulary import Stage
from tests.docs.theory import pictures, runs

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@pytest.fixture(scope="module")
def sections(pages: dict[str, str]) -> dict[str, str]:
    """The sections of the page by their anchors, each on one line."""
    parts = re.split(r"^## .*\{#([\w-]+)\}$", pages["explanation/theory.md"], flags=re.MULTILINE)
    return {
        name: " ".join(text.split()) for name, text in zip(parts[1::2], parts[2::2], strict=True)
    }


def clock(hour: float) -> str:
    minutes = int(60 * hour + 1e-6)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def test_of_a_hold_that_never_starts(sections: dict[str, str]) -> None:
    result = runs.never_starts()
    pack, settings = result.packs[0], result.world.packs[0].settings
    highest = runs.highest_read_v(result, 0)
    noon = {
        name: runs.at(result, 12.0, values)
        for name, values in (("charger", result.bank.charger_v), ("pack", pack.true_v))
    }
    assert (pack.stage == Stage.BULK).all()
    assert result.events == ()
    told = sections["never-starts"]
    t, read_v = runs.read_v(result, 0)
    near = t[read_v > highest - 0.1]
    for words in (
        f"holds too little | \u2212{56.0 - noon['charger']:.3f} V |",
        f"20 A of the pump | \u2212{noon['charger'] - noon['pack']:.3f} V |",
        f"reads too low | \u2212{noon['pack'] - highest:.3f} V |",
        f"**{highest:.3f} V**",
        f"`entry_v` | {settings.entry_v:.3f} V |",
        f"{1000 * (settings.entry_v - highest):.0f} mV are missing",
        f"For {near[-1] - near[0]:.1f} h the pack stands close to its highest reading, {highest:.3f} V",
        f"Its cells come up to {100 * pack.true_soc.max():.1f} %",
        f"the charger's terminals stand at {noon['charger']:.2f} V",
        f"the pack's terminals at {noon['pack']:.2f} V",
    ):
        assert words in told
    assert runs.at(result, 12.0, result.bank.charger_a) == pytest.approx(20.0, abs=0.1)


def test_of_followers_that_are_left_behind(sections: dict[str, str]) -> None:
    result = runs.shipped_run("lead-finishes-first")
    names = [pack.name for pack in result.packs]
    assert names == ["east", "north", "west"]
    resets = [len(pack.resets) for pack in result.summary.packs]
    assert resets == [3, 0, 0]
    east, *others = (runs.highest_read_v(result, p) for p in range(3))
    entry_v = result.world.packs[0].settings.entry_v
    assert others[0] == others[1]
    reset = runs.events(result, "full_reset", 0)[0]
    row = int(np.searchsorted(result.bank.t, reset.t))
    true = {f"{100 * pack.true_soc[row]:.1f}" for pack in result.packs}
    assert len(true) == 1
    errors = [100 * (pack.error or 0.0) for pack in result.summary.packs]
    offsets = [branch.meter for branch in result.world.packs[1:]]
    low_mv = [round(-1000 * meter.voltage_offset_v) for meter in offsets]
    low_a = [-meter.current_offset_a for meter in offsets]
    told = sections["parallel"]
    for words in (
        f"`entry_v` is {entry_v:.2f} V",
        f"read {low_mv[0]} and {low_mv[1]} mV low",
        f"East reads {east:.2f} V, north and west {others[0]:.2f} V: "
        f"{1000 * (entry_v - others[0]):.0f} mV short",
        f"equally full, {true.pop()} %,",
        f"on each of the {resets[0]} days",
        f"read {low_a[0]:.2f} and {low_a[1]:.2f} A low",
        f"north counts {-errors[1]:.1f} % too little and west {-errors[2]:.1f} %",
    ):
        assert words in told


def test_of_compensation(sections: dict[str, str]) -> None:
    without = runs.shipped_run("long-cable-without-remote-sense")
    with_it = runs.shipped_run("long-cable-remote-sense")
    entry_v = without.world.packs[0].settings.entry_v
    highest = runs.highest_read_v(without, 0)
    at_noon = runs.at(without, 12.0, without.bank.charger_v)
    lost = at_noon - runs.at(without, 12.0, without.packs[0].true_v)
    assert runs.events(without, "hold_started", 0) == []
    (start,) = runs.events(with_it, "hold_started", 0)
    (reset,) = runs.events(with_it, "full_reset", 0)
    held = runs.event_h(with_it, reset) - 0.1
    told = sections["remote-sense"]
    for words in (
        f"the charger stands at {at_noon:.2f} V",
        f"the {runs.at(without, 12.0, without.bank.charger_a):.1f} A of the lamps still lose {lost:.2f} V",
        f"the pack reads {highest:.2f} V, {1000 * (entry_v - highest):.0f} mV short",
        f"the charger goes to {with_it.bank.charger_v.max():.2f} V",
        f"to {runs.at(with_it, held, with_it.bank.charger_v):.2f} V, and the pack reads the "
        f"{runs.at(with_it, held, with_it.packs[0].true_v):.2f} V",
        f"starts at {clock(runs.event_h(with_it, start))}, the full reset follows at "
        f"{clock(runs.event_h(with_it, reset))}",
        f"the pack reads up to {runs.highest_read_v(with_it, 0):.2f} V",
    ):
        assert words in told


def test_of_the_recheck(sections: dict[str, str]) -> None:
    kept, only = runs.recheck("voltage_after_hold"), runs.recheck("hold_only")
    hours = runs.clock_h(kept)
    (start, next_start) = runs.events(kept, "hold_started", 0)
    (denied,) = runs.events(kept, "full_denied", 0)
    (true_reset,) = runs.events(kept, "full_reset", 0)
    false_reset, _ = runs.events(only, "full_reset", 0)
    assert false_reset.t == denied.t < next_start.t
    true, counted = denied.true_soc, false_reset.counted_after
    assert true is not None
    assert counted == 1.0
    assert true_reset.true_soc is not None
    wrong = float((only.packs[0].counted_soc - only.packs[0].true_soc).max())
    before = float(kept.packs[0].true_soc[hours < runs.event_h(kept, denied)].max())
    between = (hours > runs.event_h(kept, start)) & (hours < runs.event_h(kept, next_start))
    least = float(kept.packs[0].true_soc[between][hours[between] > 9.0].min())
    told = sections["recheck"]
    for words in (
        f"the hold starts at {clock(runs.event_h(kept, start))}",
        f"The timer ends at {clock(runs.event_h(kept, denied))}. The pack reads {denied.voltage_v:.2f} V",
        f"is at {100 * true:.1f} %",
        f"to 100 %, {100 * wrong:.1f} % too high",
        f"a reset at {100 * true_reset.true_soc:.1f} %",
        f"fall together from {100 * before:.0f} to {100 * least:.0f} percent",
        f"with the pack at {100 * true:.0f} percent",
    ):
        assert words in told
    assert 1.5 < (true_reset.t - denied.t) / 3600 < 1.75


@pytest.mark.parametrize("name", pictures.PICTURES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_stored_picture_is_the_one_that_the_run_gives(name: str, scheme: str) -> None:
    stored = pictures.place(name, scheme).read_text(encoding="utf-8")
    drawn = pictures.drawn(name, scheme)
    again = "run: python -m tests.docs.theory.pictures"
    # Other machines round the last bit otherwise, which may move a point by a tenth of a pixel.
    assert _NUMBER.sub("", stored) == _NUMBER.sub("", drawn), again
    was, is_now = (np.array(_NUMBER.findall(text), dtype=float) for text in (stored, drawn))
    assert np.abs(was - is_now).max() < 0.5, again


@pytest.mark.parametrize("name", pictures.PICTURES)
def test_picture_stands_on_the_page_light_and_dark_with_the_same_words(
    name: str, pages: dict[str, str]
) -> None:
    found = re.findall(
        rf"^!\[(.+)\]\(\.\./images/theory-{name}-(\w+)\.svg#only-(\w+)\)",
        pages["explanation/theory.md"],
        re.MULTILINE,
    )
    (light_words, *light), (dark_words, *dark) = found
    assert (light, dark) == (["light"] * 2, ["dark"] * 2)
    assert light_words == dark_words
    assert len(light_words.split()) > 20
