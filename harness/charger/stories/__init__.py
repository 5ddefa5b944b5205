"""The stories by which a charger is tried: a bank of a mountain hut, and one of a ferry pier."""
