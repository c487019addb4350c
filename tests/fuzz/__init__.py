"""Fuzzing by coverage: what strangers can send, and what lies on a disk that may rot."""
