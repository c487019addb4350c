"""A shop's history out of an archive, in the order in which it arrived.

Holds a month of all probes in memory, and of the months before only what arrived later.
Of what arrived in one millisecond, entries come first, then readings by probe and time: the
archive does not know it better.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq  # type: ignore[import-untyped]
from numpy.typing import NDArray

from rimewatch.archive.layout import ArchiveError, Month, entries_file, months_in
from rimewatch.intake.trace import TraceEntry, TraceReading
from rimewatch.journal.entry_codec import EntryCodecError, entry_from_json
from rimewatch.journal.readings import MILLI
from rimewatch.readings import Reading
from rimewatch.vocabulary import ProbeId

Columns = dict[str, NDArray[Any]]
"""Columns of equal length: ``arrived``, ``place`` (of the probe), ``observed``, and values."""


def history(folder: Path, probes: list[ProbeId]) -> Iterator[TraceReading | TraceEntry]:
    """Yield a shop's readings and entries in order of arrival.

    Args:
        folder: The shop's folder.
        probes: The probes of the configuration; others are left out, as the service does.

    Raises:
        ArchiveError: If there is nothing, or a file cannot be read.
    """
    months = months_in(folder)
    if not months:
        raise ArchiveError(f"{folder} holds no readings; expected probe=ID/month=YYYY-MM.parquet")
    entries = _entries(folder)
    waiting = 0
    for reading in _readings(months, probes):
        while waiting < len(entries) and entries[waiting].at_ms <= reading.at_ms:
            yield entries[waiting]
            waiting += 1
        yield reading
    yield from entries[waiting:]


def _readings(
    months: dict[Month, list[tuple[ProbeId, Path]]], probes: list[ProbeId]
) -> Iterator[TraceReading]:
    left: Columns | None = None
    places = {probe: place for place, probe in enumerate(sorted(probes))}
    ordered = sorted(probes)
    *_, last = months
    for month, files in months.items():
        parts = [_load(path, places[probe]) for probe, path in files if probe in places]
        parts += [] if left is None else [left]
        if not parts:
            continue
        every = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
        order = np.lexsort((every["observed"], every["place"], every["arrived"]))
        every = {name: column[order] for name, column in every.items()}
        # A later month may hold what arrived before the rest of this one.
        end_ms = 2**63 - 1 if month == last else month.next().from_ms
        now = int(np.searchsorted(every["arrived"], end_ms))
        left = {name: column[now:] for name, column in every.items()}
        yield from _lines({name: column[:now] for name, column in every.items()}, ordered)


def _lines(columns: Columns, probes: list[ProbeId]) -> Iterator[TraceReading]:
    names = ("arrived", "place", "observed", "value", "raw", "battery")
    for arrived, place, observed, value, raw, battery in zip(
        *(columns[name].tolist() for name in names), strict=True
    ):
        yield TraceReading(
            arrived,
            Reading(
                probe=probes[place],
                observed_ms=observed,
                arrived_ms=arrived,
                raw=raw,
                value=value,
                battery=None if battery != battery else battery,  # noqa: PLR0124 (NaN: none)
            ),
        )


def _load(path: Path, place: int) -> Columns:
    try:
        table = pq.read_table(path, partitioning=None)
        observed = table["observed_ms"].to_numpy()
        values = table["milli"].to_numpy() / MILLI
        raws = table["raw"].to_numpy()
        return {
            "arrived": observed + table["lag_ms"].to_numpy(),
            "place": np.full(len(observed), place),
            "observed": observed,
            "value": values,
            "raw": np.where(np.isnan(raws), values, raws),
            "battery": table["battery"].to_numpy(),
        }
    except (OSError, KeyError, ValueError) as error:
        raise ArchiveError(f"{path} cannot be read: {error}; export it again") from None


def _entries(folder: Path) -> list[TraceEntry]:
    path = entries_file(folder)
    if not path.exists():
        return []
    try:
        rows = pq.read_table(path, partitioning=None).to_pylist()
        lines = []
        now_ms = 0
        for row in sorted(rows, key=lambda row: int(row["number"])):
            entry = entry_from_json(row["entry"])
            now_ms = max(now_ms, entry.entered_ms or entry.at_ms)
            numbered = replace(entry, entry_number=row["number"])
            lines.append(TraceEntry(now_ms, numbered, is_kept=True))
    except (OSError, KeyError, ValueError, EntryCodecError) as error:
        raise ArchiveError(f"{path} cannot be read: {error}; export it again") from None
    return lines
