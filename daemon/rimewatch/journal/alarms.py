"""The history of alarms, and who was told of them.

An alarm's whole value is kept as text that its owner writes and reads; the columns
beside it serve to find it.
"""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from rimewatch.evaluation.ledger import MessageRecord
from rimewatch.vocabulary import About, ContactId, Rule, UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRow:
    """An alarm as the journal keeps it."""

    id: str
    unit: UnitId | None
    rule: Rule
    raised_ms: int
    returned_ms: int | None
    """When all was normal again; None while it stands."""
    text: str


def put(
    connection: sqlite3.Connection,
    alarm_id: str,
    *,
    unit: UnitId | None,
    rule: Rule,
    raised_ms: int,
    returned_ms: int | None,
    text: str,
) -> None:
    """Write an alarm, in place of its former state; must be called inside a transaction.

    Each state stays in the table of changes as well, which only ever grows.

    Args:
        connection: A writer's connection.
        alarm_id: The same for all states of one alarm.
        unit: None for a cause common to several units.
        rule: What was found wrong.
        raised_ms: When it was raised.
        returned_ms: When all was normal again; None while it stands.
        text: The alarm's whole value, as JSON.
    """
    connection.execute(
        "INSERT INTO alarm (id, unit, rule, raised_ms, returned_ms, text)"
        " VALUES (?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (id) DO UPDATE SET unit = excluded.unit, rule = excluded.rule,"
        " raised_ms = excluded.raised_ms, returned_ms = excluded.returned_ms,"
        " text = excluded.text",
        (alarm_id, unit, str(rule), raised_ms, returned_ms, text),
    )
    connection.execute("INSERT INTO alarm_change (alarm_id, text) VALUES (?, ?)", (alarm_id, text))


_ALARM = "SELECT id, unit, rule, raised_ms, returned_ms, text FROM alarm"


def _alarms(rows: Iterable[tuple[Any, ...]]) -> list[AlarmRow]:
    return [
        AlarmRow(id=id_, unit=unit, rule=Rule(rule), raised_ms=raised, returned_ms=back, text=text)
        for id_, unit, rule, raised, back, text in rows
    ]


def get(connection: sqlite3.Connection, alarm_id: str) -> AlarmRow | None:
    """Return an alarm by its id, if there is one."""
    found = _alarms(connection.execute(f"{_ALARM} WHERE id = ?", (alarm_id,)))
    return found[0] if found else None


def between(connection: sqlite3.Connection, from_ms: int, to_ms: int) -> list[AlarmRow]:
    """Return the alarms that stood at some time in ``from_ms … to_ms``, by their raising."""
    return _alarms(
        connection.execute(
            f"{_ALARM} WHERE raised_ms <= ? AND (returned_ms IS NULL OR returned_ms >= ?)"
            " ORDER BY raised_ms, id",
            (to_ms, from_ms),
        )
    )


def page(
    connection: sqlite3.Connection, from_ms: int, to_ms: int, after: str | None, limit: int
) -> list[AlarmRow]:
    """Return at most so many of the same; those that follow an alarm, by its id."""
    return _alarms(
        connection.execute(
            "SELECT id, unit, rule, raised_ms, returned_ms, text FROM alarm"
            " WHERE raised_ms <= ?1 AND (returned_ms IS NULL OR returned_ms >= ?2)"
            " AND (?3 IS NULL"
            " OR (raised_ms, id) > (SELECT raised_ms, id FROM alarm WHERE id = ?3))"
            " ORDER BY raised_ms, id LIMIT ?4",
            (to_ms, from_ms, after, limit),
        )
    )


def add_message(
    connection: sqlite3.Connection,
    at_ms: int,
    contact: ContactId,
    unit: UnitId | None,
    rule: Rule | None,
    about: About,
    alarm_id: str | None = None,
) -> int:
    """Note a message to a contact; must be called inside a transaction.

    Unit and rule are None for a summary.

    Returns:
        Its number.
    """
    number = connection.execute(
        "INSERT INTO message (at_ms, contact, unit, rule, about, alarm_id)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        (at_ms, contact, unit, None if rule is None else str(rule), str(about), alarm_id),
    ).lastrowid
    assert number is not None, "an insert gives its row's number"
    return number


def messages_between(
    connection: sqlite3.Connection, from_ms: int, to_ms: int
) -> list[MessageRecord]:
    """Return the messages with ``from_ms <= at <= to_ms``, in order of time."""
    return [
        MessageRecord(
            at_ms=at_ms,
            contact=contact,
            unit=unit,
            rule=None if rule is None else Rule(rule),
            about=About(about),
            alarm_id=alarm_id,
            sent_ms=sent_ms,
            refused=error or "" if fate is not None and sent_ms is None else None,
        )
        for at_ms, contact, unit, rule, about, alarm_id, sent_ms, fate, error in connection.execute(
            "SELECT m.at_ms, m.contact, m.unit, m.rule, m.about, m.alarm_id,"
            " max(o.sent_ms), max(o.id), max(o.error) FROM message m LEFT JOIN outbox o"
            " ON o.at_ms = m.at_ms AND o.contact = m.contact AND o.about = m.about"
            " AND o.alarm_id IS m.alarm_id"
            " WHERE m.at_ms BETWEEN ? AND ? GROUP BY m.id ORDER BY m.at_ms, m.id",
            (from_ms, to_ms),
        )
    ]
