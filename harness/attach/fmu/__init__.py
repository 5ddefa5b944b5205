"""A controller exported as an FMU of the open standard FMI 2.0 or 3.0, for co-simulation."""
