"""What the tests of the pages share: passwords that are quickly hashed."""

import pytest
from argon2 import PasswordHasher

from rimewatch.web import people


@pytest.fixture
def full_cost() -> None:
    """Ask for hashes as dear as a shop's."""


@pytest.fixture(autouse=True)
def cheap_hashes(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Hash passwords by the same function at its lowest cost: nobody guesses at a test's."""
    if "full_cost" not in request.fixturenames:
        cheap = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
        monkeypatch.setattr(people, "_HASHER", cheap)
        monkeypatch.setattr(people, "_KEPT", {})
