"""The version of the project, said once: the package and everything that tells it take it here."""

VERSION = "0.1.0"
