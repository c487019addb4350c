"""Recomputes the chain of seals and says, day by day, what is not as it was sealed.

Reads only. What was appended since the last seal is looked over as far as it can be: for
rows that are gone from the end of a table, and alarms that differ from their last change.
"""

import sqlite3
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812 - the plain name is a field's
from typing import Any, Final

import numpy as np

from rimewatch.journal.canonical import FIRST_OF_ALL, readings_digest, rows_digest, seal_over
from rimewatch.journal.readings import Integers, span_millis
from rimewatch.journal.seals import (
    FORM,
    GROWING,
    SealRow,
    growth,
    late_rows,
    probe_names,
    rows,
    thinned_rows,
)
from rimewatch.vocabulary import MS_PER_H

SINCE: Final = "since the last seal"

_ENDS: Final = (
    ("entries", "entry", "SELECT max(id) FROM entry"),
    ("alarms", "alarm_change", "SELECT max(id) FROM alarm_change"),
    ("messages", "message", "SELECT max(id) FROM message"),
    ("events", "event", "SELECT max(id) FROM event"),
    ("seals", "seal", "SELECT max(number) FROM seal"),
)

Late = tuple[int, int | None, int]
"""Observed, what stood there before, what after."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SealFinding:
    """Something that is not as it was sealed."""

    day: Date | None
    """The local day whose seal shows it; None: it is younger than the last seal."""
    table: str
    """``seals``, ``readings``, ``late readings``, ``hours``, ``entries``, ``alarms``, …"""
    what: str

    def __str__(self) -> str:
        """Say it in words, the day first."""
        when = SINCE if self.day is None else self.day.isoformat()
        return f"{when}: {self.table}: {self.what}"


def findings(connection: sqlite3.Connection) -> list[SealFinding]:
    """Return what is not as it was sealed, by day; nothing for a sound chain.

    Args:
        connection: A connection in a transaction, or the only one.
    """
    chain = rows(connection)
    found = [
        *_chain(chain),
        *(finding for seal in chain for finding in _contents(connection, seal)),
        *_readings(connection, [seal for seal in chain if seal.kind == "day"]),
        *_alarms(connection, chain),
        *_ends(connection),
    ]
    return sorted(found, key=lambda finding: finding.day or Date.max)


def _facts(seal: SealRow) -> dict[str, Any]:
    """Return what a seal says; nothing where its text is damaged, which the chain has told."""
    try:
        facts = seal.facts
    except ValueError:
        return {}
    return facts if facts.get("form") == FORM else {}


def _chain(chain: list[SealRow]) -> Iterator[SealFinding]:
    previous = FIRST_OF_ALL
    for place, seal in enumerate(chain, start=1):
        facts = _facts(seal)
        if seal_over(seal.text) != seal.seal:
            what = f"seal {seal.number} is not the one over its text"
        elif not facts:
            what = f"seal {seal.number} has a form that this version does not know"
        elif facts.get("previous") != previous:
            what = f"seal {seal.number} does not follow the one before it"
        elif (facts.get("number"), facts.get("kind"), facts.get("day")) != (
            seal.number,
            seal.kind,
            seal.day.isoformat(),
        ):
            what = f"seal {seal.number} stands under another number, kind or day than it was made"
        elif seal.number != place:
            what = f"seal {place} is missing"
        else:
            what = ""
        previous = seal.seal
        if what:
            yield SealFinding(day=seal.day, table="seals", what=what)


def _contents(connection: sqlite3.Connection, seal: SealRow) -> Iterator[SealFinding]:
    facts = _facts(seal)
    if seal.kind == "day":
        for name in GROWING:
            sealed = facts.get(name)
            if sealed is None:
                continue
            now = growth(connection, name, sealed["after"], sealed["last"])
            if now["sha256"] != sealed["sha256"]:
                yield SealFinding(day=seal.day, table=name, what=_changed(sealed, now["rows"]))
        return
    kept = late_rows if seal.kind == "late" else thinned_rows
    found = kept(connection, seal.number)
    if facts and rows_digest(found) != facts["sha256"]:
        table = "late readings" if seal.kind == "late" else "hours"
        yield SealFinding(day=seal.day, table=table, what=_changed(facts, len(found)))


def _changed(sealed: Mapping[str, Any], now: int) -> str:
    count = sealed["rows"]
    if now == count:
        return f"not as they were sealed, though still {now} in number"
    return f"{count} were sealed, {now} are there"


def _readings(connection: sqlite3.Connection, days: list[SealRow]) -> Iterator[SealFinding]:
    names = probe_names(connection)
    late = _late_by_probe(connection)
    thinned = _thinned_hours(connection)
    first_ms = 0
    for seal in days:
        facts = _facts(seal)
        if not facts:
            continue
        from_ms, to_ms = facts["from_ms"], facts["to_ms"]
        if first_ms == 0:
            unthinned = {number: name for number, name in names.items() if number not in thinned}
            yield from _before_all(connection, unthinned, late, seal.day, from_ms)
        first_ms = to_ms
        sealed = facts["readings"]
        for number, name in names.items():
            hours = thinned.get(number)
            if hours is not None and _touches(hours, from_ms, to_ms):
                continue  # no longer there to be compared; their hours are sealed instead
            changes = [item for item in late[number] if from_ms <= item[0] < to_ms]
            times, millis = span_millis(connection, number, from_ms, to_ms - 1)
            undone = _undone(times, millis, changes)
            if undone is None:
                what = f"{name}: a late reading is not as it came"
                yield SealFinding(day=seal.day, table="readings", what=what)
                continue
            was = sealed.get(name, {"readings": 0, "sha256": readings_digest(*_NONE)})
            if readings_digest(*undone) != was["sha256"]:
                now = {"rows": was["readings"]}
                what = f"{name}: {_changed(now, len(undone[0]))}"
                yield SealFinding(day=seal.day, table="readings", what=what)
        for name in sorted(set(sealed) - set(names.values())):
            yield SealFinding(day=seal.day, table="readings", what=f"{name}: no longer there")


_NONE: Final = (np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64))


def _before_all(
    connection: sqlite3.Connection,
    names: Mapping[int, str],
    late: Mapping[int, list[Late]],
    day: Date,
    from_ms: int,
) -> Iterator[SealFinding]:
    """Look for readings from before the first sealed day that did not come late."""
    for number, name in names.items():
        times, millis = span_millis(connection, number, 0, from_ms - 1)
        undone = _undone(times, millis, [item for item in late[number] if item[0] < from_ms])
        if undone is None or undone[0].size:
            what = f"{name}: readings from before the first seal that were not there then"
            yield SealFinding(day=day, table="readings", what=what)


def _late_by_probe(connection: sqlite3.Connection) -> Mapping[int, list[Late]]:
    """Return late readings, the last first, so that each can be undone in turn."""
    found: dict[int, list[Late]] = defaultdict(list)
    for number, *item in connection.execute(
        "SELECT probe_no, observed_ms, was_milli, now_milli FROM late_reading ORDER BY id DESC"
    ):
        found[number].append((item[0], item[1], item[2]))
    return found


def _thinned_hours(connection: sqlite3.Connection) -> dict[int, Integers]:
    found: dict[int, list[int]] = defaultdict(list)
    for number, hour in connection.execute(
        "SELECT probe_no, hour FROM reading_hour ORDER BY probe_no, hour"
    ):
        found[number].append(hour)
    return {number: np.array(hours, dtype=np.int64) for number, hours in found.items()}


def _touches(hours: Integers, from_ms: int, to_ms: int) -> bool:
    place = int(np.searchsorted(hours, from_ms // MS_PER_H))
    return place < hours.size and int(hours[place]) * MS_PER_H < to_ms


def _undone(
    times: Integers, millis: Integers, changes: list[Late]
) -> tuple[Integers, Integers] | None:
    """Return a day's readings as they stood when it was sealed; None: a change is not there."""
    if not changes:
        return times, millis
    standing = dict(zip(times.tolist(), millis.tolist(), strict=True))
    for observed_ms, was, now in changes:
        if standing.get(observed_ms) != now:
            return None
        if was is None:
            del standing[observed_ms]
        else:
            standing[observed_ms] = was
    return (
        np.array(list(standing), dtype=np.int64),
        np.array(list(standing.values()), dtype=np.int64),
    )


