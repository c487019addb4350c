"""A journal of its own for each test, closed at the end."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from rimewatch.journal import Journal


@pytest.fixture
def journal_path(tmp_path: Path) -> Path:
    """Where a test keeps its journal."""
    return tmp_path / "journal.db"


@pytest.fixture
def journal(journal_path: Path) -> Iterator[Journal]:
    """A fresh journal."""
    with Journal.open(journal_path) as opened:
        yield opened
