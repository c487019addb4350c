"""What happened to the service itself, and which mornings had their summary.

Events are append-only: started, stopped, the broker lost our session, the configuration
was changed, the clock jumped.
"""

import sqlite3
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812 - the plain name is a parameter's


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRow:
    """Something that happened to the service."""

    id: int
    at_ms: int
    what: str
    detail: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SummaryRow:
    """A morning's summary as it was made."""

    date: Date
    text: str
    html: str
    page: str
    """Its sentences as JSON; empty where an older version made it."""


def add(connection: sqlite3.Connection, at_ms: int, what: str, detail: str = "") -> int:
    """Append an event; must be called inside a transaction.

    Args:
        connection: A writer's connection.
        at_ms: When.
        what: A short name, such as ``started`` or ``session-lost``.
        detail: The rest, in words, without secrets.

    Returns:
        Its number.
    """
    number = connection.execute(
        "INSERT INTO event (at_ms, what, detail) VALUES (?, ?, ?)", (at_ms, what, detail)
    ).lastrowid
    assert number is not None, "an insert gives its row's number"
    return number


def between(connection: sqlite3.Connection, from_ms: int, to_ms: int) -> list[EventRow]:
    """Return the events with ``from_ms <= at <= to_ms``, in order of time."""
    return [
        EventRow(id=id_, at_ms=at_ms, what=what, detail=detail)
        for id_, at_ms, what, detail in connection.execute(
            "SELECT id, at_ms, what, detail FROM event WHERE at_ms BETWEEN ? AND ?"
            " ORDER BY at_ms, id",
            (from_ms, to_ms),
        ).fetchall()
    ]


def of_kind(connection: sqlite3.Connection, what: str) -> list[EventRow]:
    """Return every event of a kind, the earliest first."""
    return [
        EventRow(id=id_, at_ms=at_ms, what=what, detail=detail)
        for id_, at_ms, detail in connection.execute(
            "SELECT id, at_ms, detail FROM event WHERE what = ? ORDER BY at_ms, id", (what,)
        ).fetchall()
    ]


def put_summary(
    connection: sqlite3.Connection, date: Date, text: str, html: str, page: str = ""
) -> bool:
    """Keep a morning's summary, once; must be called inside a transaction.

    Args:
        connection: A writer's connection.
        date: The local date of the morning.
        text: The summary as plain text.
        html: The same as a page.
        page: Its sentences as JSON, apart from their layout.

    Returns:
        False when that morning was done before; what was kept then stays.
    """
    return bool(
        connection.execute(
            "INSERT INTO summary (date, text, html, page) VALUES (?, ?, ?, ?)"
            " ON CONFLICT (date) DO NOTHING",
            (date.isoformat(), text, html, page),
        ).rowcount
    )


def summary_of(connection: sqlite3.Connection, date: Date) -> SummaryRow | None:
    """Return a morning's summary by its local date, if it was made."""
    found = connection.execute(
        "SELECT text, html, page FROM summary WHERE date = ?", (date.isoformat(),)
    ).fetchone()
    if found is None:
        return None
    return SummaryRow(date=date, text=found[0], html=found[1], page=found[2])


def summary_dates(
    connection: sqlite3.Connection, limit: int = 400, before: Date | None = None
) -> list[Date]:
    """Return the mornings that have a summary, the latest first; None: up to the last."""
    return [
        Date.fromisoformat(date)
        for (date,) in connection.execute(
            "SELECT date FROM summary WHERE ?1 IS NULL OR date < ?1 ORDER BY date DESC LIMIT ?2",
            (None if before is None else before.isoformat(), limit),
        ).fetchall()
    ]


def latest_summary(connection: sqlite3.Connection) -> SummaryRow | None:
    """Return the summary of the latest morning that has one."""
    found = connection.execute(
        "SELECT date, text, html, page FROM summary ORDER BY date DESC LIMIT 1"
    ).fetchone()
    if found is None:
        return None
    date, text, html, page = found
    return SummaryRow(date=Date.fromisoformat(date), text=text, html=html, page=page)
