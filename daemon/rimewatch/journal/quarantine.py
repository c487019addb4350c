"""What was not believed, bounded: the newest rows, and counts that go on.

However much nonsense a broker sends, and under however many topics, the tables stay
small: rows, topics and text are all cut off. Counts by reason are kept by the hour.
"""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rimewatch.readings import Quarantined, Reason
from rimewatch.vocabulary import MS_PER_H, ProbeId

ROWS_KEPT: Final = 10_000
TOPICS_KEPT: Final = 1_000
TOPIC_KEPT: Final = 256
"""Characters kept of a topic."""
DETAIL_KEPT: Final = 500
"""Characters kept of a detail."""
PAYLOAD_KEPT: Final = 256
"""Bytes kept of a payload. These bounds are our choice."""

OTHER_TOPICS: Final = ""
"""Stands for the topics that are no longer counted apart; no MQTT topic is empty.

Source: MQTT 5.0, section 4.7.3: topic names are at least one character long.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuarantineCounts:
    """How much was put into quarantine."""

    total: int
    by_reason: dict[Reason, int]


def add(
    connection: sqlite3.Connection,
    items: Sequence[Quarantined],
    *,
    rows_kept: int = ROWS_KEPT,
    topics_kept: int = TOPICS_KEPT,
) -> None:
    """Keep what was not believed; must be called inside a transaction.

    Args:
        connection: A writer's connection.
        items: In order of arrival.
        rows_kept: The newest rows that stay.
        topics_kept: The topics counted apart: those with the largest counts.
    """
    if not items:
        return
    connection.executemany(
        "INSERT INTO quarantine (arrived_ms, topic, probe, reason, detail, payload_start)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        [
            (
                item.arrived_ms,
                _topic(item),
                item.probe,
                str(item.reason),
                _storable(item.detail[:DETAIL_KEPT]),
                item.payload_start[:PAYLOAD_KEPT],
            )
            for item in items[-rows_kept:]
        ],
    )
    # Rows go from the lower end; one taken out in between leaves room for none.
    connection.execute(
        "DELETE FROM quarantine WHERE id <= (SELECT max(id) FROM quarantine) - ?", (rows_kept,)
    )
    reasons = Counter((item.arrived_ms // MS_PER_H, str(item.reason)) for item in items)
    connection.executemany(
        "INSERT INTO quarantine_reason (hour, reason, total) VALUES (?, ?, ?)"
        " ON CONFLICT DO UPDATE SET total = total + excluded.total",
        [(*key, count) for key, count in reasons.items()],
    )
    _count_topics(connection, items, topics_kept)


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
    connection.executemany("DELETE FROM quarantine WHERE id = ?", [(n,) for n in numbers])


def latest(connection: sqlite3.Connection, limit: int) -> list[Quarantined]:
    """Return the newest that are kept, newest first."""
    return [kept for _, kept in numbered(connection, limit)]


def numbered(connection: sqlite3.Connection, limit: int) -> list[tuple[int, Quarantined]]:
    """Return the newest that are kept with the number of each row, newest first."""
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


def counts(
    connection: sqlite3.Connection, from_ms: int | None, to_ms: int | None
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


def topics(connection: sqlite3.Connection, limit: int) -> list[tuple[str, int, int]]:
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
