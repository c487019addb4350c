"""A journal of some probes and days, made quickly, and the same readings for others to keep.

Two probes are written as the service writes them, day by day, and packed as it packs them; the
rest are copies of their rows under other names, made by SQLite itself. So the file is what the
service would have made, in a hundredth of the time.
"""

import sqlite3
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rimewatch.journal import Journal
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

START_MS = 1_767_225_600_000
"""2026-01-01T00:00:00Z."""
PER_DAY = 1440
WRITTEN = 2
"""Probes written reading by reading; the rest are copies."""


@dataclass(frozen=True, slots=True)
class Readings:
    """What one probe sent."""

    times_ms: NDArray[np.int64]
    celsius: NDArray[np.float64]
    raws: NDArray[np.float64]
    arrived_ms: NDArray[np.int64]


def probe_id(number: int) -> ProbeId:
    """Return the name of a probe."""
    return ProbeId(f"probe-{number}")


def readings(number: int, days: int) -> Readings:
    """Return a case's air, a reading a minute: compressor, defrosts, a clock that wavers.

    Every second probe sends Fahrenheit with one decimal.
    """
    random = np.random.default_rng(20260101 + number)
    minutes = np.arange(days * PER_DAY)
    swing = 0.8 * np.sin(2 * np.pi * minutes / (23 + number))
    defrost = np.where(minutes % 360 // 20 == 6, 4.0, 0.0)
    celsius = 2.0 + swing + defrost + random.normal(0.0, 0.1, minutes.size)
    times = START_MS + minutes * 60_000 + number * 700
    times = times + np.rint(random.normal(0.0, 40.0, minutes.size)).astype(np.int64)
    if number % 2:
        raws = np.round(celsius * 9 / 5 + 32, 1)
        celsius = np.round((raws - 32) * 5 / 9, 3)
    else:
        raws = celsius = np.round(celsius, 2)
    return Readings(times, celsius, raws, times + random.integers(20, 400, minutes.size))


def fill(journal: Journal, number: int, found: Readings) -> None:
    """Write one probe's readings, and pack each day but for the last two."""
    columns = (found.times_ms, found.arrived_ms, found.raws, found.celsius)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    made = [
        Reading(probe=probe_id(number), observed_ms=at, arrived_ms=arrived, raw=raw, value=value)
        for at, arrived, raw, value in rows
    ]
    days = len(made) // PER_DAY
    for day in range(days):
        with journal.batch():
            journal.add_readings(made[day * PER_DAY : (day + 1) * PER_DAY])
        while journal.compact(START_MS + (day - 1) * MS_PER_DAY, 64) == 64:
            pass


def copy_probes(path: Path, probes: int) -> None:
    """Copy all that is kept of the written probes until there are so many."""
    with sqlite3.connect(path) as database:
        tables = [
            (name, [row[1] for row in database.execute(f"PRAGMA table_info({name})")])
            for (name,) in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
        ]
        for number in range(WRITTEN, probes):
            database.execute("INSERT INTO probe (id) VALUES (?)", (probe_id(number),))
            (copy,) = database.execute("SELECT max(no) FROM probe").fetchone()
            (source,) = database.execute(
                "SELECT no FROM probe WHERE id = ?", (probe_id(number % WRITTEN),)
            ).fetchone()
            for name, columns in tables:
                if "probe_no" in columns:
                    kept = [one for one in columns if one not in ("probe_no", "seq")]
                    names = ", ".join(kept)
                    database.execute(
                        f"INSERT INTO {name} (probe_no, {names})"
                        f" SELECT ?, {names} FROM {name} WHERE probe_no = ? ORDER BY rowid"
                        if "seq" in columns
                        else f"INSERT INTO {name} (probe_no, {names})"
                        f" SELECT ?, {names} FROM {name} WHERE probe_no = ?",
                        (copy, source),
                    )
    database.close()


@dataclass(frozen=True, slots=True)
class Year:
    """A journal, and what is in it."""

    path: Path
    probes: int
    days: int
    written: list[Readings]
    """What the first probes hold; the others repeat it."""

    @property
    def count(self) -> int:
        """Readings in all."""
        return self.probes * self.days * PER_DAY


def make(path: Path, probes: int, days: int) -> Year:
    """Make the journal of so many probes and days."""
    found = [readings(number, days) for number in range(WRITTEN)]
    with Journal.open(path) as journal:
        for number, one in enumerate(found):
            fill(journal, number, one)
    copy_probes(path, probes)
    with Journal.open(path, check=False) as journal:
        journal.checkpoint_wal()
    return Year(path, probes, days, found)
