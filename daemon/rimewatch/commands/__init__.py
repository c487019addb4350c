"""One module a command; each imports its heavy parts only when run."""
