"""A front for pytest: every vector as a test of its own, and a hunt."""
