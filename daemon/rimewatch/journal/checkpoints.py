"""What the evaluator remembers of itself: checkpoints by time, and states by name.

A checkpoint at an instant holds the effect of all readings up to and including it. A
late reading makes those at or after its own time void: they are dropped, and the unit
is folded again from the one before. Close together for the last two days, one for each
UTC day before, none older than a backlog may reach.
"""

import sqlite3
from typing import Final

from rimewatch.vocabulary import MS_PER_DAY

DENSE_MS: Final = 2 * MS_PER_DAY
"""Within this of the newest, all checkpoints of a name stay (our choice)."""

REACH_MS: Final = 31 * MS_PER_DAY
"""Older ones go: a reading's own time is believed up to 30 days back."""

EVALUATOR_STATE: Final = "evaluator"
ALARM_STATE: Final = "alarms"
"""What the watch cannot go on without."""


def save(connection: sqlite3.Connection, name: str, at_ms: int, text: str) -> None:
    """Save a checkpoint and thin out the old ones; must be called inside a transaction.

    Args:
        connection: A writer's connection.
        name: Whose, such as a unit's.
        at_ms: The instant up to which readings are in it, inclusive.
        text: The state, as JSON.
    """
    connection.execute(
        "INSERT INTO checkpoint (name, at_ms, text) VALUES (?, ?, ?)"
        " ON CONFLICT (name, at_ms) DO UPDATE SET text = excluded.text",
        (name, at_ms, text),
    )
    newest_ms = connection.execute(
        "SELECT max(at_ms) FROM checkpoint WHERE name = ?", (name,)
    ).fetchone()[0]
    connection.execute(
        "DELETE FROM checkpoint WHERE name = ?1 AND at_ms < ?2 AND EXISTS ("
        " SELECT 1 FROM checkpoint AS earlier WHERE earlier.name = ?1"
        "  AND earlier.at_ms < checkpoint.at_ms"
        "  AND earlier.at_ms >= checkpoint.at_ms - checkpoint.at_ms % ?3)",
        (name, newest_ms - DENSE_MS, MS_PER_DAY),
    )
    # One beyond the reach stays, so that a reading at its very edge finds a start.
    connection.execute(
        "DELETE FROM checkpoint WHERE name = ?1 AND at_ms <"
        " (SELECT max(at_ms) FROM checkpoint WHERE name = ?1 AND at_ms < ?2)",
        (name, newest_ms - REACH_MS),
    )


def latest(
    connection: sqlite3.Connection, name: str, before_ms: int | None = None
) -> tuple[int, str] | None:
    """Return instant and text of the newest checkpoint with ``at < before_ms``, if any.

    Args:
        connection: Any connection.
        name: Whose.
        before_ms: None for the newest of all.
    """
    found = connection.execute(
        "SELECT at_ms, text FROM checkpoint WHERE name = ?1 AND (?2 IS NULL OR at_ms < ?2)"
        " ORDER BY at_ms DESC LIMIT 1",
        (name, before_ms),
    ).fetchone()
    return None if found is None else (found[0], found[1])


def drop(connection: sqlite3.Connection, name: str, from_ms: int) -> int:
    """Drop the checkpoints with ``at >= from_ms``; must be called inside a transaction.

    Returns:
        How many were dropped.
    """
    return connection.execute(
        "DELETE FROM checkpoint WHERE name = ? AND at_ms >= ?", (name, from_ms)
    ).rowcount


def save_state(connection: sqlite3.Connection, name: str, text: str) -> None:
    """Save a state in place of the former one; must be called inside a transaction."""
    connection.execute(
        "INSERT INTO state (name, text) VALUES (?, ?)"
        " ON CONFLICT (name) DO UPDATE SET text = excluded.text",
        (name, text),
    )


def drop_state(connection: sqlite3.Connection, name: str) -> None:
    """Drop a state, if it is there; must be called inside a transaction."""
    connection.execute("DELETE FROM state WHERE name = ?", (name,))


def load_state(connection: sqlite3.Connection, name: str) -> str | None:
    """Return a state by its name, if it was ever saved."""
    found = connection.execute("SELECT text FROM state WHERE name = ?", (name,)).fetchone()
    return None if found is None else str(found[0])
