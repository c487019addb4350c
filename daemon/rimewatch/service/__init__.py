"""The running service: one writer thread, a session with the broker, messages going out."""
