"""Faulty controllers on which the harness proves that it finds faults.

Each is one of the example controllers with one change in its source. `python -m harness.zoo NAME`
runs one; `python -m harness.zoo --list` names them all.
"""
