"""Faulty controllers on which the harness proves that it finds faults.

Some are one of the example controllers with one change in its source, written by hand; many are the
reference with one change made systematically (`harness.zoo.mutants`). `python -m harness.zoo NAME`
runs one; `python -m harness.zoo --list` names them all; `fullproof zoo` tries them all.
"""
