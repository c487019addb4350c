"""What was not believed, bounded: the newest rows, and counts that go on.

However much nonsense a broker sends, and under however many topics, the tables stay
small: rows, topics, text and the bytes of payloads are all bounded, and what goes is
counted. Counts by reason are kept by the hour.
"""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rimewatch.readings import PAYLOAD_START_BYTES, Quarantined, Reason
from rimewatch.vocabulary import MS_PER_H, ProbeId

ROWS_KEPT: Final = 10_000
TOPICS_KEPT: Final = 1_000
TOPIC_KEPT: Final = 256
"""Characters kept of a topic."""
DETAIL_KEPT: Final = 500
"""Characters kept of a detail."""
PAYLOAD_KEPT: Final = 65_536
"""Bytes of the longest payload that is kept whole: the longest that is decoded at all."""
PAYLOADS_KEPT: Final = 16 << 20
"""Bytes of all payloads kept whole. These bounds are our choice."""

OTHER_TOPICS: Final = ""
"""Stands for the topics that are no longer counted apart; no MQTT topic is empty.

Source: MQTT 5.0, section 4.7.3: topic names are at least one character long.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuarantineCounts:
    """How much was put into quarantine."""

    total: int
    by_reason: dict[Reason, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuarantineRoom:
    """What is kept of quarantine, and what had to go for want of room."""

    messages: int
    """Rows kept."""
    cut_off: int
    """Of these, whose payload is known by its start alone."""
    payload_bytes: int
    """Of the payloads kept whole beside the rows."""
    payloads_dropped: int
    """Payloads that were kept whole, or would have been, and whose start alone is left."""
    messages_dropped: int
    """Rows that are gone altogether; the counts by reason and topic still have them."""


def add(
    connection: sqlite3.Connection,
    items: Sequence[Quarantined],
    *,
    rows_kept: int = ROWS_KEPT,
    topics_kept: int = TOPICS_KEPT,
    payloads_kept: int = PAYLOADS_KEPT,
) -> None:
    """Keep what was not believed; must be called inside a transaction.

    Args:
        connection: A writer's connection.
        items: In order of arrival.
        rows_kept: The newest rows that stay.
        topics_kept: The topics counted apart: those with the largest counts.
        payloads_kept: Bytes of payloads kept whole; the oldest go.
    """
    if not items:
        return
    newest = items[-rows_kept:]
    payload_ids = _add_payloads(connection, newest, payloads_kept)
    connection.executemany(
        "INSERT INTO quarantine"
        " (arrived_ms, topic, probe, reason, detail, payload_start, payload_id)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (
                item.arrived_ms,
                _topic(item),
                item.probe,
                str(item.reason),
                _storable(item.detail[:DETAIL_KEPT]),
                item.payload_start[:PAYLOAD_START_BYTES],
                payload_id,
            )
            for item, payload_id in zip(newest, payload_ids, strict=True)
        ],
    )
    # Rows go from the lower end; one taken out in between leaves room for none.
    gone = connection.execute(
        "DELETE FROM quarantine WHERE id <= (SELECT max(id) FROM quarantine) - ?"
        " RETURNING payload_id",
        (rows_kept,),
    ).fetchall()
    _drop_orphans(connection, gone)
    if lost := len(items) - len(newest) + len(gone):
        connection.execute(
            "UPDATE quarantine_room SET messages_dropped = messages_dropped + ?", (lost,)
        )
    reasons = Counter((item.arrived_ms // MS_PER_H, str(item.reason)) for item in items)
    connection.executemany(
        "INSERT INTO quarantine_reason (hour, reason, total) VALUES (?, ?, ?)"
        " ON CONFLICT DO UPDATE SET total = total + excluded.total",
        [(*key, count) for key, count in reasons.items()],
    )
    _count_topics(connection, items, topics_kept)


def _add_payloads(
    connection: sqlite3.Connection, items: Sequence[Quarantined], payloads_kept: int
) -> list[int | None]:
    """Keep payloads whole, as far as there is room; return each item's, in the items' order.

    The values of one message share one. Of a batch that has no room the newest are kept.
    """
    messages: list[tuple[object, bytes | None]] = []
    places: list[int] = []
    for item in items:
        whole = item.whole if item.whole and len(item.whole) <= PAYLOAD_KEPT else None
        message = (item.arrived_ms, item.topic), whole
        if not messages or messages[-1] != message:
            messages.append(message)
        places.append(len(messages) - 1)
    room, first = payloads_kept, len(messages)
    while first and (room := room - len(messages[first - 1][1] or b"")) >= 0:
        first -= 1
    added = sum(len(whole or b"") for _, whole in messages[first:])
    lost = sum(whole is not None for _, whole in messages[:first])
    lost += _make_room(connection, payloads_kept - added)
    if lost:
        connection.execute(
            "UPDATE quarantine_room SET payloads_dropped = payloads_dropped + ?", (lost,)
        )
    ids = [
        None
        if whole is None or place < first
        else connection.execute(
            "INSERT INTO quarantine_payload (payload) VALUES (?)", (whole,)
        ).lastrowid
        for place, (_, whole) in enumerate(messages)
    ]
    return [ids[place] for place in places]


def _make_room(connection: sqlite3.Connection, most_bytes: int) -> int:
    """Drop the oldest payloads until so many bytes are left at most; return how many went."""
    (held,) = connection.execute("SELECT payload_bytes FROM quarantine_room").fetchone()
    if held <= most_bytes:
        return 0
    rows = connection.execute("SELECT id, length(payload) FROM quarantine_payload ORDER BY id")
    last = 0
    while held > most_bytes:
        last, size = rows.fetchone()
        held -= size
    rows.close()
    return connection.execute("DELETE FROM quarantine_payload WHERE id <= ?", (last,)).rowcount


def _drop_orphans(connection: sqlite3.Connection, gone: Sequence[tuple[int | None]]) -> None:
    """Drop payloads of rows that are gone, but for those that other rows share."""
    connection.executemany(
        "DELETE FROM quarantine_payload WHERE id = ?1"
        " AND NOT EXISTS (SELECT 1 FROM quarantine WHERE payload_id = ?1)",
        [(payload_id,) for payload_id in {row[0] for row in gone} if payload_id is not None],
    )


def _topic(item: Quarantined) -> str:
    return _storable(item.topic[:TOPIC_KEPT])


def _storable(text: str) -> str:
    # A lone surrogate (JSON can spell one) is no UTF-8: without this, the very row that
    # tells of the nonsense could not be written, and its batch would fail for ever.
    return text.encode(errors="replace").decode()


def _count_topics(
    connection: sqlite3.Connection, items: Sequence[Quarantined], topics_kept: int
) -> None:
    counts = Counter(_topic(item) for item in items)
    last_ms = max(item.arrived_ms for item in items)
    known = connection.execute("SELECT count(*) FROM quarantine_topic").fetchone()[0]
    connection.executemany(
        "INSERT INTO quarantine_topic (topic, total, last_ms) VALUES (?, ?, ?)"
        " ON CONFLICT DO UPDATE SET total = total + excluded.total,"
        " last_ms = max(last_ms, excluded.last_ms)",
        [(topic, count, last_ms) for topic, count in counts.items()],
    )
    if known + len(counts) <= topics_kept:
        return
    # Those with few messages go, the longest unheard first: a probe with a mistyped topic
    # sends on and on and stays in sight, a flood of topics used once does not push it out.
    dropped = connection.execute(
        "DELETE FROM quarantine_topic WHERE topic IN (SELECT topic FROM quarantine_topic"
        " WHERE topic <> ? ORDER BY total DESC, last_ms DESC, topic LIMIT -1 OFFSET ?)"
        " RETURNING total, last_ms",
        (OTHER_TOPICS, topics_kept),
    ).fetchall()
    if dropped:
        connection.execute(
            "INSERT INTO quarantine_topic (topic, total, last_ms) VALUES (?, ?, ?)"
            " ON CONFLICT DO UPDATE SET total = total + excluded.total,"
            " last_ms = max(last_ms, excluded.last_ms)",
            (OTHER_TOPICS, sum(row[0] for row in dropped), max(row[1] for row in dropped)),
        )


def drop(connection: sqlite3.Connection, numbers: Sequence[int]) -> None:
    """Take out rows by their numbers; must be called inside a transaction."""
    gone = [
        row
        for number in numbers
        for row in connection.execute(
            "DELETE FROM quarantine WHERE id = ? RETURNING payload_id", (number,)
        ).fetchall()
    ]
    _drop_orphans(connection, gone)


def latest(connection: sqlite3.Connection, limit: int = 100) -> list[Quarantined]:
    """Return the newest that are kept, newest first, by the starts of their payloads."""
    return [kept for _, kept in numbered(connection, limit)]


def numbered(connection: sqlite3.Connection, limit: int = 100) -> list[tuple[int, Quarantined]]:
    """Return the same with the number of each row; :func:`whole` gives its payload."""
    return [
        (
            row[6],
            Quarantined(
                arrived_ms=row[0],
                topic=row[1],
                probe=None if row[2] is None else ProbeId(row[2]),
                reason=Reason(row[3]),
                detail=row[4],
                payload_start=row[5],
            ),
        )
        for row in connection.execute(
            "SELECT arrived_ms, topic, probe, reason, detail, payload_start, id FROM quarantine"
            " ORDER BY id DESC LIMIT ?",
            (limit,),
        ).fetchall()
    ]


def whole(connection: sqlite3.Connection, number: int) -> bytes | None:
    """Return the payload kept beside a row; None: there is none, its start may be all."""
    row = connection.execute(
        "SELECT payload FROM quarantine JOIN quarantine_payload ON quarantine_payload.id ="
        " quarantine.payload_id WHERE quarantine.id = ?",
        (number,),
    ).fetchone()
    return None if row is None else bytes(row[0])


def room(connection: sqlite3.Connection) -> QuarantineRoom:
    """Return what is kept, and what had to go."""
    messages, cut_off = connection.execute(
        "SELECT count(*), count(*) FILTER (WHERE length(payload_start) >= ? AND payload_id IS NULL)"
        " FROM quarantine",
        (PAYLOAD_START_BYTES,),
    ).fetchone()
    payload_bytes, payloads_dropped, messages_dropped = connection.execute(
        "SELECT payload_bytes, payloads_dropped, messages_dropped FROM quarantine_room"
    ).fetchone()
    return QuarantineRoom(
        messages=messages,
        cut_off=cut_off,
        payload_bytes=payload_bytes,
        payloads_dropped=payloads_dropped,
        messages_dropped=messages_dropped,
    )


def counts(
    connection: sqlite3.Connection, from_ms: int | None = None, to_ms: int | None = None
) -> QuarantineCounts:
    """Return how much came, by reason, in the hours that hold the two instants and between."""
    by_reason = {
        Reason(reason): int(total)
        for reason, total in connection.execute(
            "SELECT reason, sum(total) FROM quarantine_reason"
            " WHERE (?1 IS NULL OR hour >= ?1) AND (?2 IS NULL OR hour <= ?2)"
            " GROUP BY reason ORDER BY reason",
            (
                None if from_ms is None else from_ms // MS_PER_H,
                None if to_ms is None else to_ms // MS_PER_H,
            ),
        )
    }
    return QuarantineCounts(total=sum(by_reason.values()), by_reason=by_reason)


def topics(connection: sqlite3.Connection, limit: int = 100) -> list[tuple[str, int, int]]:
    """Return topic, count and latest arrival, the largest counts first.

    The topic :data:`OTHER_TOPICS` stands for all that are no longer counted apart.
    """
    return [
        (topic, total, last_ms)
        for topic, total, last_ms in connection.execute(
            "SELECT topic, total, last_ms FROM quarantine_topic"
            " ORDER BY total DESC, last_ms DESC, topic LIMIT ?",
            (limit,),
        ).fetchall()
    ]
