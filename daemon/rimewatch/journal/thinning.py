"""Thins out readings that need not be kept any longer, to the range of each hour.

Only whole UTC days that are sealed, and only readings: entries, alarms, messages, events,
summaries and seals stay for ever. How long readings must be kept is not decided here
(``rimewatch.report.retention``); what is left of them is sealed with the next day's seal.
Beside it the day's roll-up stays, from which curves are drawn.
"""

import sqlite3
from dataclasses import dataclass

import numpy as np

from rimewatch.journal import rollups
from rimewatch.journal.day_rollup import roll_up
from rimewatch.journal.readings import MILLI, load_full, probe_number
from rimewatch.journal.seals import sealed_until_ms
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId


@dataclass(frozen=True, slots=True, kw_only=True)
class HourRange:
    """What is left of an hour's readings."""

    from_ms: int
    lowest: float
    highest: float
    readings: int


def thin_oldest_day(connection: sqlite3.Connection, probe: ProbeId, before_ms: int) -> bool:
    """Thin out a probe's oldest UTC day of readings; must be called inside a transaction.

    Args:
        connection: A writer's connection.
        probe: The probe.
        before_ms: Only days that ended by then, and that are sealed, are thinned out.

    Returns:
        Whether there was one.
    """
    number = probe_number(connection, probe)
    if number is None:
        return False
    (oldest_ms,) = connection.execute(
        "SELECT min(first_ms) FROM (SELECT min(first_ms) AS first_ms FROM reading_block"
        " WHERE probe_no = ?1 UNION ALL SELECT min(observed_ms) FROM reading WHERE probe_no = ?1)",
        (number,),
    ).fetchone()
    limit_ms = min(before_ms, sealed_until_ms(connection))
    if oldest_ms is None or (oldest_ms // MS_PER_DAY + 1) * MS_PER_DAY > limit_ms:
        return False
    day = oldest_ms // MS_PER_DAY
    first_ms, last_ms = day * MS_PER_DAY, (day + 1) * MS_PER_DAY - 1
    found = load_full(connection, number, first_ms, last_ms)
    hours = found.times_ms // MS_PER_H
    millis = np.rint(found.values * MILLI).astype(np.int64)
    starts = np.flatnonzero(np.diff(hours, prepend=-1))
    connection.executemany(
        "INSERT INTO reading_hour (probe_no, hour, lowest_milli, highest_milli, readings)"
        " VALUES (?, ?, ?, ?, ?)",
        zip(
            [number] * len(starts),
            hours[starts].tolist(),
            np.minimum.reduceat(millis, starts).tolist(),
            np.maximum.reduceat(millis, starts).tolist(),
            np.diff(starts, append=len(hours)).tolist(),
            strict=True,
        ),
    )
    rollups.keep(connection, number, day, roll_up(found.times_ms, millis))
    connection.execute("DELETE FROM reading_block WHERE probe_no = ? AND day = ?", (number, day))
    connection.execute(
        "DELETE FROM reading WHERE probe_no = ? AND observed_ms BETWEEN ? AND ?",
        (number, first_ms, last_ms),
    )
    return True


def hour_ranges(
    connection: sqlite3.Connection, probe: ProbeId, from_ms: int, to_ms: int
) -> list[HourRange]:
    """Return what is left of thinned hours that touch ``from_ms … to_ms``, in order."""
    return [
        HourRange(
            from_ms=hour * MS_PER_H, lowest=low / MILLI, highest=high / MILLI, readings=readings
        )
        for hour, low, high, readings in connection.execute(
            "SELECT hour, lowest_milli, highest_milli, readings FROM reading_hour"
            " JOIN probe ON no = probe_no WHERE id = ? AND hour BETWEEN ? AND ? ORDER BY hour",
            (probe, from_ms // MS_PER_H, to_ms // MS_PER_H),
        ).fetchall()
    ]
