"""Seals the local days that are over, each seal over the one before it.

A day's seal covers its readings by their own time, and of everything that people entered,
alarms went through, messages, events and summaries, what was appended since the seal before;
and it names a checkpoint of each channel with its digest, from which a start may go on.
Readings that come later are noted with what stood there before, and get a seal of their own
with the next day's; so the day's own seal can be recomputed for ever. What was thinned out
because it need not be kept any longer is sealed likewise. Nothing here tells the time.
"""

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812 - the plain name is a parameter's
from datetime import time, timedelta
from hashlib import sha256
from typing import Any, Final

from rimewatch.evaluation.mornings import instant_ms, local_day
from rimewatch.journal.canonical import (
    FIRST_OF_ALL,
    Cell,
    grouped,
    readings_digest,
    rows_digest,
    seal_over,
    seal_text,
)
from rimewatch.journal.readings import span_millis
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H

SEAL_AFTER_MS: Final = MS_PER_H
"""How long after its end a day is sealed: probes that were out of reach for a while have sent
what they kept (our choice)."""

FORM: Final = 1
"""The number of this canonical form; a change of it is a further one, read beside it."""

_SEALS_ASKED: Final = 100
"""Checkpoints are kept for 31 days; beside each day's seal there may be one of late readings and
one of thinned ones."""

GROWING: Final[Mapping[str, tuple[str, str]]] = {
    "entries": ("id", "SELECT id, at_ms, do, who, unit, lot, source, text FROM entry"),
    "alarms": ("id", "SELECT id, alarm_id, text FROM alarm_change"),
    "messages": ("id", "SELECT id, at_ms, contact, unit, rule, about, alarm_id FROM message"),
    "events": ("id", "SELECT id, at_ms, what, detail FROM event"),
    "summaries": ("date", "SELECT date, text, html, page FROM summary"),
}
"""Tables that only grow: the key by which they do, and what of them is sealed."""

