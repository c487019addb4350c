"""The file on the disk: written whole or not at all, by whoever has seen what it held."""

import os
from pathlib import Path

import pytest

from rimewatch.config import held
from rimewatch.config.held import NotWritten, WrittenMeanwhile, look, read_only, write


def test_file_is_replaced_and_keeps_its_mode_and_its_link(tmp_path: Path) -> None:
    """A file that only its owner reads stays so; a link goes on leading to it."""
    file, link = tmp_path / "shop.toml", tmp_path / "link.toml"
    file.write_text("a = 1\n", encoding="utf-8")
    file.chmod(0o640)
    link.symlink_to(file)
    found = write(look(link), "a = 2\n")

    assert file.read_text(encoding="utf-8") == "a = 2\n"
    assert file.stat().st_mode & 0o777 == 0o640
    assert link.is_symlink()
    assert found == look(link)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link.toml", "shop.toml"]


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may give a file away")
def test_file_stays_its_owners(tmp_path: Path) -> None:
    """The service may run as another user than whoever wrote it."""
    file = tmp_path / "shop.toml"
    file.write_text("a = 1\n", encoding="utf-8")
    os.chown(file, 1234, 4321)
    write(look(file), "a = 2\n")

    assert (file.stat().st_uid, file.stat().st_gid) == (1234, 4321)


def test_file_that_somebody_wrote_meanwhile_is_left_to_them(tmp_path: Path) -> None:
    """Their words stand; nothing lies about."""
    file = tmp_path / "shop.toml"
    file.write_text("a = 1\n", encoding="utf-8")
    seen = look(file)
    file.write_text("a = 3 # by hand\n", encoding="utf-8")
    with pytest.raises(WrittenMeanwhile, match="meanwhile"):
        write(seen, "a = 2\n")

    assert file.read_text(encoding="utf-8") == "a = 3 # by hand\n"
    assert list(tmp_path.iterdir()) == [file]


def test_write_that_fails_leaves_the_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that is full, say; and no half a file beside it."""
    file = tmp_path / "shop.toml"
    file.write_text("a = 1\n", encoding="utf-8")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(held.os, "fsync", full)
    with pytest.raises(NotWritten, match="No space left on device"):
        write(look(file), "a = 2\n")

    assert file.read_text(encoding="utf-8") == "a = 1\n"
    assert list(tmp_path.iterdir()) == [file]


def test_read_only_file_is_said_to_be_before_anybody_types(tmp_path: Path) -> None:
    """Marked so by its owner: root could write it, and does not."""
    file = tmp_path / "shop.toml"
    file.write_text("a = 1\n", encoding="utf-8")
    assert read_only(file) == ""
    file.chmod(0o444)

    assert str(file) in read_only(file)
