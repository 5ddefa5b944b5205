"""The faulty controllers, by what they get wrong."""

from __future__ import annotations

from itertools import chain

from harness.zoo.fault import Fault
from harness.zoo.faults import (
    counting,
    entry,
    equalise,
    float_stage,
    full,
    hold,
    in_c,
    link,
    power,
    protection,
    request,
    sensor,
    time,
)

FAULTS: tuple[Fault, ...] = tuple(
    chain.from_iterable(
        module.FAULTS
        for module in (
            entry,
            hold,
            full,
            float_stage,
            counting,
            request,
            protection,
            time,
            power,
            equalise,
            sensor,
            link,
        )
    )
)

C_FAULTS = in_c.FAULTS
