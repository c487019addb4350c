"""The truth on disk: readings, entries, alarms, outbox, in one SQLite file."""
