"""The table of what people entered: append-only, in the order it came.

Any process may add (a command beside the running service); the service asks for what
came after the last it has seen. A correction is a further entry: the table's triggers
refuse changes and deletions.
"""

import sqlite3
from dataclasses import dataclass, replace

from rimewatch.entries import (
    AnyEntry,
    CancelEntry,
    ChangeSettings,
    CorrectiveAction,
    CorrectPlace,
    WithdrawLot,
)
from rimewatch.journal.entry_codec import entry_from_json, entry_to_json
from rimewatch.vocabulary import LotId


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryRow:
    """An entry as the journal keeps it, with its number."""

    entry: AnyEntry
    source: str
    """By what way it came, such as ``cli``, ``page`` or ``trace``."""


def add(connection: sqlite3.Connection, entry: AnyEntry, source: str) -> int:
    """Append an entry; must be called inside a transaction.

    Args:
        connection: A writer's connection.
        entry: What was done.
        source: By what way it came, such as ``cli``, ``page`` or ``trace``.

    Returns:
        Its number; later entries have larger ones.

    Raises:
        EntryCodecError: If it holds what cannot be written down.
    """
    number = connection.execute(
        "INSERT INTO entry (at_ms, do, who, unit, lot, source, text) VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            entry.at_ms,
            entry.do,
            entry.who,
            getattr(entry, "unit", None),
            getattr(entry, "lot", None),
            source,
            entry_to_json(entry),
        ),
    ).lastrowid
    assert number is not None, "an insert gives its row's number"
    return number


def after(
    connection: sqlite3.Connection, number: int, limit: int = 10_000
) -> list[tuple[int, AnyEntry]]:
    """Return the entries with larger numbers, in the order they came.

    Args:
        connection: Any connection.
        number: The last one seen; 0 for all.
        limit: At most so many.
    """
    return [
        (found, replace(entry_from_json(text), entry_number=found))
        for found, text in connection.execute(
            "SELECT id, text FROM entry WHERE id > ? ORDER BY id LIMIT ?", (number, limit)
        ).fetchall()
    ]


def settings_changes(connection: sqlite3.Connection) -> list[ChangeSettings]:
    """Return every change of settings, in the order they came."""
    found = connection.execute(
        "SELECT id, text FROM entry WHERE do = ? ORDER BY id", (ChangeSettings.do,)
    ).fetchall()
    entries = [replace(entry_from_json(text), entry_number=number) for number, text in found]
    return [entry for entry in entries if isinstance(entry, ChangeSettings)]


def corrected_places(connection: sqlite3.Connection) -> list[CorrectPlace]:
    """Return what was said later of where probes had been, in the order it came."""
    found = connection.execute(
        "SELECT id, text FROM entry WHERE do = ? ORDER BY id", (CorrectPlace.do,)
    ).fetchall()
    entries = [replace(entry_from_json(text), entry_number=number) for number, text in found]
    return [entry for entry in entries if isinstance(entry, CorrectPlace)]


def at_hand(connection: sqlite3.Connection) -> list[tuple[int, AnyEntry]]:
    """Return the entries, in the order they came, but for those of lots that are gone.

    Ten years have a hundred thousand entries, nearly all of them of fish that was sold long ago.
    A lot counts as gone where its withdrawal was entered and nothing of it was ever cancelled:
    whether a cancellation brings it back is for the books to say.
    """
    return [
        (found, replace(entry_from_json(text), entry_number=found))
        for found, text in connection.execute(
            "SELECT id, text FROM entry WHERE lot IS NULL OR lot NOT IN"
            " (SELECT lot FROM entry WHERE do = ?"
            "  EXCEPT SELECT lot FROM entry WHERE id IN"
            "   (SELECT json_extract(text, '$.number') FROM entry WHERE do = ?))"
            " ORDER BY id",
            (WithdrawLot.do, CancelEntry.do),
        ).fetchall()
    ]


def page(
    connection: sqlite3.Connection, number: int, from_ms: int, to_ms: int, limit: int
) -> list[EntryRow]:
    """Return those with larger numbers and ``from_ms <= at <= to_ms``, in the order they came."""
    return [
        EntryRow(entry=replace(entry_from_json(text), entry_number=found), source=source)
        for found, source, text in connection.execute(
            "SELECT id, source, text FROM entry WHERE id > ? AND at_ms BETWEEN ? AND ?"
            " ORDER BY id LIMIT ?",
            (number, from_ms, to_ms, limit),
        ).fetchall()
    ]


def about_lot(connection: sqlite3.Connection, lot: LotId) -> list[AnyEntry]:
    """Return a lot's entries, and those that may be about any lot.

    A cancellation names a number, and what was done names several lots or none.
    """
    return [
        replace(entry_from_json(text), entry_number=found)
        for found, text in connection.execute(
            "SELECT id, text FROM entry WHERE lot = ? OR do IN (?, ?) ORDER BY id",
            (lot, CancelEntry.do, CorrectiveAction.do),
        ).fetchall()
    ]
