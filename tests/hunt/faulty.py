"""Faulty controllers and failing cases for the tests of the hunt."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

from ctrl.settings import Settings
from harness.attach import Attachment
from harness.cases import Vector, shipped
from harness.run import Case, Trace
from harness.zoo.build import fault_named
from harness.zoo.subject import attached


@contextmanager
def zoo(name: str) -> Iterator[Attachment]:
    """The faulty controller of this name, in process where it can be."""
    with attached(fault_named(name)) as attachment:
        yield attachment


def vector(name: str) -> Vector:
    """The shipped vector of this id."""
    return next(each for each in shipped() if each.id == name)


def case(*rows: tuple[float, ...], soc: float = 0.5, **changes: object) -> Case:
    """A case of rows `(t, v, i)`, with these settings changed."""
    table = np.array(rows, dtype=np.float64)
    trace = Trace(**dict(zip(("t", "v", "i"), table.T, strict=True)))
    return Case("told/by-hand", Settings().changed(**changes), trace, soc=soc)
