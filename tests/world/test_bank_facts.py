"""What practitioners know of banks, in closed loop; common practice, no source, where not said else.

Every number is asserted with the margin by which it is known, and each fact beside its opposite, so
that a world in which nothing ever happens does not pass.
"""

from __future__ import annotations

import numpy as np
import pytest

from ctrl.vocabulary import Stage
from harness.world.charger import Charger, Link, RemoteSense
from harness.world.loads import LoadEvent, Loads
from harness.world.loop import simulate
from harness.world.result import Result
from harness.world.wiring import Lead
from tests.world.small_worlds import branch, settings, world

# 3 m of 4 mm² and clips: 20 mΩ between charger and pack.
CABLES = Lead(length_m=3.0, mm2=4.0)
CLIPS_OHM = 0.0045


def names(result: Result, pack: int) -> list[str]:
    return [event.name for event in result.events if event.pack == pack]


def test_the_charger_reads_some_400_mv_above_the_packs_at_20_a_and_little_at_taper() -> None:
    result = simulate(world(branch("hut", 0.6, contact_ohm=CLIPS_OHM), hours=2.2, main=CABLES))
    above_v = result.bank.charger_v - result.packs[0].true_v
    full_current = result.bank.charger_a > 19.99
    assert np.count_nonzero(full_current) > 3600
    assert np.all((above_v[full_current] > 0.38) & (above_v[full_current] < 0.42))
    taper = (result.bank.charger_a > 1.4) & (result.bank.charger_a < 1.6)
    assert np.count_nonzero(taper) > 5
    assert np.all((above_v[taper] > 0.010) & (above_v[taper] < 0.040))


def test_a_pack_that_hovers_10_mv_under_the_entry_voltage_never_starts_its_hold() -> None:
    result = simulate(world(branch("hut", 0.9), hours=8, charger=charger_reading_high(0.21)))
    hours_after_the_first = result.bank.t > 2 * 3600.0
    short_v = 55.80 - result.packs[0].true_v[hours_after_the_first]
    assert np.all((short_v > 0.0095) & (short_v < 0.0105))
    assert names(result, 0) == []
    assert set(result.packs[0].stage) == {Stage.BULK}
    # It was as full as one that had its reset is.
    assert result.summary.packs[0].true_soc > 0.997
    assert result.summary.packs[0].counted_soc == 0.99


def charger_reading_high(offset_v: float) -> Charger:
    return Charger(current_a=20.0, meter_offset_v=offset_v)


def test_raising_the_charger_by_20_mv_starts_the_hold_at_once() -> None:
    hovering = simulate(world(branch("hut", 0.9), hours=8, charger=charger_reading_high(0.21)))
    soc = hovering.summary.packs[0].true_soc
    raised = simulate(world(branch("hut", soc), hours=0.5, charger=charger_reading_high(0.19)))
    assert names(raised, 0) == ["hold_started", "full_reset"]
    assert raised.events[0].t < 10.0
    # Left as it was, the same pack goes on hovering.
    left = simulate(world(branch("hut", soc), hours=0.5, charger=charger_reading_high(0.21)))
    assert names(left, 0) == []


def lead_and_followers(policy: str) -> Result:
    """The followers hang on thinner leads and start emptier: they come later to the threshold."""
    own = settings(hold_s=90.0, entry_v=55.98, full_v=55.90)
    packs = (
        branch("lead", 0.8, settings=own),
        branch("north", 0.6, settings=own, contact_ohm=0.03),
        branch("west", 0.6, settings=own, contact_ohm=0.03),
    )
    return simulate(world(*packs, hours=24, policy=policy, charger=Charger(current_a=60.0)))


def test_followers_that_are_10_mv_short_never_reset_when_the_lead_pack_decides() -> None:
    result = lead_and_followers("lead")
    assert names(result, 0) == ["hold_started", "full_reset"]
    for follower in (1, 2):
        assert names(result, follower) == []
        short_v = 55.98 - result.summary.packs[follower].highest_v
        assert 0.005 < short_v < 0.015
        # The count stays where counting alone stops.
        assert result.summary.packs[follower].counted_soc == pytest.approx(0.99, abs=1e-4)