_ZEROS: Final[Mapping[str, int | str]] = {"id": 0, "date": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class SealRow:
    """A seal as the journal keeps it."""

    number: int
    kind: str
    """``day``; ``late``: of readings after their day's seal; ``thinned``: of what is left."""
    day: Date
    """The local day; of a ``late`` seal the first one concerned."""
    seal: str
    text: str

    @property
    def facts(self) -> dict[str, Any]:
        """What the seal says, as its text has it.

        Raises:
            ValueError: If the text is not what a seal is made of.
        """
        found = json.loads(self.text)
        if not isinstance(found, dict):
            raise ValueError("not a JSON object")  # noqa: TRY004 - a damaged text, like others
        return found

    @property
    def printed(self) -> str:
        """The whole seal in groups of four, as it is printed or read out."""
        return grouped(self.seal)


_SEAL: Final = "SELECT number, kind, day, seal, text FROM seal"


def _row(found: tuple[int, str, str, str, str]) -> SealRow:
    number, kind, day, seal, text = found
    return SealRow(number=number, kind=kind, day=Date.fromisoformat(day), seal=seal, text=text)


def rows(connection: sqlite3.Connection) -> list[SealRow]:
    """Return every seal in the order they were made."""
    return [_row(found) for found in connection.execute(f"{_SEAL} ORDER BY number").fetchall()]


def latest_day(connection: sqlite3.Connection) -> SealRow | None:
    """Return the last day's seal."""
    found = connection.execute(
        f"{_SEAL} WHERE kind = 'day' ORDER BY number DESC LIMIT 1"
    ).fetchone()
    return None if found is None else _row(found)


def of_day(connection: sqlite3.Connection, day: Date) -> SealRow | None:
    """Return a local day's seal."""
    found = connection.execute(
        f"{_SEAL} WHERE kind = 'day' AND day = ? ORDER BY number LIMIT 1", (day.isoformat(),)
    ).fetchone()
    return None if found is None else _row(found)


def sealed_until_ms(connection: sqlite3.Connection) -> int:
    """Return the end of the last sealed day; 0 where none is."""
    latest = latest_day(connection)
    return 0 if latest is None else int(latest.facts["to_ms"])


def seal_next_day(connection: sqlite3.Connection, timezone: str, now_ms: int) -> bool:
    """Seal the first local day that is over and has no seal; must be called in a transaction.

    Args:
        connection: A writer's connection.
        timezone: Whose midnights divide the days. A change of it moves the next midnight;
            days sealed before stay as they are.
        now_ms: The present instant; a day counts as over :data:`SEAL_AFTER_MS` after its end.

    Returns:
        Whether there was one.
    """
    latest = latest_day(connection)
    if latest is None:
        from_ms = _first_ms(connection)
        if from_ms is None:
            return False
        day = local_day(from_ms, timezone)
        from_ms = instant_ms(day, time(0), timezone)
    else:
        from_ms = int(latest.facts["to_ms"])
        day = max(latest.day + timedelta(days=1), local_day(from_ms, timezone))
    to_ms = instant_ms(day + timedelta(days=1), time(0), timezone)
    if to_ms + SEAL_AFTER_MS > now_ms:
        return False
    _seal_late(connection, timezone, now_ms)
    _seal_thinned(connection, day, now_ms)
    before = _last(connection, "kind = 'day'")
    facts: dict[str, Any] = {
        "from_ms": from_ms,
        "to_ms": to_ms,
        "readings": _readings(connection, from_ms, to_ms),
    }
    for name in GROWING:
        after = None if before is None else before.facts[name]["last"]
        facts[name] = growth(connection, name, after, None)
    facts["checkpoints"] = _checkpoints(connection, to_ms)
    _append(connection, "day", day, now_ms, facts)
    return True


def growth(
    connection: sqlite3.Connection, name: str, after: int | str | None, last: int | str | None
) -> dict[str, Any]:
    """Return what of a growing table lies after one key and up to another, digested.

    Args:
        connection: A connection in a transaction.
        name: One of :data:`GROWING`.
        after: The last key sealed before; None: nothing was.
        last: The last key to look at; None: whatever there is.
    """
    key, select = GROWING[name]
    start = _ZEROS[key] if after is None else after
    where = f"{select} WHERE {key} > ?1 AND (?2 IS NULL OR {key} <= ?2) ORDER BY {key}"
    found = connection.execute(where, (start, last)).fetchall()
    return {
        "after": start,
        "last": found[-1][0] if found else start,
        "rows": len(found),
        "sha256": rows_digest(found),
    }


def proven_checkpoints(
    connection: sqlite3.Connection, names: Iterable[str]
) -> dict[str, tuple[int, str]] | None:
    """Return the newest checkpoint of each name that a day's seal proves, with its instant.

    A checkpoint holds what was concluded of months of readings; one that was changed in the
    file would change what is said of fish, and no reading with it. So those that a seal names
    with their digest are worth something, as far as the last seals hold together.

    Args:
        connection: Any connection.
        names: Whose.

    Returns:
        None: seals are there, and none says anything of checkpoints, being of an older version.
    """
    latest = connection.execute(f"{_SEAL} ORDER BY number DESC LIMIT ?", (_SEALS_ASKED,))
    days: list[Mapping[str, Any]] = []
    is_any_day, follows = False, None
    for row in map(_row, latest.fetchall()):
        facts = _facts_if_whole(row)
        if facts is None or follows not in (None, row.seal):
            return {}
        follows = facts["previous"]
        if row.kind == "day":
            is_any_day = True
            days.append(facts.get("checkpoints") or {})
    if is_any_day and not any(days):
        return None
    wanted, found = set(names), dict[str, tuple[int, str]]()
    for sealed in days:
        for name in sorted(wanted - found.keys() & sealed.keys()):
            at_ms, digest = sealed[name]
            text = connection.execute(
                "SELECT text FROM checkpoint WHERE name = ? AND at_ms = ?", (name, at_ms)
            ).fetchone()
            if text is not None and _digest(text[0]) == digest:
                found[name] = (at_ms, text[0])
    return found


def _facts_if_whole(row: SealRow) -> dict[str, Any] | None:
    if seal_over(row.text) != row.seal:
        return None
    try:
        facts = row.facts
    except ValueError:
        return None
    return facts if facts.get("form") == FORM else None


def _checkpoints(connection: sqlite3.Connection, to_ms: int) -> dict[str, tuple[int, str]]:
    """Return of each channel's checkpoints one before an instant, with its digest.

    The first of the latest UTC day: those of each day that stay when the others are thinned out.
    """
    found = connection.execute(
        "SELECT name, at_ms, text FROM checkpoint JOIN"
        " (SELECT name, max(first_ms) AS at_ms FROM"
        "   (SELECT name, min(at_ms) AS first_ms FROM checkpoint WHERE at_ms <= ?"
        "    GROUP BY name, at_ms / ?) GROUP BY name) USING (name, at_ms) ORDER BY name",
        (to_ms, MS_PER_DAY),
    )
    return {name: (at_ms, _digest(text)) for name, at_ms, text in found}


def _digest(text: str) -> str:
    return sha256(text.encode()).hexdigest()


def probe_names(connection: sqlite3.Connection) -> dict[int, str]:
    """Return the probes by their numbers, in the order of their names."""
    return dict(connection.execute("SELECT no, id FROM probe ORDER BY id").fetchall())


def late_rows(connection: sqlite3.Connection, number: int | None) -> list[tuple[Cell, ...]]:
    """Return the late readings under a seal, None for those that wait for one, as sealed."""
    return connection.execute(
        "SELECT id, observed_ms, was_milli, now_milli FROM"
        " (SELECT p.id AS id, observed_ms, was_milli, now_milli FROM late_reading"
        "  JOIN probe AS p ON p.no = probe_no WHERE seal IS ?) ORDER BY id, observed_ms",
        (number,),
    ).fetchall()


def thinned_rows(connection: sqlite3.Connection, number: int | None) -> list[tuple[Cell, ...]]:
    """Return the thinned hours under a seal, None for those that wait for one, as sealed."""
    return connection.execute(
        "SELECT id, hour, lowest_milli, highest_milli, readings FROM reading_hour"
        " JOIN probe ON no = probe_no WHERE seal IS ? ORDER BY id, hour",
        (number,),
    ).fetchall()


def _first_ms(connection: sqlite3.Connection) -> int | None:
    found = connection.execute(
        "SELECT min(observed_ms) FROM reading UNION ALL SELECT min(first_ms) FROM reading_block"
        " UNION ALL SELECT min(at_ms) FROM event"
    ).fetchall()
    return min((at_ms for (at_ms,) in found if at_ms is not None), default=None)


def _last(connection: sqlite3.Connection, where: str = "1") -> SealRow | None:
    found = connection.execute(f"{_SEAL} WHERE {where} ORDER BY number DESC LIMIT 1").fetchone()
    return None if found is None else _row(found)


def _readings(connection: sqlite3.Connection, from_ms: int, to_ms: int) -> dict[str, Any]:
    found = {}
    for number, name in probe_names(connection).items():
        times, millis = span_millis(connection, number, from_ms, to_ms - 1)
        if times.size:
            found[name] = {"readings": int(times.size), "sha256": readings_digest(times, millis)}
    return found


def _seal_late(connection: sqlite3.Connection, timezone: str, now_ms: int) -> None:
    waiting = late_rows(connection, None)
    if not waiting:
        return
    days = sorted({local_day(int(row[1] or 0), timezone) for row in waiting})
    facts = {
        "days": [day.isoformat() for day in days],
        "rows": len(waiting),
        "sha256": rows_digest(waiting),
    }
    number = _append(connection, "late", days[0], now_ms, facts)
    connection.execute("UPDATE late_reading SET seal = ? WHERE seal IS NULL", (number,))


def _seal_thinned(connection: sqlite3.Connection, day: Date, now_ms: int) -> None:
    waiting = thinned_rows(connection, None)
    if not waiting:
        return
    facts = {"rows": len(waiting), "sha256": rows_digest(waiting)}
    number = _append(connection, "thinned", day, now_ms, facts)
    connection.execute("UPDATE reading_hour SET seal = ? WHERE seal IS NULL", (number,))


def _append(
    connection: sqlite3.Connection, kind: str, day: Date, now_ms: int, facts: Mapping[str, Any]
) -> int:
    before = _last(connection)
    number = 1 if before is None else before.number + 1
    text = seal_text(
        {
            "form": FORM,
            "number": number,
            "kind": kind,
            "day": day.isoformat(),
            "sealed_ms": now_ms,
            "previous": FIRST_OF_ALL if before is None else before.seal,
            **facts,
        }
    )
    connection.execute(
        "INSERT INTO seal (number, kind, day, seal, text) VALUES (?, ?, ?, ?, ?)",
        (number, kind, day.isoformat(), seal_over(text), text),
    )
    return number
