"""The messages of the packs to a charger under test: each on its way, late, or lost.

The link is that of the scenario's charger (`harness.world.charger.Link`), with one message a pack at
each of the charger's intervals. The age of a message counts from the moment at which the charger got
it: what it took on its way nobody tells a charger. A message that is lost leaves the one before,
which grows older.
"""

from __future__ import annotations

from math import ceil

import numpy as np
import numpy.typing as npt

from harness.run import Floats
from harness.world import chance
from harness.world.bank import World
from harness.world.chance import stream_key
from harness.world.charger import CHARGER_STREAM
from harness.world.compiling import kernel

# Columns of a message. A pack's stage is a number here, as `Stage` is one.
REQUEST_V, REQUEST_A, PACK_V, PACK_A, STAGE = range(5)
MESSAGE_COLUMNS = 5
# The streams of the charger are those of its lost messages and of its noise: the first pack has the
# former, so that a bank of one pack loses the same messages as with the scenario's own charger.
_OF_NOISE = 1


@kernel(chance, __file__)
def uniforms(key: np.uint64, count: int) -> Floats:
    """The first numbers of a stream."""
    drawn = np.empty(count)
    for number in range(count):
        drawn[number] = chance.uniform(key, number)
    return drawn


@kernel(chance, __file__)
def normals(key: np.uint64, count: int) -> Floats:
    """The first numbers by the normal law of a stream, one of each pair."""
    drawn = np.empty(count)
    for number in range(count):
        drawn[number] = chance.two_normal(key, number)[0]
    return drawn


def exchanges(world: World) -> int:
    """How often the charger of a world is due in a run."""
    return ceil(world.duration_s / world.charger.interval_s) + 1


class PackMessages:
    """The last message of each pack, as it lies before the charger."""

    def __init__(self, world: World) -> None:
        """Nothing has been sent yet."""
        link, packs = world.charger.link, len(world.packs)
        self._delay = round(link.delay_s / world.charger.interval_s)
        self._outages = link.outages
        self._lost: npt.NDArray[np.bool_] | None = None
        if link.loss_probability > 0.0:
            keys = [
                stream_key(world.seed, CHARGER_STREAM, p + (p >= _OF_NOISE)) for p in range(packs)
            ]
            drawn = [uniforms(key, exchanges(world)) for key in keys]
            self._lost = np.stack(drawn) < link.loss_probability
        self._underway = np.full((self._delay + 1, packs, MESSAGE_COLUMNS), np.nan)
        self._arrives = np.zeros((self._delay + 1, packs), np.bool_)
        self._lying = np.full((packs, MESSAGE_COLUMNS), np.nan)
        self._got_s = np.full(packs, np.nan)

    def exchange(self, number: int, t: float, said: Floats) -> tuple[Floats, Floats]:
        """Send a message of each pack and take in those that arrive.

        Args:
            number: of the exchange, from 0 on, one after the other.
            t: when it happens, s.
            said: what each pack says now; shape (packs, MESSAGE_COLUMNS).

        Returns:
            What then lies before the charger, NaN where nothing came yet, of the same shape; and
            how long ago the charger got it, s, shape (packs,).
        """
        place = number % (self._delay + 1)
        self._underway[place] = said
        self._arrives[place] = not any(start <= t < end for start, end in self._outages)
        if self._lost is not None:
            self._arrives[place] &= ~self._lost[:, number]
        arriving = number - self._delay
        if arriving >= 0:
            place = arriving % (self._delay + 1)
            come = self._arrives[place]
            self._lying[come] = self._underway[place][come]
            self._got_s[come] = t
        return self._lying, t - self._got_s
