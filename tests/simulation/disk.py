"""SQLite's real file under a disk that fails: full, slow, locked, torn in the middle of a commit.

The connection is SQLite's own; statements pass through here on their way. After a crash
the file is what a disk may have kept: everything that was synced, and of a commit that
was under way any part.
"""

import json
import random
import sqlite3
from collections.abc import Callable
from os.path import commonprefix
from pathlib import Path
from typing import Any, Final

from rimewatch.journal.checkpoints import EVALUATOR_STATE
from rimewatch.journal.journal import Journal
from simulation.plan import Kind
from simulation.world import World

PAGE: Final = 4096
FULL: Final = (sqlite3.SQLITE_FULL, "database or disk is full")
FAILS: Final = (sqlite3.SQLITE_IOERR_FSYNC, "disk I/O error")

Image = dict[str, bytes]


def failure(code: int, text: str) -> sqlite3.OperationalError:
    """Return an error as SQLite's module raises it."""
    error = sqlite3.OperationalError(text)
    error.sqlite_errorcode = code
    return error


class Disk:
    """The journal's file, and everything that is wrong with its disk now."""

    def __init__(self, world: World, chance: random.Random, path: Path) -> None:
        self.world = world
        self.path = path
        self._chance = chance
        self.slow_ms = 0
        self.fails: tuple[int, str] | None = None
        """With what commits fail; None: they do not."""
        self.full = False
        self.others: list[sqlite3.Connection] = []
        """Other programs' connections."""
        self.last_text = ""
        """What the last commit remembered of the evaluator."""

    def files(self) -> Image:
        """Return what is in the file and its log now."""
        found = {}
        for suffix in ("", "-wal"):
            path = Path(f"{self.path}{suffix}")
            if path.exists():
                found[suffix] = path.read_bytes()
        return found

    def put_back(self, image: Image) -> None:
        """Let the disk hold what it kept; nobody may have it open."""
        for other in self.others:
            other.close()
        self.others.clear()
        for suffix in ("", "-wal", "-shm"):
            Path(f"{self.path}{suffix}").unlink(missing_ok=True)
        for suffix, content in image.items():
            Path(f"{self.path}{suffix}").write_bytes(content)

    def torn(self, before: Image, after: Image) -> Image:
        """Return what a power cut in the middle of a commit may leave.

        The log is synced before the file is touched, and the file before the log begins
        anew: so either the log's new part is torn, or, with the log whole, the file's.
        """
        if before.get("", b"") != after[""] and self._chance.random() < 0.5:
            return {**after, "": self._mixed(before.get("", b""), after[""])}
        old, new = before.get("-wal", b""), after.get("-wal", b"")
        # Bytes, not paths; a write harms nothing beside it (SQLite's powersafe overwrite).
        low = len(commonprefix([old, new]))  # noqa: RUF071
        cut = self._chance.randrange(low, len(new) + 1) if len(new) > low else len(new)
        rest = self._chance.choice(["short", "old", "garbage", "holes"])
        if rest == "short":
            log = new[:cut]
        elif rest == "old":
            log = new[:cut] + old[cut:]
        elif rest == "garbage":
            log = new[:cut] + self._chance.randbytes(len(new) - cut)
        else:
            log = bytearray(new)
            for at in range(low, len(new), 512):
                if self._chance.random() < 0.3:
                    log[max(at, low) : at + 512] = bytes(len(log[max(at, low) : at + 512]))
            log = bytes(log)
        return {"": before.get("", b""), "-wal": log}

    def _mixed(self, old: bytes, new: bytes) -> bytes:
        pages = []
        for at in range(0, len(new), PAGE):
            page, former = new[at : at + PAGE], old[at : at + PAGE].ljust(PAGE, b"\0")
            if page != former:
                cut = self._chance.choice([0, 512, 2048, PAGE])
                page = page[:cut] + former[cut:]
            pages.append(page)
        return b"".join(pages)


class PlayedConnection(sqlite3.Connection):
    """SQLite's own connection, on the played disk of one life."""

    life: Any
    _writes = False
    _capped = False
    _told: dict[str, Any] | None = None
    _text = ""

    def execute(self, sql: str, *rest: Any) -> sqlite3.Cursor:
        self.life.before_statement()
        if sql == "COMMIT" and self._writes:
            return self._commit()
        if sql.startswith("BEGIN"):
            self._writes = False  # a full disk may have ended the last one without a word
        if sql == "BEGIN IMMEDIATE":
            self._cap()
        elif self._writes and sql != "ROLLBACK":
            if sql.startswith("INSERT INTO state") and rest[0][0] == EVALUATOR_STATE:
                self._text = rest[0][1]
                self._told = json.loads(self._text)
            self.life.before_write()
        try:
            done = super().execute(sql, *rest)
        except sqlite3.OperationalError as error:
            self._count(error)
            raise
        if sql == "BEGIN IMMEDIATE":
            self._writes, self._told = True, None
        elif sql == "ROLLBACK":
            self._writes = False
        return done

    def executemany(self, sql: str, *rest: Any) -> sqlite3.Cursor:
        self.life.before_statement()
        self.life.before_write()
        try:
            return super().executemany(sql, *rest)
        except sqlite3.OperationalError as error:
            self._count(error)
            raise

    def _count(self, error: sqlite3.OperationalError) -> None:
        code = error.sqlite_errorcode & 0xFF
        kinds = {sqlite3.SQLITE_FULL: Kind.DISK_FULL, sqlite3.SQLITE_BUSY: Kind.LOCKED}
        if code in kinds:
            self.life.disk.world.touched[kinds[code]] += 1

    def _cap(self) -> None:
        """Let the file grow no further while the disk is full."""
        if self.life.disk.full != self._capped:
            pages = (
                super().execute("PRAGMA page_count").fetchone()[0] if self.life.disk.full else 2**30
            )
            super().execute(f"PRAGMA max_page_count = {pages}")
            self._capped = self.life.disk.full

    def _commit(self) -> sqlite3.Cursor:
        if self.life.disk.slow_ms:
            self.life.disk.world.touched[Kind.DISK_SLOW] += 1
            self.life.disk.world.move(self.life.disk.slow_ms)
        if self.life.disk.fails is not None:
            self.life.disk.world.touched[Kind.DISK_FAILS] += 1
            if self.life.disk.fails is FULL:  # SQLite has undone it all by then
                super().execute("ROLLBACK")
                self._writes = False
            raise failure(*self.life.disk.fails)
        told = self._told
        self.life.before_commit()
        tears = (
            told is not None and self._text != self.life.disk.last_text and self.life.tears_commit()
        )
        before = self.life.disk.files() if tears else None
        done = super().execute("COMMIT")
        self._writes = False
        if before is not None:
            self.life.die(
                self.life.disk.torn(before, self.life.disk.files()), told=told, text=self._text
            )
        if told is not None:
            self.life.disk.last_text = self._text
            self.life.committed(told)
        self.life.after_commit(has_batch=told is not None)
        return done


def journal_opener(life: Any) -> Callable[[Path], Journal]:
    """Return how the service opens its journal on the played disk."""
    kind = type("ItsConnection", (PlayedConnection,), {"life": life})
    return lambda path: Journal.open(path, busy_s=0, connection_type=kind)
