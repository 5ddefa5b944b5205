"""The hunt: generated traces, what they show of a controller, and the shortest trace that shows it."""
