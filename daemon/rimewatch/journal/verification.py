"""Looks the whole journal over: SQLite's own check, references, each packed day and its roll-up.

Takes seconds on a large file, so it is for copies and for somebody who asks; each start
makes do with ``quick_check``. Changes nothing.
"""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from itertools import chain, islice
from typing import Final

import numpy as np

from rimewatch.alarms import codec
from rimewatch.journal import checkpoints
from rimewatch.journal.blocks import BlockDamagedError, unpack_integers, unpack_raws
from rimewatch.journal.day_rollup import DayRollup, roll_up
from rimewatch.journal.entry_codec import EntryCodecError, entry_from_json
from rimewatch.journal.readings import MILLI
from rimewatch.journal.schema import is_newest, schema_findings
from rimewatch.vocabulary import MS_PER_DAY

FINDINGS_TOLD: Final = 20
"""More than these say nothing new about a damaged file (our choice)."""


def findings(connection: sqlite3.Connection) -> list[str]:
    """Return what is wrong with a journal, in words; nothing for a sound one.

    Args:
        connection: A connection in a transaction, or the only one.

    Raises:
        sqlite3.DatabaseError: If the file is too damaged even for this.
    """
    return list(islice(chain(of_pages(connection), of_record(connection)), FINDINGS_TOLD))


def of_record(connection: sqlite3.Connection) -> Iterator[str]:
    """Yield what cannot be read, or does not fit together, though its pages are sound."""
    yield from _references(connection)
    yield from _blocks(connection)
    yield from _rollups(connection)
    yield from _entries(connection)
    yield from _memory(connection)


def of_pages(connection: sqlite3.Connection) -> Iterator[str]:
    """Yield what is wrong with the file's schema, and what SQLite finds of pages and indexes."""
    if is_newest(connection):
        yield from schema_findings(connection)
    for (said,) in connection.execute(f"PRAGMA integrity_check({FINDINGS_TOLD})"):
        if said != "ok":
            yield f"integrity_check: {said}"


def _references(connection: sqlite3.Connection) -> Iterator[str]:
    for table, _, parent, _ in connection.execute("PRAGMA foreign_key_check"):
        yield f"a row of {table} points at a row of {parent} that is not there"


def _blocks(connection: sqlite3.Connection) -> Iterator[str]:
    for probe, day, first_ms, last_ms, count, *columns in connection.execute(
        "SELECT id, day, first_ms, last_ms, readings, times, millis, lags, raws"
        " FROM reading_block JOIN probe ON no = probe_no"
    ):
        wrong = _block(day, first_ms, last_ms, count, columns)
        if wrong:
            yield f"the packed day {np.datetime64(day, 'D')} of {probe}: {wrong}"


def _block(day: int, first_ms: int, last_ms: int, count: int, columns: list[bytes]) -> str:
    times, millis, lags, raws = columns
    try:
        times_ms, values = unpack_integers(times), unpack_integers(millis) / MILLI
        lengths = {len(times_ms), len(values), len(unpack_integers(lags))}
        lengths.add(len(unpack_raws(raws, values)))
    except BlockDamagedError as error:
        return str(error)
    if lengths != {count}:
        return f"says {count} readings, its columns hold {sorted(lengths)}"
    if (int(times_ms[0]), int(times_ms[-1])) != (first_ms, last_ms):
        return "its first or last time is not the one it says"
    if bool((np.diff(times_ms) <= 0).any()):
        return "its times do not increase"
    if first_ms // MS_PER_DAY != day or last_ms // MS_PER_DAY != day:
        return "it holds times of another day"
    return ""


def _rollups(connection: sqlite3.Connection) -> Iterator[str]:
    """What was rolled up of a packed day must follow from its readings."""
    for probe, day, times, millis, *kept in connection.execute(
        "SELECT id, day, times, millis, hours, silent_over_ms, silences, changes"
        " FROM reading_block JOIN reading_rollup USING (probe_no, day) JOIN probe ON no = probe_no"
    ):
        with suppress(BlockDamagedError):  # which is told of already
            if roll_up(unpack_integers(times), unpack_integers(millis)) != DayRollup(*kept):
                yield (
                    f"the day {np.datetime64(day, 'D')} of {probe}: what was rolled up of it "
                    "for long curves is not what its readings say"
                )


def _entries(connection: sqlite3.Connection) -> Iterator[str]:
    for number, text in connection.execute("SELECT id, text FROM entry ORDER BY id"):
        try:
            entry_from_json(text)
        except EntryCodecError as error:
            yield f"entry {number}: {error}"


def _memory(connection: sqlite3.Connection) -> Iterator[str]:
    """Without what is remembered of the watch no service can go on with the file."""
    followed, standing = (checkpoints.load_state(connection, name) for name in _MEMORY)
    if followed is None and standing is None:
        return  # no service has run with it yet
    try:
        int(json.loads(followed or "")["entry_number"])
        codec.from_json(standing or "")
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        yield f"what the watch remembers cannot be read: {type(error).__name__}: {error}"


_MEMORY: Final = (checkpoints.EVALUATOR_STATE, checkpoints.ALARM_STATE)
