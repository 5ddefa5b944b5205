"""Studies: many banks under several rules and policies, compared in pairs."""
