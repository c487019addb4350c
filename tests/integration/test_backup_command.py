"""A backup is enough to go on from: the journal, its attachments, and who may sign in."""

import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from rimewatch.cli import rimewatch
from rimewatch.entries import AttachStatement
from rimewatch.errors import UserError
from rimewatch.journal import Journal
from rimewatch.journal.attachments import Kept, folder_of, keep
from rimewatch.vocabulary import LotId, States
from rimewatch.web.people import People, Role, people_path

NOW_MS = 1_772_500_000_000
PASSWORD = "ice and salt and ice"


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Path]:
    """Give a shop's journal with one statement on record and one person."""
    path = tmp_path / "shop" / "rimewatch.db"
    path.parent.mkdir()
    with Journal.open(path):
        pass
    attach(path, b"%PDF frozen at sea")
    people = People(people_path(path))
    people.accept(people.invite("Ana", Role.ACT, NOW_MS), "", PASSWORD, NOW_MS)
    return path


def attach(journal: Path, content: bytes) -> Kept:
    """Put a statement on record."""
    scan = journal.parent / "scan.pdf"
    scan.write_bytes(content)
    kept = keep(journal, scan)
    with Journal.open(journal) as opened:
        opened.add_entry(
            AttachStatement(
                at_ms=NOW_MS,
                lot=LotId("L-1"),
                reference="S-7",
                states=next(iter(States)),
                file=kept.name,
                sha256=kept.sha256,
            ),
            "test",
        )
    return kept


def run(*arguments: str | Path) -> str:
    """Run a command; a user's mistake raises."""
    words = [str(argument) for argument in arguments]
    return (
        CliRunner().invoke(rimewatch, words, catch_exceptions=False, standalone_mode=False).output
    )


def backup(journal: Path) -> tuple[Path, str]:
    """Back up to a stick; return the copy, and what was said."""
    stick = journal.parent.parent / "stick"
    stick.mkdir(exist_ok=True)
    return stick / "copy.db", run("backup", "--journal", journal, stick / "copy.db")


def test_backup_has_attachments_and_people_beside_the_journal(journal: Path) -> None:
    """All that a new machine needs; the people's file is nobody else's to read."""
    copy, said = backup(journal)

    assert "Attachments: 1 new, 0 there already, all sound." in said
    assert stat.S_IMODE(people_path(copy).stat().st_mode) == 0o600
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    assert People(people_path(copy)).checked("Ana", PASSWORD) is not None
    assert people_path(copy).read_bytes()[:15] == b"SQLite format 3"
    assert "1 attachment is as put on record." in run("verify", "--journal", copy)
    assert not list(copy.parent.rglob("*.part"))


def test_backup_copies_only_new_attachments(journal: Path) -> None:
    """A stick that was written yesterday has yesterday's already, and they are left alone."""
    copy, _ = backup(journal)
    (old,) = folder_of(copy).iterdir()
    before = old.stat()
    attach(journal, b"%PDF a second one")

    _, said = backup(journal)

    assert "Attachments: 1 new, 1 there already, all sound." in said
    assert (old.stat().st_ino, old.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


def test_backup_mends_an_attachment_that_rotted_on_the_stick(journal: Path) -> None:
    """What lies there is looked at, not believed."""
    copy, _ = backup(journal)
    (old,) = folder_of(copy).iterdir()
    old.chmod(0o644)
    old.write_bytes(b"rotten")
    with pytest.raises(UserError, match=r"not as the entries say: scan\.pdf of lot L-1 is changed"):
        run("verify", "--journal", copy)

    _, said = backup(journal)

    assert "1 new" in said
    assert old.read_bytes() == b"%PDF frozen at sea"


def test_backup_never_spreads_a_changed_attachment(journal: Path) -> None:
    """The good copy on the stick outlives the bad one in the shop, and it is told."""
    kept = attach(journal, b"%PDF a second one")
    copy, _ = backup(journal)
    bad = folder_of(journal) / kept.sha256
    bad.chmod(0o644)
    bad.write_bytes(b"forged")

    assert "there already" in backup(journal)[1]
    assert (folder_of(copy) / kept.sha256).read_bytes() == b"%PDF a second one"
    (folder_of(copy) / kept.sha256).unlink()
    with pytest.raises(UserError, match="is not what was put on record; it was not copied"):
        backup(journal)
    assert not (folder_of(copy) / kept.sha256).exists()


def test_verify_names_an_attachment_that_is_gone(journal: Path) -> None:
    """A statement that the record rests on must be there when it is asked for."""
    (only,) = folder_of(journal).iterdir()
    only.unlink()

    with pytest.raises(UserError, match=r"scan\.pdf of lot L-1 is missing \([0-9a-f]{64}\)"):
        run("verify", "--journal", journal)


def test_restored_backup_is_whole_again(journal: Path, tmp_path: Path) -> None:
    """As docs/operations.md says, on another machine."""
    copy, _ = backup(journal)
    again = tmp_path / "new" / "rimewatch.db"
    again.parent.mkdir()
    again.write_bytes(copy.read_bytes())
    people_path(again).write_bytes(people_path(copy).read_bytes())
    folder_of(again).mkdir()
    for one in folder_of(copy).iterdir():
        (folder_of(again) / one.name).write_bytes(one.read_bytes())

    assert "1 attachment is as put on record." in run("verify", "--journal", again)
    with Journal.open(again) as opened:
        assert len(opened.entries_after(0)) == 1


def test_backup_without_attachments_or_people_is_the_journal_alone(tmp_path: Path) -> None:
    """A shop that has neither; nothing is made up."""
    path = tmp_path / "rimewatch.db"
    with Journal.open(path):
        pass
    stick = tmp_path / "stick"
    stick.mkdir()

    assert "Attachments" not in run("backup", "--journal", path, stick / "copy.db")
    assert [one.name for one in stick.iterdir()] == ["copy.db"]


def test_backup_takes_the_stamps_of_seals_with_it(journal: Path) -> None:
    """Without them a restored record could not be shown to be the one that was stamped."""
    stamps = journal.parent / "stamps"
    stamps.mkdir()
    (stamps / "2026-03-02.tsr").write_bytes(b"a stamp")
    (stamps / "2026-03-03.part").write_bytes(b"half of one")

    copy, said = backup(journal)
    (stamps / "2026-03-03.tsr").write_bytes(b"another")
    _, again = backup(journal)

    assert "Stamps of seals: 1 new." in said
    assert "Stamps of seals: 1 new." in again
    kept = {one.name: one.read_bytes() for one in (copy.parent / "stamps").iterdir()}
    assert kept == {"2026-03-02.tsr": b"a stamp", "2026-03-03.tsr": b"another"}
    assert stat.S_IMODE((copy.parent / "stamps" / "2026-03-02.tsr").stat().st_mode) == 0o600
