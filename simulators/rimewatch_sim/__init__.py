"""Simulated cold: a thermal plant, scenarios with their ground truth, and a player."""
