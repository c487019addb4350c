"""A disk of two megabytes and some dozen files, that a test can fill and take writing from.

It is a real file system in memory. Where an ordinary user may have a namespace, only the processes
in that see it, and it goes with them; elsewhere root (or sudo, unasked) mounts it for all.
"""

import itertools
import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

import pytest

from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader

T = TypeVar("T")

SIZE = "size=2m,nr_inodes=64"
NAMESPACE = ("unshare", "--user", "--map-root-user", "--mount")
MOUNT_AND_HOLD = (
    # The memory that a stand-in uses is its own as well: it goes with the namespace.
    f'mount -t tmpfs -o {SIZE} none "$0" && mount -t tmpfs none /dev/shm'
    " && echo mounted && exec cat"
)


class SmallDisk:
    """A small disk at a folder, between ``__enter__`` and ``__exit__``.

    Args:
        folder: An empty folder; what runs by way of ``prefix`` finds the disk there.
        copies: An empty folder of the test's, where copies of the journal are looked into.
    """

    def __init__(self, folder: Path, copies: Path) -> None:
        self.folder = folder
        self._copies = copies
        self._holder: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        self.folder.mkdir()
        self._copies.mkdir()
        holder = subprocess.Popen(
            [*NAMESPACE, "sh", "-c", MOUNT_AND_HOLD, self.folder],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        assert holder.stdout is not None
        if holder.stdout.readline() == b"mounted\n":
            self._holder = holder
        else:
            holder.communicate()
            self._mount(f"{SIZE},uid={os.getuid()}")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._holder is not None:
            self._holder.communicate()
        else:
            subprocess.run([*self._as_root(), "umount", "--lazy", self.folder], check=True)

    @property
    def prefix(self) -> tuple[str, ...]:
        """A program that runs another where this disk is seen; none if all see it."""
        if self._holder is None:
            return ()
        return (
            *("nsenter", "--target", str(self._holder.pid)),
            *("--user", "--mount", "--preserve-credentials"),
        )

    def seen(self, name: str) -> Path:
        """Return where this process sees a file of the disk."""
        if self._holder is None:
            return self.folder / name
        return Path(f"/proc/{self._holder.pid}/root{self.folder}/{name}")

    def fill(self) -> None:
        """Write until it takes no more."""
        with (
            Path("/dev/zero").open("rb") as zeros,
            self.seen("ballast").open("wb", buffering=0) as ballast,
            pytest.raises(OSError, match="No space left"),
        ):
            shutil.copyfileobj(zeros, ballast)

    def use_up_inodes(self) -> None:
        """Make empty files until it takes no more of them; again, if some have gone since."""
        self.seen("names").mkdir(exist_ok=True)
        numbers = itertools.count(len(list(self.seen("names").iterdir())))
        with pytest.raises(OSError, match="No space left"):
            list(map(self._touch, numbers))

    def _touch(self, number: int) -> None:
        self.seen(f"names/{number}").touch()

    def give_inodes_back(self) -> None:
        """Take those files away."""
        shutil.rmtree(self.seen("names"))

    def make_room(self) -> None:
        """Take away what filled it."""
        self.seen("ballast").unlink()

    def remount(self, how: str) -> None:
        """Mount it anew, ``ro`` or ``rw``."""
        self._mount(f"remount,{how}")

    def _mount(self, options: str) -> None:
        subprocess.run(
            [*self._as_root(), "mount", "-t", "tmpfs", "-o", options, "none", self.folder],
            check=True,
            timeout=60,
        )

    def _as_root(self) -> tuple[str, ...]:
        if self._holder is not None:
            return self.prefix
        return () if os.geteuid() == 0 else ("sudo", "--non-interactive")

    def look(self, name: str, see: Callable[[JournalReader], T]) -> T | None:
        """Look into a copy of a journal on it; None if it was being written meanwhile.

        A copy, since SQLite follows links of its own accord, and would not find the disk.
        """
        for end in ("", "-wal"):
            copy = self._copies / f"{name}{end}"
            copy.unlink(missing_ok=True)
            if self.seen(f"{name}{end}").exists():
                shutil.copyfile(self.seen(f"{name}{end}"), copy)
        (self._copies / f"{name}-shm").unlink(missing_ok=True)
        try:
            with JournalReader.open(self._copies / name) as reader:
                return see(reader)
        except JournalError:
            return None
