"""Spoils a journal's file, a sector or a page at a time, and counts which look finds it.

    python tests/faults/spoil.py --times 100 --seed 3

Each time one place of a sealed journal is overwritten, by zeros or by noise, looked over quickly
and in full, and put right again. Whatever the look in full lets pass must hold nothing that a query
could read: then the file reads to the same bytes as before.
"""

import argparse
import hashlib
import json
import random
import sqlite3
import sys
import tempfile
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

import click
import year_journal

from rimewatch.journal import Journal, JournalError
from rimewatch.service.file_look import look
from rimewatch.vocabulary import MS_PER_DAY

PROBES: Final = 10
DAYS: Final = 20
QUICK: Final = "found by the quick look"
PAGES: Final = "found in full: the pages are not sound"
RECORD: Final = "found in full: sound pages, and a record that is not"
HARMLESS: Final = "let pass: nothing that a query could read"
COUNTED: Final = (QUICK, PAGES, RECORD, HARMLESS)
SIZES: Final = {"sector": 512, "page": 4096}


def spoil(times: int, seed: int) -> dict[str, dict[str, int]]:
    """Spoil so many places of each kind; return how many each look found.

    Raises:
        AssertionError: If the look in full lets pass what a query can read.
    """
    found: dict[str, dict[str, int]] = {}
    with tempfile.TemporaryDirectory(prefix="rimewatch-spoil-") as name:
        path = Path(name) / "rimewatch.db"
        year_journal.make(path, PROBES, DAYS)
        with Journal.open(path) as journal:
            while journal.seal_days("UTC", year_journal.START_MS + (DAYS + 2) * MS_PER_DAY):
                pass
            journal.checkpoint_wal()
        assert _outcome(path, in_full=True) is None
        whole, dice = _contents(path), random.Random(seed)
        for kind, size in SIZES.items():
            for by in ("zeros", "noise"):
                tally = Counter(dict.fromkeys(COUNTED, 0))
                for _ in range(times):
                    at = dice.randrange(path.stat().st_size // size) * size
                    noise = dice.randbytes(size) if by == "noise" else bytes(size)
                    before = _write(path, at, noise)
                    tally[QUICK] += _outcome(path, in_full=False) is not None
                    outcome = _outcome(path, in_full=True)
                    tally[outcome or HARMLESS] += 1
                    if outcome is None:
                        assert _contents(path) == whole, f"the {kind} at {at} was let pass"
                    _write(path, at, before)
                found[f"{kind}, {by}"] = dict(tally)
    return found


def _outcome(path: Path, *, in_full: bool) -> str | None:
    """Return what a look finds; None: nothing."""
    try:
        return RECORD if look(path, in_full=in_full) else None
    except JournalError:
        return PAGES


def _write(path: Path, at: int, what: bytes) -> bytes:
    """Overwrite a place; return what was there."""
    with path.open("r+b") as file:
        file.seek(at)
        before = file.read(len(what))
        file.seek(at)
        file.write(what)
    return before


def _contents(path: Path) -> str:
    """Return a mark of every row of every table; an error of SQLite's is another mark."""
    mark = hashlib.sha256()
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        try:
            tables = "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name"
            for (table,) in connection.execute(tables).fetchall():
                for row in connection.execute(f"SELECT * FROM {table}"):
                    mark.update(repr(row).encode())
        except sqlite3.Error as error:
            return str(error)
    return mark.hexdigest()


def main() -> None:
    """Run it as a program."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--times", type=int, default=100)
    parser.add_argument("--seed", type=int, default=3)
    chosen = parser.parse_args()
    click.echo(json.dumps(spoil(chosen.times, chosen.seed), indent=2))


if __name__ == "__main__":
    main()
