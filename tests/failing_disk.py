"""A disk that fails to read, write or sync the journal when a test says so, for a real process.

The system's calls answer EIO, as they do for a disk that dies, by a small library that is loaded
before the C library and made with the machine's compiler.
"""

import shutil
import subprocess
from enum import StrEnum
from pathlib import Path

import pytest

SOURCE = Path(__file__).with_suffix(".c")


class Failing(StrEnum):
    """What the disk does not do."""

    READS = "r"
    WRITES = "w"
    SYNCS = "s"


class FailingDisk:
    """What stands between a process and the journal's files.

    Args:
        folder: An empty folder, for the library and what it looks at.
        name: Of the files that fail: a part of it.
    """

    def __init__(self, folder: Path, name: str) -> None:
        compiler = shutil.which("cc") or shutil.which("gcc")
        if compiler is None:
            pytest.skip("no C compiler here: a disk that answers EIO cannot be played")
        library = folder / "failing-disk.so"
        subprocess.run(
            [compiler, "-shared", "-fPIC", "-O1", "-o", library, SOURCE, "-ldl"], check=True
        )
        self._control = folder / "failing"
        self.prefix = (
            "env",
            f"LD_PRELOAD={library}",
            f"FAILING_NAME={name}",
            f"FAILING_CONTROL={self._control}",
        )
        """A program that runs another with this disk."""
        self.heal()

    def fail(self, *what: Failing) -> None:
        """Fail from now on, in these."""
        new = self._control.with_suffix(".new")
        new.write_text("".join(what))
        new.replace(self._control)

    def heal(self) -> None:
        """Do everything from now on."""
        self.fail()
