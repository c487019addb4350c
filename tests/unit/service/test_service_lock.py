"""One service a journal."""

import subprocess
import sys
from pathlib import Path

import pytest

from rimewatch.service.lock import Locked, only_one

HOLDER = """
import sys
from pathlib import Path
from rimewatch.service.lock import only_one
with only_one(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_lock_of_a_running_service_refuses_a_second(tmp_path: Path) -> None:
    """The message names the journal and the cure."""
    journal = tmp_path / "rimewatch.db"
    with (
        only_one(journal),
        pytest.raises(Locked, match=r"rimewatch\.db; stop it first"),
        only_one(journal),
    ):
        pytest.fail("two services held one journal")


def test_lock_holds_for_every_name_that_leads_to_the_journal(tmp_path: Path) -> None:
    """A link, to the file or to its folder, is no other journal."""
    journal = tmp_path / "rimewatch.db"
    journal.touch()
    by_link = tmp_path / "shop.db"
    by_link.symlink_to(journal)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.symlink_to(tmp_path, target_is_directory=True)

    for name in (by_link, elsewhere / "rimewatch.db", elsewhere / "shop.db"):
        with (
            only_one(journal),
            pytest.raises(Locked, match="another service"),
            only_one(name),
        ):
            pytest.fail(f"two services held one journal, by {name}")


def test_lock_of_a_killed_service_is_free_again(tmp_path: Path) -> None:
    """After a power cut nobody has to remove a file before the watch can go on."""
    journal = tmp_path / "rimewatch.db"
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(journal)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(Locked), only_one(journal):
            pytest.fail("a held lock was given")
        holder.kill()
        holder.wait(30)

    with only_one(journal):
        assert journal.with_name("rimewatch.db.lock").exists()


def test_lock_in_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """The folder's mistake is told as such, not as a second service."""
    with (
        pytest.raises(Locked, match="choose a journal in a folder"),
        only_one(tmp_path / "missing" / "rimewatch.db"),
    ):
        pytest.fail("a lock was made in a folder that is not there")
