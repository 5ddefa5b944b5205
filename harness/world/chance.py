"""Random numbers by counter: number so-and-so of a stream is always the same, in any order.

A loop in Python and a compiled one that ask for the same number get the same bits, however many
they take at a time. Streams come from a seed and a few small numbers that say what they are for.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from harness.world.compiling import part

# SplitMix64: Steele, Lea and Flood, 'Fast splittable pseudorandom number generators', 2014.
_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_FIRST = np.uint64(0xBF58476D1CE4E5B9)
_SECOND = np.uint64(0x94D049BB133111EB)
_BY_30, _BY_27, _BY_31, _BY_11 = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(11)
_ONE = np.uint64(1)
_PER_STEP = 1.0 / 9007199254740992.0


def stream_key(seed: int, *purpose: int) -> np.uint64:
    """The key of a stream; different seeds or purposes give streams that have nothing in common."""
    key: np.uint64 = np.random.SeedSequence([seed, *purpose]).generate_state(1, np.uint64)[0]
    return key


def stream_generator(seed: int, *purpose: int) -> np.random.Generator:
    """The same for what is drawn in order, beforehand and once."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *purpose])))


def _slices_of_the_normal_law() -> npt.NDArray[np.float64]:
    """The means of `SLICES` equally likely slices of the normal law, scaled to deviation 1."""
    law = NormalDist()
    edges = [law.inv_cdf(k / SLICES) for k in range(1, SLICES)]
    density = np.array([0.0, *(law.pdf(edge) for edge in edges), 0.0])
    means = (density[:-1] - density[1:]) * SLICES
    slices: npt.NDArray[np.float64] = means / np.sqrt(np.mean(means * means))
    return slices


SLICES = 8192
_SLICE_BITS, _BY_51, _BY_38 = np.uint64(SLICES - 1), np.uint64(51), np.uint64(38)
_NORMAL = _slices_of_the_normal_law()


@part
def bits(key: np.uint64, number: int) -> np.uint64:
    """The bits of number `number` of a stream; compiled."""
    x = key + (np.uint64(number) + _ONE) * _GOLDEN
    x = (x ^ (x >> _BY_30)) * _FIRST
    x = (x ^ (x >> _BY_27)) * _SECOND
    return x ^ (x >> _BY_31)


@part
def uniform(key: np.uint64, number: int) -> float:
    """Number `number` of a stream, between 0 and 1, neither of them included; compiled."""
    return (float(bits(key, number) >> _BY_11) + 0.5) * _PER_STEP


@part
def two_normal(key: np.uint64, number: int) -> tuple[float, float]:
    """Two numbers by the normal law with mean 0 and deviation 1, of a stream; compiled.

    Each is one of 8192 values, none beyond 4: quick, and fine enough for the noise of a meter.
    """
    x = bits(key, number)
    return _NORMAL[x >> _BY_51], _NORMAL[(x >> _BY_38) & _SLICE_BITS]
