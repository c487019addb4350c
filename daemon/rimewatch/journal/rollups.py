"""Keeps and reads what days were rolled up to; their form is in :mod:`.day_rollup`.

A roll-up is derived from readings and never says anything else than they do:

- A packed day's is written with its block, in one transaction. Where readings of the day wait
  in the tail, those that came late, the readings themselves are asked.
- A governing temperature depends on all that came before. Its days are a chain, each with the
  lag as it stood at the day's end, under the settings it was carried by. A day that is packed
  anew voids that day and all after it; other settings void the chain.
- Thinning leaves roll-ups where they are: the readings go, the hours stay.

Nothing here runs as readings arrive.
"""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import suppress
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.hourly import GoverningHours, MeasuredHours, hour_ranges, hour_starts
from rimewatch.evaluation.store import Span
from rimewatch.journal.blocks import BlockDamagedError, unpack_integers
from rimewatch.journal.day_rollup import (
    CHANGE,
    GOVERNING,
    HOUR,
    SILENCE,
    DayRollup,
    opened,
    roll_up,
    squeezed,
)
from rimewatch.journal.readings import MILLI, Integers, probe_number, span_millis
from rimewatch.science import lag_run
from rimewatch.science.lag_run import Lagging
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId

_HOURS_A_DAY = MS_PER_DAY // MS_PER_H
_NOTHING = np.empty(0, dtype=np.int64)
_FORMAT = 1
"""Of the chains of governing temperatures: what another version carried differently is void."""


# --- writing ---


def keep_packed(connection: sqlite3.Connection, number: int, day: int, kept: DayRollup) -> None:
    """Keep the roll-up of a day that is being packed; inside its transaction."""
    keep(connection, number, day, kept)
    connection.execute(
        "DELETE FROM governing_rollup WHERE probe_no = ? AND day >= ?", (number, day)
    )


def keep(connection: sqlite3.Connection, number: int, day: int, kept: DayRollup) -> None:
    """Keep the roll-up of a day; inside a transaction."""
    connection.execute(
        "INSERT OR REPLACE INTO reading_rollup"
        " (probe_no, day, hours, silent_over_ms, silences, changes) VALUES (?, ?, ?, ?, ?, ?)",
        (number, day, kept.hours, kept.silent_over_ms, kept.silences, kept.changes),
    )


def probe_numbers(connection: sqlite3.Connection) -> list[int]:
    """Return the numbers of the probes that ever had a reading."""
    return [row[0] for row in connection.execute("SELECT no FROM probe ORDER BY no DESC")]


def roll_up_missing(connection: sqlite3.Connection, number: int, most_days: int) -> int:
    """Roll up a probe's packed days that have no roll-up; inside a transaction.

    Returns:
        How many days were rolled up; fewer than ``most_days``: there are no more.
    """
    found = connection.execute(
        "SELECT day, times, millis FROM reading_block AS block WHERE probe_no = ?1 AND NOT EXISTS"
        " (SELECT 1 FROM reading_rollup AS kept WHERE kept.probe_no = ?1 AND kept.day = block.day)"
        " ORDER BY day LIMIT ?2",
        (number, most_days),
    ).fetchall()
    for day, times, millis in found:
        keep(connection, number, day, roll_up(unpack_integers(times), unpack_integers(millis)))
    return len(found)


def roll_up_governing(
    connection: sqlite3.Connection, probe: ProbeId, lag_s: float, stale_ms: float, most_days: int
) -> int:
    """Carry a probe's chain over further packed days; inside a transaction.

    Args:
        connection: A writer's connection.
        probe: A governing probe.
        lag_s: The lag its air is seen through, seconds; above zero.
        stale_ms: Longer intervals are gaps.
        most_days: At most so many.

    Returns:
        How many days were added; fewer than ``most_days``: there are no more for now.
    """
    number = probe_number(connection, probe)
    if number is None:
        return 0
    settings = _settings(lag_s, stale_ms)
    latest = connection.execute(
        "SELECT settings FROM governing_rollup WHERE probe_no = ? ORDER BY day DESC LIMIT 1",
        (number,),
    ).fetchone()
    if latest is not None and latest[0] != settings:
        _void(connection, number, settings)
    at_rest = _days_at_rest(connection, number)
    end_day, lagging = _chain_end(connection, number, settings, at_rest)
    blocks = connection.execute(
        "SELECT day, times, millis FROM reading_block"
        " WHERE probe_no = ? AND day > ? AND day < ? ORDER BY day LIMIT ?",
        (number, end_day, at_rest, most_days),
    ).fetchall()
    for day, packed_times, packed_millis in blocks:
        times, values = unpack_integers(packed_times), unpack_integers(packed_millis) / MILLI
        curve = values
        if lagging is None:
            first_c = float(values[0])
            lagging = lag_run.begin(lag_s, int(times[0]), first_c, first_c)
            run_over = slice(1, None)
        else:
            run_over = slice(0, None)
        if len(times[run_over]):
            run = lag_run.run(lagging, lag_s, stale_ms, times[run_over], values[run_over])
            curve = np.concatenate((values[: run_over.start], run.governing_c))
            lagging = run.end
        connection.execute(
            "INSERT OR REPLACE INTO governing_rollup (probe_no, day, settings, hours, lag)"
            " VALUES (?, ?, ?, ?, ?)",
            (number, day, settings, _governing(times, curve), json.dumps(lagging._asdict())),
        )
    return len(blocks)


