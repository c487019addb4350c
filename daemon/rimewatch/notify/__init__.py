"""Carries messages from the outbox to people, through Apprise."""
