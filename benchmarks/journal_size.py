"""Measures what the journal costs: bytes a reading, rows a second, a probe-year read back.

Run it with ``python benchmarks/journal_size.py``; it takes about a minute and works in
a folder that it removes. The traces are invented: a case that swings with its
compressor and defrosts, one decimal or three, in °C or °F, with a clock that wavers.
"""

import argparse
import math
import random
import tempfile
import time
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from rimewatch.journal import Journal, JournalReader
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

START_MS = 1_767_225_600_000  # 2026-01-01T00:00:00Z
EVERY_MS = 60_000
BATCH = 500


def readings(probes: int, days: int) -> Iterator[Reading]:
    """Yield the invented readings in order of arrival."""
    rng = random.Random(20260101)
    walk = [0.0] * probes
    for minute in range(days * 1440):
        for n in range(probes):
            walk[n] = 0.98 * walk[n] + rng.gauss(0.0, 0.05)
            swing = 0.8 * math.sin(2 * math.pi * minute / (23 + n))
            defrost = 4.0 if minute % 360 in range(120 + n, 140 + n) else 0.0
            celsius = 2.0 + swing + defrost + walk[n] + rng.gauss(0.0, 0.03)
            observed_ms = START_MS + minute * EVERY_MS + n * 700 + round(rng.gauss(0, 40))
            if n % 2:  # a Fahrenheit probe of one decimal
                raw = round(celsius * 9 / 5 + 32, 1)
                value = round((raw - 32) * 5 / 9, 3)
            else:
                raw = value = round(celsius, 2)
            yield Reading(
                probe=ProbeId(f"probe-{n}"),
                observed_ms=observed_ms,
                arrived_ms=observed_ms + round(rng.uniform(20, 400)),
                raw=raw,
                value=value,
                battery=round(3.1 - minute / 1e6 + rng.gauss(0, 0.004), 3),
            )


def fill(journal: Journal, source: Iterator[Reading]) -> tuple[int, float]:
    """Add all readings in batches; return how many, and the seconds spent in the journal."""
    total, spent_s = 0, 0.0
    while True:
        batch = list(islice(source, BATCH))
        if not batch:
            return total, spent_s
        began = time.perf_counter()
        with journal.batch():
            journal.add_readings(batch)
        spent_s += time.perf_counter() - began
        total += len(batch)


def pack(journal: Journal, before_ms: int) -> tuple[int, float, float]:
    """Compact all that is over; return blocks, seconds in all, seconds for the slowest."""
    blocks, total_s, slowest_s = 0, 0.0, 0.0
    while True:
        began = time.perf_counter()
        done = journal.compact(before_ms, 1)
        took_s = time.perf_counter() - began
        if not done:
            return blocks, total_s, slowest_s
        blocks, total_s, slowest_s = blocks + 1, total_s + took_s, max(slowest_s, took_s)


def print_size(journal: Journal, label: str, total: int) -> None:
    """Print the file's size a reading, and how much of it is free for new rows."""
    journal.checkpoint_wal()
    size = journal.size()
    used = size.file_bytes - size.free_bytes
    print(
        f"  {label:12} {size.file_bytes / total:8.2f} bytes a reading in the file"
        f" ({size.file_bytes}), {used / total:.2f} in use"
    )


def measure_rows(path: Path, probes: int, days: int) -> None:
    """Print what rows cost that are never packed, and then packed all at once."""
    with Journal.open(path) as journal:
        total, spent_s = fill(journal, readings(probes, days))
        print(f"{probes} probes x {days} days at 60 s, {total} readings, packed at the end:")
        print(f"  written      {total / spent_s:8.0f} readings/s in batches of {BATCH}")
        print_size(journal, "as rows", total)
        blocks, total_s, slowest_s = pack(journal, START_MS + days * MS_PER_DAY)
        print(f"  compaction   {1000 * total_s / blocks:8.2f} ms a block, {blocks} blocks")
        print(f"  slowest      {1000 * slowest_s:8.2f} ms")
        print_size(journal, "packed", total)


def measure_daily(path: Path, probes: int, days: int) -> None:
    """Print what a journal costs that is packed each day but for the last two."""
    total = 0
    with Journal.open(path) as journal:
        source = readings(probes, days)
        for day in range(days):
            count, _ = fill(journal, islice(source, probes * 1440))
            total += count
            pack(journal, START_MS + (day - 1) * MS_PER_DAY)
        print(f"{probes} probes x {days} days at 60 s, {total} readings, packed each day:")
        print_size(journal, "rows + packed", total)
        pack(journal, START_MS + days * MS_PER_DAY)
    with JournalReader.open(path) as reader:
        times_s = []
        for _ in range(5):
            began = time.perf_counter()
            span = reader.span(ProbeId("probe-1"))
            times_s.append(time.perf_counter() - began)
        print(f"  read back    {1000 * min(times_s):8.1f} ms for {len(span)} readings of a probe")
        began = time.perf_counter()
        for n in range(probes):
            reader.last_before(ProbeId(f"probe-{n}"), START_MS + days * MS_PER_DAY)
        took_s = time.perf_counter() - began
        print(f"  latest       {1000 * took_s:8.2f} ms for the last reading of each probe")


def main() -> None:
    """Measure a month of a shop, and a year of two probes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--year", action="store_true", help="a probe-year as well (slow)")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        measure_rows(Path(name, "rows.db"), probes=8, days=30)
        measure_daily(Path(name, "daily.db"), probes=8, days=30)
        if arguments.year:
            measure_daily(Path(name, "year.db"), probes=2, days=365)


if __name__ == "__main__":
    main()