def _void(connection: sqlite3.Connection, number: int, settings: str) -> None:
    """Drop a chain of other settings than these.

    Of thinned days nothing better can be made: theirs stay, and count again if the settings
    ever do.
    """
    connection.execute(
        "DELETE FROM governing_rollup WHERE probe_no = ?1 AND settings <> ?2 AND day >="
        " (SELECT min(day) FROM reading_block WHERE probe_no = ?1)",
        (number, settings),
    )


def _settings(lag_s: float, stale_ms: float) -> str:
    return f"{_FORMAT} {lag_s!r} {stale_ms!r}"


def _governing(times_ms: Integers, curve: NDArray[np.float64]) -> bytes:
    ranges = hour_ranges(times_ms, curve)
    found = np.empty(len(ranges), dtype=GOVERNING)
    found["hour"] = ranges.hours % _HOURS_A_DAY
    found["lowest"], found["highest"] = ranges.lowest, ranges.highest
    return squeezed(found)


# --- reading ---


def hours(
    connection: sqlite3.Connection, probe: ProbeId, from_ms: int, to_ms: int, gaps_over_ms: float
) -> MeasuredHours:
    """Return a probe's hours; see :class:`rimewatch.evaluation.hourly.HourStore`."""
    number = probe_number(connection, probe)
    from_ms = max(0, from_ms - from_ms % MS_PER_H)
    if number is None or to_ms < from_ms:
        return _measured(np.empty((0, 6), dtype=np.int64), [], gaps_over_ms)
    days = (from_ms // MS_PER_DAY, to_ms // MS_PER_DAY)
    packed, waiting = (
        _packed_days(connection, number, days),
        _waiting_days(connection, number, days),
    )
    cut_day = -1 if (to_ms + 1) % MS_PER_H == 0 else days[1]
    rows: list[Integers] = []
    silences: list[tuple[int, int]] = []
    kept: list[_KeptDay] = []
    for day, packed_hours, over_ms, packed_silences in connection.execute(
        "SELECT day, hours, silent_over_ms, silences FROM reading_rollup"
        " WHERE probe_no = ? AND day BETWEEN ? AND ? ORDER BY day",
        (number, *days),
    ):
        says_all = over_ms <= gaps_over_ms and day != cut_day
        if day not in waiting and (says_all or day not in packed):
            with suppress(BlockDamagedError):  # the readings are asked instead
                kept.append((day, opened(packed_hours, HOUR), packed_silences))
    rows.append(_kept_hours(kept))
    silences.extend(_kept_silences(kept))
    known = {day for day, _, _ in kept}
    for first_day, last_day in _runs(sorted((packed | waiting) - known)):
        found = span_millis(
            connection,
            number,
            max(from_ms, first_day * MS_PER_DAY),
            min(to_ms, (last_day + 1) * MS_PER_DAY - 1),
        )
        if found[0].size:
            rows.append(_hours_of(*found))
            silences.extend(_silences_of(found[0], gaps_over_ms))
    rows.append(_thinned(connection, number, days, known | packed | waiting))
    every = np.concatenate(rows)
    inside = (every[:, 0] >= from_ms // MS_PER_H) & (every[:, 0] <= to_ms // MS_PER_H)
    every = every[inside]
    within = [(a, b) for a, b in silences if a >= from_ms and b <= to_ms]
    return _measured(every[np.argsort(every[:, 0])], within, gaps_over_ms)


def oldest_ms(connection: sqlite3.Connection, probe: ProbeId) -> int | None:
    """Return when a probe's oldest reading was taken, or the oldest hour that is left began."""
    (found,) = connection.execute(
        "SELECT min(at_ms) FROM ("
        " SELECT (SELECT first_ms FROM reading_block WHERE probe_no = ?1 ORDER BY day LIMIT 1)"
        "  AS at_ms"
        " UNION ALL SELECT min(observed_ms) FROM reading WHERE probe_no = ?1"
        " UNION ALL SELECT min(hour) * ?2 FROM reading_hour WHERE probe_no = ?1)",
        (probe_number(connection, probe), MS_PER_H),
    ).fetchone()
    return None if found is None else int(found)


def changes(connection: sqlite3.Connection, probe: ProbeId, from_ms: int, to_ms: int) -> Span:
    """Return a contact's changes; see :class:`rimewatch.evaluation.hourly.HourStore`."""
    number = probe_number(connection, probe)
    from_ms = max(0, from_ms)
    if number is None or to_ms < from_ms:
        return Span(_NOTHING, _NOTHING / MILLI)
    days = (from_ms // MS_PER_DAY, to_ms // MS_PER_DAY)
    packed, waiting = (
        _packed_days(connection, number, days),
        _waiting_days(connection, number, days),
    )
    kept: list[tuple[int, NDArray[Any]]] = []
    for day, packed_changes in connection.execute(
        "SELECT day, changes FROM reading_rollup"
        " WHERE probe_no = ? AND day BETWEEN ? AND ? AND changes IS NOT NULL",
        (number, *days),
    ):
        if day not in waiting:
            with suppress(BlockDamagedError):  # likewise
                kept.append((day, opened(packed_changes, CHANGE)))
    codes = np.concatenate([_NOTHING, *(row[1] for row in kept)]).astype(np.int64)
    day_of = np.repeat([row[0] for row in kept], [len(row[1]) for row in kept]).astype(np.int64)
    times, millis = [day_of * MS_PER_DAY + codes // 2], [codes % 2 * round(MILLI)]
    known = {row[0] for row in kept}
    for first_day, last_day in _runs(sorted((packed | waiting) - known)):
        found = span_millis(
            connection, number, first_day * MS_PER_DAY, (last_day + 1) * MS_PER_DAY - 1
        )
        times.append(found[0])
        millis.append(found[1])
    all_times, all_millis = np.concatenate(times), np.concatenate(millis)
    order = np.argsort(all_times)
    order = order[(all_times[order] >= from_ms) & (all_times[order] <= to_ms)]
    return Span(all_times[order], all_millis[order] / MILLI)


def governing_hours(
    connection: sqlite3.Connection,
    probe: ProbeId,
    lag_s: float,
    stale_ms: float,
    from_ms: int,
    to_ms: int,
) -> GoverningHours:
    """Return a probe's chain; see :class:`rimewatch.evaluation.hourly.HourStore`."""
    number = probe_number(connection, probe)
    rows: list[tuple[int, bytes]] = []
    end: Lagging | None = None
    if number is not None:
        settings = _settings(lag_s, stale_ms)
        before = min(_days_at_rest(connection, number), (to_ms + 1) // MS_PER_DAY)
        _, end = _chain_end(connection, number, settings, before)
        rows = connection.execute(
            "SELECT day, hours FROM governing_rollup"
            " WHERE probe_no = ? AND day >= ? AND day < ? AND settings = ? ORDER BY day",
            (number, from_ms // MS_PER_DAY, before, settings),
        ).fetchall()
    try:
        opened_days = [opened(row[1], GOVERNING) for row in rows]
    except BlockDamagedError:  # the whole is carried through the readings instead
        rows, opened_days, end = [], [], None
    found = np.concatenate([np.empty(0, dtype=GOVERNING), *opened_days])
    counts = [len(day) for day in opened_days]
    day_of = np.repeat(np.array([row[0] for row in rows], dtype=np.int64), counts)
    return GoverningHours(
        hours=day_of * _HOURS_A_DAY + found["hour"],
        lowest=found["lowest"].astype(np.float64),
        highest=found["highest"].astype(np.float64),
        end=end,
    )


def _days_at_rest(connection: sqlite3.Connection, number: int) -> int:
    """Return the first day with a reading that waits: those before are whole as packed."""
    (first_ms,) = connection.execute(
        "SELECT min(observed_ms) FROM reading WHERE probe_no = ?", (number,)
    ).fetchone()
    return 2**62 if first_ms is None else int(first_ms) // MS_PER_DAY


def _chain_end(
    connection: sqlite3.Connection, number: int, settings: str, before: int
) -> tuple[int, Lagging | None]:
    row = connection.execute(
        "SELECT day, lag FROM governing_rollup WHERE probe_no = ? AND day < ? AND settings = ?"
        " ORDER BY day DESC LIMIT 1",
        (number, before, settings),
    ).fetchone()
    return (-1, None) if row is None else (int(row[0]), Lagging(**json.loads(row[1])))


def _packed_days(connection: sqlite3.Connection, number: int, days: tuple[int, int]) -> set[int]:
    found = connection.execute(
        "SELECT day FROM reading_block WHERE probe_no = ? AND day BETWEEN ? AND ?", (number, *days)
    )
    return {row[0] for row in found}


def _waiting_days(connection: sqlite3.Connection, number: int, days: tuple[int, int]) -> set[int]:
    found = connection.execute(
        f"SELECT DISTINCT observed_ms / {MS_PER_DAY} FROM reading"  # noqa: S608 - a constant
        " WHERE probe_no = ? AND observed_ms BETWEEN ? AND ?",
        (number, days[0] * MS_PER_DAY, (days[1] + 1) * MS_PER_DAY - 1),
    )
    return {row[0] for row in found}


def _runs(days: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield the first and last of each run of days that follow one another."""
    start = 0
    for place in range(1, len(days) + 1):
        if place == len(days) or days[place] != days[place - 1] + 1:
            yield days[start], days[place - 1]
            start = place


_KeptDay = tuple[int, NDArray[Any], bytes]
"""A day, its hours, and its silences as they are kept."""


def _kept_hours(kept: Sequence[_KeptDay]) -> Integers:
    """Return hour, lowest, highest, readings, first and last of each hour."""
    found = np.concatenate([np.empty(0, dtype=HOUR), *(row[1] for row in kept)])
    counts = [len(row[1]) for row in kept]
    day_of = np.repeat(np.array([row[0] for row in kept], dtype=np.int64), counts)
    at = day_of * _HOURS_A_DAY + found["hour"]
    return np.column_stack(
        (
            at,
            found["lowest"],
            found["highest"],
            found["readings"],
            at * MS_PER_H + found["first"],
            at * MS_PER_H + found["last"],
        )
    ).astype(np.int64)


def _kept_silences(kept: Sequence[_KeptDay]) -> Iterator[tuple[int, int]]:
    for day, _, packed in kept:
        for start, end in np.frombuffer(packed, dtype=SILENCE).tolist():
            yield day * MS_PER_DAY + start, day * MS_PER_DAY + end


def _hours_of(times_ms: Integers, millis: Integers) -> Integers:
    at = times_ms // MS_PER_H
    starts = hour_starts(at)
    ends = np.append(starts[1:], len(times_ms))
    return np.column_stack(
        (
            at[starts],
            np.minimum.reduceat(millis, starts),
            np.maximum.reduceat(millis, starts),
            ends - starts,
            times_ms[starts],
            times_ms[ends - 1],
        )
    )


def _silences_of(times_ms: Integers, over_ms: float) -> Iterator[tuple[int, int]]:
    """Yield the silences within hours; those between them follow from first and last."""
    same_hour = np.diff(times_ms // MS_PER_H) == 0
    for place in np.flatnonzero(same_hour & (np.diff(times_ms) > over_ms)).tolist():
        yield int(times_ms[place]), int(times_ms[place + 1])


def _thinned(
    connection: sqlite3.Connection, number: int, days: tuple[int, int], known: set[int]
) -> Integers:
    """Return hours that were thinned out without a roll-up, as whole hours."""
    found = [
        (hour, low, high, readings, hour * MS_PER_H, (hour + 1) * MS_PER_H - 1)
        for hour, low, high, readings in connection.execute(
            "SELECT hour, lowest_milli, highest_milli, readings FROM reading_hour"
            " WHERE probe_no = ? AND hour BETWEEN ? AND ?",
            (number, days[0] * _HOURS_A_DAY, (days[1] + 1) * _HOURS_A_DAY - 1),
        )
        if hour // _HOURS_A_DAY not in known
    ]
    return np.array(found, dtype=np.int64).reshape(-1, 6)


def _measured(
    rows: Integers, silences: list[tuple[int, int]], gaps_over_ms: float
) -> MeasuredHours:
    first_ms, last_ms = rows[:, 4], rows[:, 5]
    between = np.flatnonzero(first_ms[1:] - last_ms[:-1] > gaps_over_ms).tolist()
    gaps = [(float(a), float(b)) for a, b in silences if b - a > gaps_over_ms]
    gaps.extend((float(last_ms[n]), float(first_ms[n + 1])) for n in between)
    return MeasuredHours(
        hours=rows[:, 0],
        lowest=rows[:, 1] / MILLI,
        highest=rows[:, 2] / MILLI,
        readings=rows[:, 3],
        first_ms=first_ms,
        last_ms=last_ms,
        gaps=tuple(sorted(gaps)),
    )
