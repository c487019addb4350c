"""Reading times that came with differing values, as the journal notes them."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from rimewatch.vocabulary import ProbeId


def conflict_counts(journal: Path) -> dict[ProbeId, int]:
    """Return how many reading times of each probe came with differing values."""
    return {
        ProbeId(probe): total
        for probe, total in _rows(
            journal, "SELECT id, total FROM reading_conflict_count JOIN probe ON no = probe_no"
        )
    }


def conflicts(journal: Path, probe: ProbeId) -> list[tuple[int, float]]:
    """Return a probe's latest ones, oldest first: the time, and the lowest value that came."""
    rows = _rows(
        journal,
        "SELECT observed_ms, lowest_milli FROM reading_conflict JOIN probe ON no = probe_no"
        " WHERE id = ? ORDER BY observed_ms",
        probe,
    )
    return [(observed_ms, lowest / 1000) for observed_ms, lowest in rows]


def _rows(journal: Path, question: str, *given: str) -> list[Any]:
    with closing(sqlite3.connect(f"file:{journal}?mode=ro", uri=True)) as connection:
        return connection.execute(question, given).fetchall()
