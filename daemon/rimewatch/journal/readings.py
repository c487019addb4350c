"""Reads readings back: tail rows and packed blocks merged into one series.

A reading lives in the tail (``reading``, one row each) until its UTC day is packed
into a block (``reading_block``); a late one for a packed day waits in the tail. So a
time may stand in both: the larger value counts (the warmer, the open, the wet).
Reads only; a caller outside a transaction must give a snapshot, since compaction
moves rows from one table to the other.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.store import Span
from rimewatch.journal.blocks import unpack_integers, unpack_raws
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId

MILLI: Final = 1000.0
"""Values are kept in thousandths: °C rounded to 0.001, as readings are made."""

FIRST_MS: Final = 0
LAST_MS: Final = 253_402_300_799_999

Integers = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FullSpan:
    """A probe's readings with all that is kept of them, in order of their own time."""

    times_ms: Integers  # (n_readings,)
    values: Floats  # (n_readings,), corrected
    raws: Floats  # (n_readings,), as the probe sent them
    arrived_ms: Integers  # (n_readings,)

    def __len__(self) -> int:
        """Return the number of readings."""
        return len(self.times_ms)


@dataclass(frozen=True, slots=True)
class ChangedHour:
    """An hour of a probe that got new readings, or a larger value for one."""

    seq: int
    """Grows with each change: the cursor of whoever follows."""
    probe: ProbeId
    from_ms: int
    to_ms: int
    """Last millisecond of the hour, inclusive."""


def probe_number(connection: sqlite3.Connection, probe: ProbeId) -> int | None:
    """Return the number that stands for a probe in the tables; None before its first reading."""
    row = connection.execute("SELECT no FROM probe WHERE id = ?", (probe,)).fetchone()
    return None if row is None else int(row[0])


def known_probes(connection: sqlite3.Connection) -> list[ProbeId]:
    """Return the probes that ever had a reading, in order of their ids."""
    return [ProbeId(row[0]) for row in connection.execute("SELECT id FROM probe ORDER BY id")]


def _integers(rows: Sequence[tuple[int, ...]], columns: int) -> Integers:
    count = len(rows) * columns
    flat = np.fromiter(chain.from_iterable(rows), dtype=np.int64, count=count)
    return flat.reshape(-1, columns)


def _order(times: Integers, millis: Integers) -> Integers | None:
    """Return the places that give increasing times, the largest value of each; None: as is."""
    if times.size < 2 or bool((np.diff(times) > 0).all()):
        return None
    order = np.lexsort((millis, times))
    ordered = times[order]
    last_of_its_time = np.ones(order.size, dtype=np.bool_)
    last_of_its_time[:-1] = ordered[1:] != ordered[:-1]
    chosen: Integers = order[last_of_its_time]
    return chosen


