"""Follows the journal into InfluxDB."""