def _alarms(connection: sqlite3.Connection, chain: list[SealRow]) -> Iterator[SealFinding]:
    """Hold each alarm against the last of its changes."""
    for alarm_id, change in connection.execute(
        "SELECT c.alarm_id, c.id FROM (SELECT alarm_id, max(id) AS id FROM alarm_change"
        " GROUP BY alarm_id) AS c JOIN alarm_change AS last ON last.id = c.id"
        " LEFT JOIN alarm ON alarm.id = c.alarm_id WHERE alarm.text IS NOT last.text"
    ).fetchall():
        what = f"{alarm_id} is not as it was last written"
        yield SealFinding(day=_day_of(chain, "alarms", change), table="alarms", what=what)
    for (alarm_id,) in connection.execute(
        "SELECT id FROM alarm WHERE id NOT IN (SELECT alarm_id FROM alarm_change)"
    ).fetchall():
        yield SealFinding(day=None, table="alarms", what=f"{alarm_id} was never written as usual")


def _day_of(chain: list[SealRow], name: str, key: int) -> Date | None:
    """Return the day whose seal covers a row; None: no seal does yet."""
    for seal in chain:
        sealed = _facts(seal).get(name)
        if sealed is not None and sealed["after"] < key <= sealed["last"]:
            return seal.day
    return None


def _ends(connection: sqlite3.Connection) -> Iterator[SealFinding]:
    """Look for rows that are gone from the end of a table that only grows."""
    given = dict(connection.execute("SELECT name, seq FROM sqlite_sequence").fetchall())
    for name, table, query in _ENDS:
        last = connection.execute(query).fetchone()[0] or 0
        if given.get(table, last) != last:
            what = f"the last is number {last}, but {given[table]} were made"
            yield SealFinding(day=None, table=name, what=what)
