"""What somebody enters at a terminal into a journal whose file is damaged."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from handmade import probe, shop, unit
from rimewatch.commands.standing import enter
from rimewatch.entries import OutOfService
from rimewatch.errors import UserError
from rimewatch.journal import Journal
from rimewatch.vocabulary import UnitId

SHOP = shop(unit(), probe())


def test_entry_is_refused_where_it_would_go_with_the_damaged_file(tmp_path: Path) -> None:
    """The table of entries is sound, so it could be written: and would be gone after a restore."""
    path = tmp_path / "rimewatch.db"
    Journal.open(path).close()
    with closing(sqlite3.connect(path)) as connection:
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'"
        ).fetchone()
    with path.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)
    before = path.read_bytes()

    with pytest.raises(UserError, match="restore the latest backup"):
        enter(SHOP, path, OutOfService(at_ms=0, unit=UnitId("case-1")))

    assert path.read_bytes() == before
