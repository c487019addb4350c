"""Where a journal is kept: on a disk of this machine, under one name."""

import os
from pathlib import Path

import pytest

from rimewatch.service.disk_kind import disk_kind, disk_trouble

# As proc(5), Linux man-pages 6.x, prints a line, with mounts as mount(8) and nfs(5) name them.
MOUNTS = r"""
22 1 8:2 / / rw,relatime shared:1 - ext4 /dev/sda2 rw
36 35 98:0 /mnt1 /var/lib/rimewatch rw,noatime master:1 - ext3 /dev/root rw,errors=continue
41 22 0:52 / /srv/shop\040share rw,relatime shared:30 - nfs4 office:/share rw,vers=4.2
42 22 0:53 / /srv/box rw - cifs //box/share rw,vers=3.1.1
43 22 0:54 / /srv/far rw - fuse.sshfs ana@far:/ rw,user_id=0
44 22 0:55 / /srv/near rw - fuseblk /dev/sdb1 rw
45 42 8:3 / /srv/box/local rw - ext4 /dev/sda3 rw
46 22 0:56 / /srv/over rw - ext4 /dev/sdc1 rw
47 22 0:57 / /srv/over rw - nfs office:/over rw
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/var/lib/rimewatch/rimewatch.db", "ext3"),
        ("/var/lib/rimewatch.db", "ext4"),
        ("/srv/shop share/rimewatch.db", "nfs4"),
        ("/srv/box/a/rimewatch.db", "cifs"),
        ("/srv/box/local/rimewatch.db", "ext4"),
        ("/srv/boxes/rimewatch.db", "ext4"),
        ("/srv/over/rimewatch.db", "nfs"),
    ],
)
def test_kind_of_the_disk_below_a_path_is_found(path: str, kind: str) -> None:
    """The mount nearest to the file counts, and of two at one place the later one."""
    assert disk_kind(Path(path), MOUNTS) == kind


def test_kind_is_not_known_where_nothing_is_mounted() -> None:
    """Nothing is guessed of a system that lists no mounts."""
    assert disk_kind(Path("/a"), "\nnonsense\n1 2 3\n") == ""


@pytest.mark.parametrize(
    ("folder", "told"), [("shop share", 1), ("box", 1), ("far", 1), ("near", 0), ("box/local", 0)]
)
def test_disk_in_the_network_is_told_with_its_cure(tmp_path: Path, folder: str, told: int) -> None:
    """A write-ahead journal needs a disk of this machine."""
    mounts = tmp_path / "mountinfo"
    mounts.write_text(MOUNTS)

    found = disk_trouble(Path("/srv") / folder / "rimewatch.db", mounts)

    assert len(found) == told
    assert all("a disk of this machine" in sentence for sentence in found)


def test_this_machines_own_list_is_read(tmp_path: Path) -> None:
    """Wherever the tests' folder lies, it is a local disk, and Linux says of which kind."""
    journal = tmp_path / "rimewatch.db"
    journal.touch()

    assert disk_kind(journal, Path("/proc/self/mountinfo").read_text()) != ""
    assert disk_trouble(journal) == []
    assert disk_trouble(journal, tmp_path / "missing") == []


def test_journal_with_a_second_name_is_told_with_its_cure(tmp_path: Path) -> None:
    """SQLite keeps a -wal for each name: by two of them one file is spoiled."""
    journal = tmp_path / "rimewatch.db"
    journal.touch()
    os.link(journal, tmp_path / "copy.db")

    assert "2 names" in disk_trouble(journal)[0]
