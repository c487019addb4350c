"""Fixtures for tests that need a real server: a receiver of messages over HTTP."""

from collections.abc import Callable, Iterator

import pytest

from http_receiver import Receiver


@pytest.fixture
def start_receiver() -> Iterator[Callable[[], Receiver]]:
    """Start receivers of messages; all are let go and closed after the test."""
    started: list[Receiver] = []

    def start() -> Receiver:
        started.append(Receiver())
        return started[-1]

    yield start
    for one in started:
        one.close()


@pytest.fixture
def receiver(start_receiver: Callable[[], Receiver]) -> Receiver:
    """Give one running receiver that takes everything."""
    return start_receiver()
