"""Adds readings, each once, and packs the days that are over.

What stands for a probe and a time does not depend on the order of arrival: the larger
corrected value, and with it what the probe sent and when that arrived. Keeps small
caches of what is on disk; ``forget`` must be called whenever a transaction was rolled
back or another connection has written.
"""

import math
import sqlite3
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from rimewatch.journal import rollups
from rimewatch.journal.blocks import pack_integers, pack_raws, unpack_integers
from rimewatch.journal.day_rollup import roll_up
from rimewatch.journal.readings import (
    FIRST_MS,
    LAST_MS,
    MILLI,
    FullSpan,
    Integers,
    load_full,
    probe_number,
    span_millis,
)
from rimewatch.journal.schema import HIGHEST_MILLI, LOWEST_MILLI
from rimewatch.journal.seals import sealed_until_ms
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId

CONFLICTS_KEPT: Final = 1000
"""Conflicts kept for one probe; the count goes on (our choice)."""

_BLOCKS_CACHED: Final = 64
"""A few weeks of backlog from a few probes, some 2 MB (our choice)."""

_EXACT_INTEGER: Final = 2**53

_ADD: Final = (
    "INSERT INTO reading (probe_no, observed_ms, milli, raw, lag_ms) VALUES (?, ?, ?, ?, ?)"
    " ON CONFLICT DO NOTHING"
)

_Row = tuple[int, int, float | None, int]  # observed_ms, milli, raw, lag_ms


def _row(reading: Reading) -> _Row:
    """Return a reading as the table keeps it, or refuse it.

    Raises:
        ValueError: If a number is not finite or lies beyond what the table takes.
    """
    value, raw = reading.value, reading.raw
    if not (math.isfinite(value) and math.isfinite(raw)):
        raise ValueError(
            f"probe {reading.probe}: value {value}, raw {raw}; expected finite numbers: "
            "what is not a number belongs into quarantine"
        )
    if reading.battery is not None and not math.isfinite(reading.battery):
        raise ValueError(
            f"probe {reading.probe}: battery {reading.battery}; expected a finite number or None"
        )
    milli = round(value * MILLI)
    if not LOWEST_MILLI <= milli <= HIGHEST_MILLI:
        raise ValueError(
            f"probe {reading.probe}: value {value}; expected "
            f"{LOWEST_MILLI / MILLI} to {HIGHEST_MILLI / MILLI}"
        )
    observed_ms, arrived_ms = reading.observed_ms, reading.arrived_ms
    if not (FIRST_MS <= observed_ms <= LAST_MS and FIRST_MS <= arrived_ms <= LAST_MS):
        raise ValueError(
            f"probe {reading.probe}: observed at {observed_ms}, arrived at {arrived_ms}; "
            "expected milliseconds since 1970, before the year 10000"
        )
    lag_ms = arrived_ms - observed_ms
    if raw == milli / MILLI:
        return observed_ms, milli, None, lag_ms
    if abs(raw) * MILLI < _EXACT_INTEGER and (thousandths := round(raw * MILLI)) / MILLI == raw:
        return observed_ms, milli, thousandths, lag_ms
    return observed_ms, milli, float(raw), lag_ms


