"""What a reader has to know who might act on a verdict."""

CAUTION = (
    "Conforming to these rules is no certificate of safety: the cell maker's limits, local codes "
    "and licensed practice come first."
)