def test_followers_do_reset_when_every_pack_decides() -> None:
    result = lead_and_followers("every")
    for pack in (0, 1, 2):
        assert names(result, pack) == ["hold_started", "full_reset"]
        (reset,) = result.summary.packs[pack].resets
        assert reset.error < 0.003
    # The bank waits for them for some minutes.
    asked = [event.t for event in result.events if event.name == "bank_asks"]
    first = result.summary.packs[0].resets[0].t
    assert len(asked) == 1
    assert 60.0 < asked[0] - first < 600.0
    assert result.summary.all_reset


def test_the_first_pack_to_finish_takes_the_voltage_away_where_any_decides() -> None:
    result = lead_and_followers("any")
    assert names(result, 1) == names(result, 2) == []
    assert not result.summary.all_reset


def with_oven(at: str) -> Result:
    oven = LoadEvent(name="oven", power_w=2100.0, at=at, minutes=20.0)
    return simulate(world(branch("hut", 0.7), hours=3.0, loads=Loads(events=(oven,))))


def test_a_load_during_the_hold_sags_the_bank_and_the_full_reset_is_denied() -> None:
    # The hold lasts from 07:29 to 07:39.
    disturbed = with_oven("07:33")
    assert names(disturbed, 0)[:2] == ["hold_started", "full_denied"]
    started, denied = disturbed.events[0], disturbed.events[1]
    assert denied.t - started.t == pytest.approx(600.0, abs=1.5)
    assert denied.voltage_v is not None
    assert denied.voltage_v < 55.6 - 1.0
    assert disturbed.summary.packs[0].denials == 1
    # An oven that is off again before the hold does no harm.
    undisturbed = with_oven("06:40")
    assert names(undisturbed, 0)[:2] == ["hold_started", "full_reset"]


LONG_CABLE = Lead(length_m=10.0, mm2=10.0)


def far_away(sense: RemoteSense | None, link: Link | None = None) -> Result:
    charger = Charger(current_a=20.0, remote_sense=sense, link=link or Link())
    own = settings(entry_v=55.95, full_v=55.9)
    return simulate(
        world(branch("hut", 0.6, settings=own), hours=2.3, charger=charger, main=LONG_CABLE)
    )


def test_remote_sense_makes_up_for_a_long_cable_within_its_bound() -> None:
    without, free = far_away(None), far_away(RemoteSense(time_constant_s=20.0, bound_v=0.5))
    bounded = far_away(RemoteSense(time_constant_s=20.0, bound_v=0.05))
    assert without.bank.set_v.max() == 56.0
    assert free.bank.set_v.max() > 56.10
    assert bounded.bank.set_v.max() == pytest.approx(56.05, abs=1e-9)
    start = [result.events[0].t for result in (free, bounded, without)]
    assert start == sorted(start)
    assert start[2] - start[0] > 20.0


def test_lost_messages_freeze_the_compensation() -> None:
    sense = RemoteSense(time_constant_s=20.0, bound_v=0.5)
    whole = far_away(sense)
    # The messages are lost while it compensates: from when it began, for a quarter of an hour.
    began = whole.bank.t[np.flatnonzero(whole.bank.set_v > 56.05)[0]]
    lost = (float(began), float(began) + 900.0)
    broken = far_away(sense, Link(outages=(lost,), stale_s=10.0))
    frozen = (broken.bank.t > lost[0] + 12.0) & (broken.bank.t < lost[1])
    assert np.ptp(broken.bank.set_v[frozen]) == 0.0
    assert broken.bank.set_v[frozen][0] > 56.05
    assert np.ptp(whole.bank.set_v[frozen]) > 0.02
    # Even that the bank asks for float now does not reach the charger before the messages do.
    asked = next(event for event in broken.events if event.name == "bank_asks")
    assert asked.t < lost[1]
    assert broken.bank.set_v[broken.bank.t > lost[1] + 1.0].max() < 54.5


def test_a_charger_that_hears_nothing_falls_back() -> None:
    link = Link(outages=((600.0, 1200.0),), stale_s=30.0, fallback_v=53.5, fallback_a=5.0)
    result = simulate(
        world(branch("hut", 0.6), hours=0.5, charger=Charger(current_a=20.0, link=link))
    )
    t, set_v = result.bank.t, result.bank.set_v
    assert np.all(set_v[t < 629.0] == 56.0)
    assert np.all(set_v[(t > 632.0) & (t < 1199.0)] == 53.5)
    assert np.all(result.bank.charger_a[(t > 632.0) & (t < 1199.0)] <= 5.0)
    assert np.all(set_v[t > 1202.0] == 56.0)
