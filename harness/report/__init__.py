"""What came out, told: on the terminal, as JSON, as JUnit, and against a list of known failures."""
