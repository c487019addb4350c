"""Who may read what the service keeps: the journal and the papers beside it name people."""

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from rimewatch.journal import Journal
from rimewatch.journal.attachments import folder_of, keep_content
from rimewatch.journal.backup import backup_journal
from rimewatch.journal.backup_beside import backup_attachments

FOR_OTHERS = 0o077


@pytest.fixture(autouse=True)
def _usual_machine() -> Iterator[None]:
    """Give new files the mode that a plain terminal gives them: everybody may read."""
    before = os.umask(0o022)
    yield
    os.umask(before)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_new_journal_is_its_owners_alone(tmp_path: Path) -> None:
    """Whoever else signs in to the machine reads neither the file nor what SQLite puts by it."""
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        with journal.batch():
            journal.add_event(0, "started")
        made = {path.name: mode(path) for path in tmp_path.iterdir()}

    assert made == dict.fromkeys(("rimewatch.db", "rimewatch.db-wal", "rimewatch.db-shm"), 0o600)


def test_journal_behind_a_link_to_another_disk_is_its_owners_alone(tmp_path: Path) -> None:
    """The file that the link leads to is made so as well."""
    disk = tmp_path / "disk"
    disk.mkdir()
    (tmp_path / "rimewatch.db").symlink_to(disk / "kept.db")

    Journal.open(tmp_path / "rimewatch.db").close()

    assert mode(disk / "kept.db") == 0o600


def test_mode_that_somebody_chose_stays(tmp_path: Path) -> None:
    """A shop that lets a group read its journal is not overruled at each start."""
    path = tmp_path / "rimewatch.db"
    Journal.open(path).close()
    path.chmod(0o640)

    Journal.open(path).close()

    assert mode(path) == 0o640


def test_papers_on_record_and_every_copy_are_the_owners_alone(tmp_path: Path) -> None:
    """Suppliers' statements, and the backup of them and of the journal."""
    path = tmp_path / "rimewatch.db"
    Journal.open(path).close()
    sha256 = keep_content(path, b"a supplier's statement", "statement.pdf")
    away = tmp_path / "away"
    away.mkdir(mode=0o755)

    backup_journal(path, away / "copy.db")
    backup_attachments(path, away / "copy.db")

    for folder in (folder_of(path), folder_of(away / "copy.db")):
        assert mode(folder) == 0o700
        assert not mode(folder / sha256) & (FOR_OTHERS | stat.S_IWUSR)
    assert not mode(away / "copy.db") & FOR_OTHERS
