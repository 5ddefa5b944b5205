"""A simulated bank: cells, packs, wiring, meters, charger, sun and loads, in closed loop.

Current is positive while charging; units are in the names.
"""
