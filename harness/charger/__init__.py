"""The role `charger`: judge the code that hears the packs and tells a charger what to give."""
