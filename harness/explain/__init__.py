"""From a recorded log to reasons, and from reasons to what would help."""