def span_millis(
    connection: sqlite3.Connection, probe_no: int, from_ms: int, to_ms: int
) -> tuple[Integers, Integers]:
    """Return times and values in thousandths of the readings with ``from_ms <= time <= to_ms``.

    Args:
        connection: A connection in a transaction, or the writer's.
        probe_no: The probe's number.
        from_ms: First instant, milliseconds since the epoch.
        to_ms: Last instant, milliseconds since the epoch.

    Raises:
        BlockDamagedError: If a block is not readable.
    """
    times: list[Integers] = []
    millis: list[Integers] = []
    for packed_times, packed_millis in connection.execute(
        "SELECT times, millis FROM reading_block"
        " WHERE probe_no = ? AND day BETWEEN ? AND ? ORDER BY day",
        (probe_no, from_ms // MS_PER_DAY, to_ms // MS_PER_DAY),
    ):
        times.append(unpack_integers(packed_times))
        millis.append(unpack_integers(packed_millis))
    tail = _integers(
        connection.execute(
            "SELECT observed_ms, milli FROM reading"
            " WHERE probe_no = ? AND observed_ms BETWEEN ? AND ? ORDER BY observed_ms",
            (probe_no, from_ms, to_ms),
        ).fetchall(),
        2,
    )
    all_times = np.concatenate([*times, tail[:, 0]])
    all_millis = np.concatenate([*millis, tail[:, 1]])
    order = _order(all_times, all_millis)
    if order is not None:
        all_times, all_millis = all_times[order], all_millis[order]
    first, after = np.searchsorted(all_times, [from_ms, to_ms + 1])
    return all_times[first:after], all_millis[first:after]


def _bounds(from_ms: int | None, to_ms: int | None) -> tuple[int, int]:
    first = FIRST_MS if from_ms is None else max(from_ms, FIRST_MS)
    last = LAST_MS if to_ms is None else min(to_ms, LAST_MS)
    return first, max(first - 1, last)


def span(
    connection: sqlite3.Connection,
    probe: ProbeId,
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> Span:
    """Return the readings with ``from_ms <= time <= to_ms``; None leaves that side open.

    Args:
        connection: Any connection.
        probe: The probe; one never heard of has no readings.
        from_ms: First instant, milliseconds since the epoch.
        to_ms: Last instant, milliseconds since the epoch.
    """
    number = probe_number(connection, probe)
    if number is None:
        return Span(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float64))
    times, millis = span_millis(connection, number, *_bounds(from_ms, to_ms))
    return Span(times, millis / MILLI)


def last_before(
    connection: sqlite3.Connection, probe: ProbeId, before_ms: int
) -> tuple[int, float] | None:
    """Return time and value of the last reading with ``time < before_ms``, if any."""
    number = probe_number(connection, probe)
    if number is None:
        return None
    tail = connection.execute(
        "SELECT observed_ms, milli FROM reading WHERE probe_no = ? AND observed_ms < ?"
        " ORDER BY observed_ms DESC LIMIT 1",
        (number, before_ms),
    ).fetchone()
    found: list[tuple[int, int]] = [] if tail is None else [tail]
    row = connection.execute(
        "SELECT last_ms, times, millis FROM reading_block"
        " WHERE probe_no = ? AND day <= ? AND first_ms < ? ORDER BY day DESC LIMIT 1",
        (number, before_ms // MS_PER_DAY, before_ms),
    ).fetchone()
    if row is not None and (tail is None or tail[0] <= row[0]):
        times = unpack_integers(row[1])
        place = int(np.searchsorted(times, before_ms)) - 1
        found.append((int(times[place]), int(unpack_integers(row[2])[place])))
    if not found:
        return None
    at_ms, milli = max(found)
    return at_ms, milli / MILLI


def full_span(
    connection: sqlite3.Connection,
    probe: ProbeId,
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> FullSpan:
    """Return a probe's readings with raw values and arrivals, for records and the mirror."""
    number = probe_number(connection, probe)
    first, last = _bounds(from_ms, to_ms)
    if number is None or last < first:
        nothing = np.empty(0, dtype=np.int64)
        return FullSpan(nothing, nothing / MILLI, nothing / MILLI, nothing)
    return load_full(connection, number, first, last)


def load_full(connection: sqlite3.Connection, probe_no: int, from_ms: int, to_ms: int) -> FullSpan:
    """Return all that is kept of a probe's readings with ``from_ms <= time <= to_ms``.

    Args:
        connection: A connection in a transaction, or the writer's.
        probe_no: The probe's number.
        from_ms: First instant, milliseconds since the epoch.
        to_ms: Last instant, milliseconds since the epoch.

    Raises:
        BlockDamagedError: If a block is not readable.
    """
    parts: list[tuple[Integers, Integers, Floats, Integers]] = []
    for row in connection.execute(
        "SELECT times, millis, raws, lags FROM reading_block"
        " WHERE probe_no = ? AND day BETWEEN ? AND ? ORDER BY day",
        (probe_no, from_ms // MS_PER_DAY, to_ms // MS_PER_DAY),
    ):
        millis = unpack_integers(row[1])
        raws = unpack_raws(row[2], millis / MILLI)
        parts.append((unpack_integers(row[0]), millis, raws, unpack_integers(row[3])))
    tail = connection.execute(
        "SELECT observed_ms, milli, lag_ms, raw FROM reading"
        " WHERE probe_no = ? AND observed_ms BETWEEN ? AND ? ORDER BY observed_ms",
        (probe_no, from_ms, to_ms),
    ).fetchall()
    numbers = _integers([row[:3] for row in tail], 3)
    sent = [raw_value(row[1], row[3]) for row in tail]
    parts.append((numbers[:, 0], numbers[:, 1], np.array(sent, dtype=np.float64), numbers[:, 2]))
    times = np.concatenate([part[0] for part in parts])
    millis = np.concatenate([part[1] for part in parts])
    raws = np.concatenate([part[2] for part in parts])
    lags = np.concatenate([part[3] for part in parts])
    order = _order(times, millis)
    if order is not None:
        times, millis, raws, lags = times[order], millis[order], raws[order], lags[order]
    first, after = np.searchsorted(times, [from_ms, to_ms + 1])
    return FullSpan(
        times[first:after],
        (millis / MILLI)[first:after],
        raws[first:after],
        (times + lags)[first:after],
    )


def raw_value(milli: int, raw: float | None) -> float:
    """Return what the probe sent from a tail row's two columns.

    Args:
        milli: The corrected value in thousandths.
        raw: The column ``raw``: None for equal, int for thousandths, float as it is.
    """
    if raw is None:
        return milli / MILLI
    return raw / MILLI if isinstance(raw, int) else raw


def battery_levels(
    connection: sqlite3.Connection,
    probe: ProbeId,
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> list[tuple[int, float]]:
    """Return the lowest battery level of each hour in which the probe sent one.

    Args:
        connection: Any connection.
        probe: The probe.
        from_ms: The hour that holds this instant is the first; None: from the beginning.
        to_ms: The hour that holds this instant is the last; None: to the end.

    Returns:
        The hours' first instants in milliseconds, and levels in the probe's own unit.
    """
    first, last = _bounds(from_ms, to_ms)
    return [
        (hour * MS_PER_H, level)
        for hour, level in connection.execute(
            "SELECT hour, lowest FROM battery JOIN probe ON no = probe_no"
            " WHERE id = ? AND hour BETWEEN ? AND ? ORDER BY hour",
            (probe, first // MS_PER_H, last // MS_PER_H),
        )
    ]


def changed_hours(
    connection: sqlite3.Connection, after_seq: int, limit: int = 1000
) -> list[ChangedHour]:
    """Return the hours changed after a cursor, in the order of their last change.

    An hour that changes again comes again, with a larger number: who follows writes all
    its readings anew, which must be harmless there.

    Args:
        connection: Any connection.
        after_seq: The last number dealt with; 0 for the whole history.
        limit: At most so many.
    """
    return [
        ChangedHour(seq, ProbeId(probe), hour * MS_PER_H, (hour + 1) * MS_PER_H - 1)
        for seq, probe, hour in connection.execute(
            "SELECT seq, id, hour FROM changed_hour JOIN probe ON no = probe_no"
            " WHERE seq > ? ORDER BY seq LIMIT ?",
            (after_seq, limit),
        ).fetchall()
    ]


def changed_hours_behind(connection: sqlite3.Connection, after_seq: int) -> int:
    """Return how many hours of a probe wait behind a cursor."""
    row = connection.execute("SELECT count(*) FROM changed_hour WHERE seq > ?", (after_seq,))
    return int(row.fetchone()[0])
