"""Settings of a charger as a hunt draws them: without contradiction, with times that end in a trace."""

from __future__ import annotations

from ctrl.charger import ChargerSettings
from harness.charger.hunting.picks import Picks

# For packs of so many cells; the first is the default.
CELLS = (16, 16, 16, 8)


def drawn_settings(picks: Picks) -> ChargerSettings:
    """Settings, for packs of one of `CELLS`."""
    one = picks.one
    cells = one(CELLS)
    stale_s = one((5.0, 2.0, 5.0, 3.0, 1.0))
    max_gap_s = one((10.0, 5.0, 2.5))
    highest_a = one((100.0, 60.0, 100.0, 20.0))
    plausible_a = one((1000.0, 1000.0, 250.0))
    settings = ChargerSettings.for_cells(
        cells,
        packs=one((1, 2, 1, 2, 3)),
        highest_a=highest_a,
        stale_s=stale_s,
        silent_s=stale_s + one((10.0, 4.0, 20.0, 55.0)),
        steady_s=one((10.0, 6.0, 4.0, 10.0, 1.0, 0.0)),
        fallback_a=min(one((20.0, 20.0, 80.0, 5.0, 0.0)), highest_a),
        compensation_v=one((0.5, 0.5, 0.2, 0.05, 0.0)),
        compensation_v_per_s=one((0.01, 0.05, 0.02, 0.25)),
        sense_time_s=one((12.0, 30.0, 60.0, 20.0)),
        raise_v_per_s=one((0.1, 1.0, 0.5, 5.0)),
        raise_a_per_s=one((5.0, 20.0, 50.0, 10.0)),
        zero_s=one((1.0, 1.0, 3.0, 0.0)),
        frozen_s=one((60.0, 8.0, 20.0, 8.0)),
        max_gap_s=max_gap_s,
        plausible_a=plausible_a,
    )
    share = cells / 16
    highest_v = one((58.0, 58.0, 57.0, 56.2)) * share
    fallback_v = min(one((54.0, 54.0, 57.0, 52.5)) * share, highest_v)
    return settings.changed(highest_v=highest_v, fallback_v=fallback_v)
