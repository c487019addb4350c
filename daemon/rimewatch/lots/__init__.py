"""Lots of fish: what each needs, where it is, its freezing hold, its story. Pure."""
