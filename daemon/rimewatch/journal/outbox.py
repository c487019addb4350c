"""Messages that wait to be sent: one row for each contact, kept until it is sent.

Written in the transaction of what caused them, so that no alarm is known to the record
and not to the outbox. Numbers are never used twice. Sends nothing itself.
"""

import sqlite3
from dataclasses import dataclass
from typing import Final

from rimewatch.vocabulary import About, ContactId

SUPERSEDED: Final = "superseded: a later message tells more"
"""What is noted of a message that was given up for a later one to the same contact."""

ERROR_KEPT: Final = 500
"""Characters kept of a failure's text (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxRow:
    """A message that waits to be sent."""

    id: int
    at_ms: int
    contact: ContactId
    alarm_id: str | None
    about: About
    title: str
    body: str
    idempotency_key: str
    urgent: bool
    attempts: int
    """How often it was tried in vain."""
    error: str
    """What the last try said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """What became of a message so far."""

    contact: ContactId
    sent_ms: int | None
    """None: no service has taken it."""
    given_up_ms: int | None
    error: str
    """What the last try said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Backlog:
    """How much waits, and for how long."""

    waiting: int
    urgent: int
    """How many of those that wait may wake somebody."""
    oldest_ms: int | None
    """When the oldest of those that wait was made; None when nothing waits."""
    failing: int
    """How many of those that wait were tried in vain at least once."""
    given_up: int
    """How many were given up and will not be tried again; those superseded are not counted."""


def add(
    connection: sqlite3.Connection,
    *,
    at_ms: int,
    contact: ContactId,
    alarm_id: str | None,
    about: About,
    title: str,
    body: str,
    idempotency_key: str,
    not_before_ms: int,
    urgent: bool,
) -> int | None:
    """Add a message; must be called inside a transaction.

    Returns:
        Its number; None when one with this key is there already, sent or not.
    """
    cursor = connection.execute(
        "INSERT INTO outbox (at_ms, contact, alarm_id, about, title, body, idempotency_key,"
        " next_ms, urgent) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (idempotency_key) DO NOTHING",
        (
            at_ms,
            contact,
            alarm_id,
            str(about),
            title,
            body,
            idempotency_key,
            not_before_ms,
            int(urgent),
        ),
    )
    return cursor.lastrowid if cursor.rowcount else None


def due(connection: sqlite3.Connection, now_ms: int, limit: int = 100) -> list[OutboxRow]:
    """Return what may be sent by now: the urgent first, then in the order it was added."""
    return [
        OutboxRow(
            id=row[0],
            at_ms=row[1],
            contact=row[2],
            alarm_id=row[3],
            about=About(row[4]),
            title=row[5],
            body=row[6],
            idempotency_key=row[7],
            urgent=bool(row[8]),
            attempts=row[9],
            error=row[10],
        )
        for row in connection.execute(
            "SELECT id, at_ms, contact, alarm_id, about, title, body, idempotency_key, urgent,"
            " attempts, error FROM outbox"
            " WHERE sent_ms IS NULL AND given_up_ms IS NULL AND next_ms <= ?"
            " ORDER BY urgent DESC, id LIMIT ?",
            (now_ms, limit),
        ).fetchall()
    ]


def of_alarm(connection: sqlite3.Connection, alarm_id: str) -> list[Fate]:
    """Return what became of the messages about an alarm, in the order they were made."""
    return [
        Fate(contact=contact, sent_ms=sent_ms, given_up_ms=given_up_ms, error=error)
        for contact, sent_ms, given_up_ms, error in connection.execute(
            "SELECT contact, sent_ms, given_up_ms, error FROM outbox WHERE alarm_id = ?"
            " ORDER BY id",
            (alarm_id,),
        ).fetchall()
    ]


def sent(connection: sqlite3.Connection, number: int, at_ms: int) -> bool:
    """Mark a message as sent; must be called inside a transaction.

    Returns:
        False when there is no such message or it was marked before.
    """
    return bool(
        connection.execute(
            "UPDATE outbox SET sent_ms = ?, tried_ms = ?, error = ''"
            " WHERE id = ? AND sent_ms IS NULL",
            (at_ms, at_ms, number),
        ).rowcount
    )


def supersede(
    connection: sqlite3.Connection, contact: ContactId, alarm_id: str, key: str, at_ms: int
) -> int:
    """Give up what waits for a contact about an alarm, because a later message is being made.

    One that is on its way at this moment may still arrive; that is noted then. Must be
    called inside a transaction, before the later message is added.

    Args:
        connection: A writer's connection.
        contact: Whose messages.
        alarm_id: About which alarm.
        key: The later message's idempotency key: where that is there already, it stays.
        at_ms: When the later one was made.

    Returns:
        How many were given up.
    """
    return connection.execute(
        "UPDATE outbox SET given_up_ms = ?, error = ?"
        " WHERE contact = ? AND alarm_id = ? AND idempotency_key <> ?"
        " AND sent_ms IS NULL AND given_up_ms IS NULL",
        (at_ms, SUPERSEDED, contact, alarm_id, key),
    ).rowcount


def failed(
    connection: sqlite3.Connection, number: int, at_ms: int, next_ms: int | None, error: str
) -> bool:
    """Note a try in vain; must be called inside a transaction.

    Args:
        connection: A writer's connection.
        number: The message's.
        at_ms: When it was tried.
        next_ms: When to try again; None gives it up.
        error: What went wrong, without secrets; its beginning is kept.

    Returns:
        False when there is no such message, or it was sent or superseded meanwhile.
    """
    return bool(
        connection.execute(
            "UPDATE outbox SET attempts = attempts + 1, tried_ms = ?1, error = ?2,"
            " next_ms = coalesce(?3, next_ms),"
            " given_up_ms = CASE WHEN ?3 IS NULL THEN ?1 ELSE NULL END"
            " WHERE id = ?4 AND sent_ms IS NULL AND error <> ?5",
            (at_ms, error[:ERROR_KEPT], next_ms, number, SUPERSEDED),
        ).rowcount
    )


def bring_forward(connection: sqlite3.Connection, now_ms: int) -> int:
    """Let everything that waits be due by now; must be called inside a transaction.

    Returns:
        How many messages waited for a later time.
    """
    return connection.execute(
        "UPDATE outbox SET next_ms = ?1"
        " WHERE next_ms > ?1 AND sent_ms IS NULL AND given_up_ms IS NULL",
        (now_ms,),
    ).rowcount


def backlog(connection: sqlite3.Connection) -> Backlog:
    """Return how much waits."""
    waiting, urgent, oldest_ms, failing = connection.execute(
        "SELECT count(*), coalesce(sum(urgent), 0), min(at_ms), coalesce(sum(attempts > 0), 0)"
        " FROM outbox WHERE sent_ms IS NULL AND given_up_ms IS NULL"
    ).fetchone()
    (given_up,) = connection.execute(
        "SELECT count(*) FROM outbox WHERE given_up_ms IS NOT NULL AND sent_ms IS NULL"
        " AND error <> ?",
        (SUPERSEDED,),
    ).fetchone()
    return Backlog(
        waiting=waiting, urgent=urgent, oldest_ms=oldest_ms, failing=failing, given_up=given_up
    )


def prune(connection: sqlite3.Connection, before_ms: int) -> int:
    """Drop what was sent or given up before an instant; must be called inside a transaction.

    Their keys are forgotten with them: choose an instant further back than any message
    could be made again (a re-evaluation reaches 30 days back).

    Returns:
        How many were dropped.
    """
    return connection.execute(
        "DELETE FROM outbox WHERE sent_ms < ?1 OR given_up_ms < ?1", (before_ms,)
    ).rowcount
