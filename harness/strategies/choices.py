"""What a trace is made of: whole numbers, each the choice of one thing, 0 the plainest of it.

Whoever draws the numbers, a generator of random ones or Hypothesis, gets the same trace from them:
`harness.strategies.grow` makes it.
"""

from __future__ import annotations

from enum import IntEnum

# Every choice is a number below this.
CHOICES = 64
# A trace has at most so many segments, and samples.
MOST_SEGMENTS = 12
MOST_SAMPLES = 512


class Head(IntEnum):
    """What is chosen once a trace."""

    STAMP = 0  # with which stamp it begins
    CHARGE = 1  # the starting state of charge
    COLUMNS = 2  # which optional columns it has


class Segment(IntEnum):
    """What is chosen for each segment."""

    DEED = 0  # what is to come about, of what can in the present stage
    BESIDE = 1  # how far beside the threshold, and on which side
    LENGTH = 2  # how far before or behind the deadline it ends
    INTERVAL = 3  # sampling interval
    CURRENT = 4  # current
    AROUND = 5  # cell voltage and temperatures
    ODDITY = 6  # what else goes wrong in it
    TWIST = 7  # where in the segment, and how much


HEAD_CHOICES = len(Head)
SEGMENT_CHOICES = len(Segment)
