"""The harness: it attaches a battery charge controller, tries it, and judges what it does."""
