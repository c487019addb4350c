"""Puts rules, lots and alarms together over readings and entries. Pure but for what it is given."""
