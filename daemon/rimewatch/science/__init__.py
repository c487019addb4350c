"""Physics and food science. Pure functions: no clock, no I/O, no logging, no state."""
