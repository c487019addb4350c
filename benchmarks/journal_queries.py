"""Journal: bytes a reading, and reading a day or a year back, against SQLite and DuckDB.

The others hold the obvious table: probe, time, temperature, with an index on probe and time.
Ours holds arrival and the probe's own figure as well. All answer with arrays of times and
temperatures.
"""

import sqlite3
import tempfile
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
from harness import ROUNDS, Row, compare_ms
from numpy.typing import NDArray
from year_journal import START_MS, WRITTEN, Readings, Year, probe_id

from rimewatch.journal import JournalReader
from rimewatch.vocabulary import MS_PER_DAY

Series = tuple[NDArray[np.int64], NDArray[np.float64]]
Query = Callable[[int, int, int], Series]
"""Probe's number, first and last millisecond."""


def plain_sqlite(path: Path, found: list[Readings], probes: int) -> None:
    """Write the readings with SQLite and the obvious schema."""
    with sqlite3.connect(path) as database:
        database.execute("PRAGMA journal_mode = OFF")
        database.execute("CREATE TABLE reading (probe TEXT, at_ms INTEGER, celsius REAL)")
        for number, one in enumerate(found):
            database.executemany(
                f"INSERT INTO reading VALUES ('{probe_id(number)}', ?, ?)",
                zip(one.times_ms.tolist(), one.celsius.tolist(), strict=True),
            )
        for number in range(WRITTEN, probes):
            database.execute(
                "INSERT INTO reading SELECT ?, at_ms, celsius FROM reading WHERE probe = ?",
                (probe_id(number), probe_id(number % WRITTEN)),
            )
            if number == WRITTEN:  # from here on the copies find their source by it
                database.execute("CREATE INDEX reading_at ON reading (probe, at_ms)")
    database.close()


def plain_duckdb(path: Path, found: list[Readings], probes: int) -> None:
    """Write the readings with DuckDB and the obvious schema."""
    with duckdb.connect(str(path)) as database:
        database.execute("CREATE TABLE reading (probe VARCHAR, at_ms BIGINT, celsius DOUBLE)")
        for number in range(probes):
            source = found[number % WRITTEN]
            database.register(
                "columns", pd.DataFrame({"at_ms": source.times_ms, "celsius": source.celsius})
            )
            database.execute(
                "INSERT INTO reading SELECT ?, at_ms, celsius FROM columns", [probe_id(number)]
            )
            database.unregister("columns")


def run(year: Year, rounds: int = ROUNDS) -> list[Row]:
    """Return the size, and a day's and a year's queries."""
    ours, probes, days, count = year.path, year.probes, year.days, year.count
    with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as name:
        sqlite, duck = Path(name, "plain.db"), Path(name, "plain.duckdb")
        plain_sqlite(sqlite, year.written, probes)
        plain_duckdb(duck, year.written, probes)
        size = Row(
            f"Journal of {count:,} readings", "bytes/reading", less_is_better=True,
            note="ours with arrivals and the probes' own figures",
        )  # fmt: skip
        for contender, path in (
            ("rimewatch", ours),
            ("SQLite, obvious schema", sqlite),
            ("DuckDB, obvious schema", duck),
        ):
            size.put_median(contender, [path.stat().st_size / count])
        with (
            JournalReader.open(ours) as reader,
            sqlite3.connect(sqlite) as plain,
            duckdb.connect(str(duck), read_only=True) as columns,
        ):

            def from_ours(number: int, from_ms: int, to_ms: int) -> Series:
                span = reader.span(probe_id(number), from_ms, to_ms)
                return span.times_ms, span.values  # noqa: PD011 - no pandas

            def from_sqlite(number: int, from_ms: int, to_ms: int) -> Series:
                rows = plain.execute(
                    "SELECT at_ms, celsius FROM reading WHERE probe = ? AND at_ms BETWEEN ? AND ?"
                    " ORDER BY at_ms",
                    (probe_id(number), from_ms, to_ms),
                ).fetchall()
                at, celsius = zip(*rows, strict=True)
                return np.array(at, dtype=np.int64), np.array(celsius)

            def from_duckdb(number: int, from_ms: int, to_ms: int) -> Series:
                got = columns.execute(
                    "SELECT at_ms, celsius FROM reading WHERE probe = ? AND at_ms BETWEEN ? AND ?"
                    " ORDER BY at_ms",
                    [probe_id(number), from_ms, to_ms],
                ).fetchnumpy()
                return got["at_ms"], got["celsius"]

            queries: dict[str, Query] = {
                "rimewatch": from_ours,
                "SQLite, obvious schema": from_sqlite,
                "DuckDB, obvious schema": from_duckdb,
            }
            middle_ms = START_MS + days // 2 * MS_PER_DAY
            end_ms = START_MS + days * MS_PER_DAY
            _check_same(queries, middle_ms, middle_ms + MS_PER_DAY)

            def asked(of: range, from_ms: int, to_ms: int) -> dict[str, Callable[[], object]]:
                def ask(query: Query) -> Callable[[], object]:
                    return lambda: [query(n, from_ms, to_ms) for n in of]

                return {key: ask(query) for key, query in queries.items()}

            one = range(probes // 2, probes // 2 + 1)
            every = range(probes)
            day = (middle_ms, middle_ms + MS_PER_DAY - 1)
            span = (START_MS - MS_PER_DAY, end_ms)
            rows = [
                compare_ms("A day of one probe", asked(one, *day), rounds=rounds),
                compare_ms(f"A day of {probes} probes", asked(every, *day), rounds=rounds),
                compare_ms(f"{days} days of one probe", asked(one, *span), rounds=rounds),
            ]
        plain.close()
    return [size, *rows]


def _check_same(queries: dict[str, Query], from_ms: int, to_ms: int) -> None:
    answers = [query(0, from_ms, to_ms) for query in queries.values()]
    for times, celsius in answers[1:]:
        assert np.array_equal(times, answers[0][0]), "other times than ours"
        assert np.array_equal(celsius, answers[0][1]), "other temperatures than ours"