class ReadingWriter:
    """Adds readings through the writer's connection, inside its transactions."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._numbers: dict[ProbeId, int] = {}
        self._unpacked_from_ms: dict[int, int] = {}
        self._known_until_ms: dict[int, int] = {}
        self._blocks: dict[tuple[int, int], tuple[Integers, Integers] | None] = {}
        self._sealed_until_ms: int | None = None

    def forget(self) -> None:
        """Drop what is remembered of the tables: they may have changed under us."""
        self._numbers.clear()
        self._unpacked_from_ms.clear()
        self._known_until_ms.clear()
        self._blocks.clear()
        self._sealed_until_ms = None

    def add(self, readings: Sequence[Reading]) -> list[bool]:
        """Add readings; must be called inside a transaction.

        Args:
            readings: Any order, any repetition.

        Returns:
            For each whether it added a reading or raised the value of one.

        Raises:
            ValueError: If one of them is not a number that can be kept; none is added then.
            sqlite3.Error: If the table refuses.
        """
        rows = [_row(reading) for reading in readings]
        if self._sealed_until_ms is None:
            self._sealed_until_ms = sealed_until_ms(self._connection)
        changed: list[bool] = []
        ahead: list[tuple[int, int, int, float | None, int]] = []
        for reading, row in zip(readings, rows, strict=True):
            number = self._numbers.get(reading.probe)
            if number is None:
                number = self._number(reading.probe)
            if row[0] > self._known_until_ms[number]:
                # Nothing can stand there yet: nearly all readings, and written together.
                self._known_until_ms[number] = row[0]
                ahead.append((number, *row))
                changed.append(True)
            else:
                self._add_ahead(ahead)
                changed.append(self._add_among(number, row))
        self._add_ahead(ahead)
        self._add_batteries(readings)
        self._note_hours(reading for reading, new in zip(readings, changed, strict=True) if new)
        return changed

    def _add_ahead(self, rows: list[tuple[int, int, int, float | None, int]]) -> None:
        """Add rows later than all that is known of their probes, and empty the list."""
        if rows:
            self._connection.executemany(_ADD, rows)
            rows.clear()

    def _add_among(self, number: int, row: _Row) -> bool:
        """Add a reading where another of its time may stand already."""
        assert self._sealed_until_ms is not None, "add() has looked"
        if row[0] < self._sealed_until_ms:
            return self._add_after_seal(number, row)
        if row[0] < self._unpacked_from_ms[number]:
            return self._add_late(number, row)
        if self._connection.execute(_ADD, (number, *row)).rowcount:
            return True
        return self._settle(number, row)

    def _number(self, probe: ProbeId) -> int:
        self._connection.execute(
            "INSERT INTO probe (id) VALUES (?) ON CONFLICT DO NOTHING", (probe,)
        )
        number = probe_number(self._connection, probe)
        assert number is not None, "the row was made just now"
        day = self._connection.execute(
            "SELECT max(day) FROM reading_block WHERE probe_no = ?", (number,)
        ).fetchone()[0]
        unpacked_ms = FIRST_MS if day is None else (day + 1) * MS_PER_DAY
        last_ms = self._connection.execute(
            "SELECT max(observed_ms) FROM reading WHERE probe_no = ?", (number,)
        ).fetchone()[0]
        assert self._sealed_until_ms is not None, "add() has looked"
        known_ms = max(unpacked_ms, self._sealed_until_ms) - 1
        self._unpacked_from_ms[number] = unpacked_ms
        self._known_until_ms[number] = known_ms if last_ms is None else max(known_ms, last_ms)
        self._numbers[probe] = number
        return number

    def _settle(self, number: int, row: _Row) -> bool:
        """Compare with the tail row of the same time; the larger value stands."""
        observed_ms, milli, raw, lag_ms = row
        (standing,) = self._connection.execute(
            "SELECT milli FROM reading WHERE probe_no = ? AND observed_ms = ?",
            (number, observed_ms),
        ).fetchone()
        if milli == standing:
            return False
        self._note_conflict(number, observed_ms, min(milli, standing))
        if milli < standing:
            return False
        self._connection.execute(
            "UPDATE reading SET milli = ?, raw = ?, lag_ms = ?"
            " WHERE probe_no = ? AND observed_ms = ?",
            (milli, raw, lag_ms, number, observed_ms),
        )
        return True

    def _add_after_seal(self, number: int, row: _Row) -> bool:
        """Add a reading whose day is sealed; note what stood there when it was."""
        observed_ms, milli = row[0], row[1]
        _, standing = span_millis(self._connection, number, observed_ms, observed_ms)
        if not self._add_late(number, row):
            return False
        was = int(standing[0]) if standing.size else None
        self._connection.execute(
            "INSERT INTO late_reading (probe_no, observed_ms, was_milli, now_milli)"
            " VALUES (?, ?, ?, ?) ON CONFLICT (probe_no, observed_ms) WHERE seal IS NULL"
            " DO UPDATE SET now_milli = excluded.now_milli",
            (number, observed_ms, was, milli),
        )
        return True

    def _add_late(self, number: int, row: _Row) -> bool:
        """Add a reading whose day may be packed: the block is looked into first."""
        observed_ms, milli, _, _ = row
        block = self._block(number, observed_ms // MS_PER_DAY)
        if block is not None:
            times, millis = block
            place = int(np.searchsorted(times, observed_ms))
            if place < times.size and times[place] == observed_ms:
                standing = int(millis[place])
                if milli == standing:
                    return False
                self._note_conflict(number, observed_ms, min(milli, standing))
                if milli < standing:
                    return False
        if self._connection.execute(_ADD, (number, *row)).rowcount:
            return True
        return self._settle(number, row)

    def _block(self, number: int, day: int) -> tuple[Integers, Integers] | None:
        key = (number, day)
        if key in self._blocks:
            return self._blocks[key]
        found = self._connection.execute(
            "SELECT times, millis FROM reading_block WHERE probe_no = ? AND day = ?", key
        ).fetchone()
        block = None if found is None else (unpack_integers(found[0]), unpack_integers(found[1]))
        if len(self._blocks) >= _BLOCKS_CACHED:
            del self._blocks[next(iter(self._blocks))]
        self._blocks[key] = block
        return block

    def _note_conflict(self, number: int, observed_ms: int, lowest: int) -> None:
        """Remember that two values came for one time, once however often they come."""
        execute = self._connection.execute
        added = execute(
            "INSERT INTO reading_conflict (probe_no, observed_ms, lowest_milli) VALUES (?, ?, ?)"
            " ON CONFLICT DO NOTHING",
            (number, observed_ms, lowest),
        ).rowcount
        if not added:
            execute(
                "UPDATE reading_conflict SET lowest_milli = min(lowest_milli, ?)"
                " WHERE probe_no = ? AND observed_ms = ?",
                (lowest, number, observed_ms),
            )
            return
        execute(
            "INSERT INTO reading_conflict_count (probe_no, total) VALUES (?, 1)"
            " ON CONFLICT DO UPDATE SET total = total + 1",
            (number,),
        )
        execute(
            "DELETE FROM reading_conflict WHERE probe_no = ?1 AND observed_ms <"
            " (SELECT observed_ms FROM reading_conflict WHERE probe_no = ?1"
            "  ORDER BY observed_ms DESC LIMIT 1 OFFSET ?2)",
            (number, CONFLICTS_KEPT - 1),
        )

    def _add_batteries(self, readings: Sequence[Reading]) -> None:
        """Keep the lowest level of each hour: a level wavers with each message."""
        lowest: dict[tuple[int, int], float] = {}
        for reading in readings:
            if reading.battery is not None:
                key = (self._numbers[reading.probe], reading.observed_ms // MS_PER_H)
                level = lowest.get(key)
                if level is None or reading.battery < level:
                    lowest[key] = reading.battery
        if lowest:
            self._connection.executemany(
                "INSERT INTO battery (probe_no, hour, lowest) VALUES (?, ?, ?)"
                " ON CONFLICT DO UPDATE SET lowest = excluded.lowest"
                " WHERE excluded.lowest < lowest",
                [(*key, level) for key, level in lowest.items()],
            )

    def _note_hours(self, readings: Iterable[Reading]) -> None:
        """Give each hour with something new a fresh place at the end of the line."""
        hours = {(self._numbers[r.probe], r.observed_ms // MS_PER_H): None for r in readings}
        self._connection.executemany(
            "INSERT OR REPLACE INTO changed_hour (probe_no, hour) VALUES (?, ?)", list(hours)
        )

    def mark_changed(self, from_ms: int, to_ms: int) -> int:
        """Put hours at the end of the line once more; must be called inside a transaction.

        Args:
            from_ms: The hour that holds this instant is the first.
            to_ms: The hour that holds this instant is the last.

        Returns:
            How many hours of a probe were put there.
        """
        return self._connection.execute(
            "INSERT OR REPLACE INTO changed_hour (probe_no, hour)"
            " SELECT probe_no, hour FROM changed_hour WHERE hour BETWEEN ? AND ? ORDER BY seq",
            (from_ms // MS_PER_H, to_ms // MS_PER_H),
        ).rowcount

    def oldest_whole_day(self, before_ms: int) -> tuple[int, int] | None:
        """Return probe number and day of tail rows to pack; None when there are none.

        Args:
            before_ms: Only days that ended by then count as over.
        """
        end_ms = before_ms // MS_PER_DAY * MS_PER_DAY
        found = self._connection.execute(
            "SELECT no, (SELECT min(observed_ms) FROM reading WHERE probe_no = no) AS first_ms"
            " FROM probe WHERE first_ms < ? ORDER BY first_ms LIMIT 1",
            (end_ms,),
        ).fetchone()
        return None if found is None else (found[0], found[1] // MS_PER_DAY)

    def pack_day(self, number: int, day: int) -> None:
        """Move a day's tail rows into its block, rolled up; must be called inside a transaction.

        Args:
            number: The probe's number.
            day: The UTC day, counted from the epoch.
        """
        first_ms, last_ms = day * MS_PER_DAY, (day + 1) * MS_PER_DAY - 1
        readings = load_full(self._connection, number, first_ms, last_ms)
        millis = np.rint(readings.values * MILLI).astype(np.int64)
        self._connection.execute(
            "INSERT INTO reading_block"
            " (probe_no, day, first_ms, last_ms, readings, times, millis, lags, raws)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
            " ON CONFLICT DO UPDATE SET first_ms = excluded.first_ms,"
            " last_ms = excluded.last_ms, readings = excluded.readings, times = excluded.times,"
            " millis = excluded.millis, lags = excluded.lags, raws = excluded.raws",
            (number, day, *_packed(readings, millis)),
        )
        rollups.keep_packed(self._connection, number, day, roll_up(readings.times_ms, millis))
        self._connection.execute(
            "DELETE FROM reading WHERE probe_no = ? AND observed_ms BETWEEN ? AND ?",
            (number, first_ms, last_ms),
        )
        self._blocks.pop((number, day), None)
        after_ms = last_ms + 1
        if self._unpacked_from_ms.get(number, after_ms) < after_ms:
            self._unpacked_from_ms[number] = after_ms


def _packed(
    readings: FullSpan, millis: Integers
) -> tuple[int, int, int, bytes, bytes, bytes, bytes]:
    return (
        int(readings.times_ms[0]),
        int(readings.times_ms[-1]),
        len(readings),
        pack_integers(readings.times_ms),
        pack_integers(millis),
        pack_integers(readings.arrived_ms - readings.times_ms),
        pack_raws(readings.raws, readings.values),
    )
