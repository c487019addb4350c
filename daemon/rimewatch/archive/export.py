"""From a journal to an archive: readings by probe and month, and what people entered.

Reads through a connection of its own, beside the running service. A file stands under its
name only when it is whole. The archive is a copy for evaluation; the journal stays the
record, with its seals, alarms and messages, which are not exported.
"""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa  # type: ignore[import-untyped]
import pyarrow.parquet as pq  # type: ignore[import-untyped]

from rimewatch.archive.layout import ArchiveError, Month, entries_file, readings_file, shop_folder
from rimewatch.intake.past import battery_places
from rimewatch.journal.entry_codec import entry_to_json
from rimewatch.journal.reader import JournalReads
from rimewatch.journal.readings import LAST_MS, MILLI, FullSpan
from rimewatch.vocabulary import ProbeId

READINGS: Final = pa.schema(
    [
        pa.field("observed_ms", pa.int64(), nullable=False),
        pa.field("milli", pa.int32(), nullable=False),
        pa.field("raw", pa.float64()),
        pa.field("lag_ms", pa.int64(), nullable=False),
        pa.field("battery", pa.float64()),
    ]
)
"""``milli``: the corrected value in thousandths. ``raw``: what the probe sent, null where
that is the same. ``lag_ms``: arrival less observation. ``battery``: the hour's lowest level,
at the hour's first reading, which is all that the journal keeps of it."""

ENTRIES: Final = pa.schema(
    [
        pa.field("number", pa.int64(), nullable=False),
        pa.field("at_ms", pa.int64(), nullable=False),
        pa.field("do", pa.string(), nullable=False),
        pa.field("entry", pa.string(), nullable=False),
    ]
)

_DELTAS: Final = dict.fromkeys(("observed_ms", "milli", "lag_ms"), "DELTA_BINARY_PACKED")
_ENTRIES_AT_ONCE: Final = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """What was written."""

    readings: int
    files: int
    entries: int
    octets: int


def export(
    journal: JournalReads,
    archive: Path,
    shop: str,
    *,
    on_file: Callable[[ProbeId, Month], None] | None = None,
) -> Exported:
    """Write what a journal holds into an archive, in place of what it had of these months.

    Args:
        journal: The journal.
        archive: The archive's folder; made where there is none.
        shop: The shop's id in the archive.
        on_file: Told each file that was written, for a progress display.

    Raises:
        ArchiveError: If a file cannot be written.
        JournalError: If the journal cannot be read.
    """
    folder = shop_folder(archive, shop)
    readings = files = octets = 0
    for probe in journal.known_probes():
        for month, span in _months(journal, probe):
            table = _table(span, battery_places(journal, probe, span))
            path = readings_file(folder, probe, month)
            octets += _write(table, path, column_encoding=_DELTAS, use_dictionary=False)
            readings += len(span)
            files += 1
            if on_file is not None:
                on_file(probe, month)
    entries = _entries(journal)
    octets += _write(entries, entries_file(folder))
    return Exported(readings=readings, files=files, entries=entries.num_rows, octets=octets)


def _months(journal: JournalReads, probe: ProbeId) -> Iterator[tuple[Month, FullSpan]]:
    """Yield a probe's months that hold a reading, each read when it is come to."""
    last = journal.last_before(probe, LAST_MS + 1)
    if last is None:
        return
    first = journal.span(probe, None, last[0]).times_ms[0]
    month, end = Month.of(int(first)), Month.of(last[0])
    while month <= end:
        span = journal.full_span(probe, month.from_ms, month.to_ms)
        if len(span):
            yield month, span
        month = month.next()


def _table(span: FullSpan, batteries: dict[int, float]) -> Any:  # noqa: ANN401 (untyped library)
    levels = np.zeros(len(span))
    levels[list(batteries)] = list(batteries.values())
    without = np.ones(len(span), dtype=np.bool_)
    without[list(batteries)] = False
    return pa.table(
        [
            pa.array(span.times_ms),
            pa.array(np.rint(span.values * MILLI).astype(np.int32)),
            pa.array(span.raws, mask=span.raws == span.values),
            pa.array(span.arrived_ms - span.times_ms),
            pa.array(levels, mask=without),
        ],
        schema=READINGS,
    )


def _entries(journal: JournalReads) -> Any:  # noqa: ANN401 (untyped library)
    rows: list[dict[str, Any]] = []
    number = 0
    while found := journal.entries_after(number, _ENTRIES_AT_ONCE):
        number = found[-1][0]
        rows.extend(
            {"number": n, "at_ms": e.at_ms, "do": e.do, "entry": entry_to_json(e)} for n, e in found
        )
    return pa.Table.from_pylist(rows, schema=ENTRIES)


def _write(table: Any, path: Path, **options: Any) -> int:  # noqa: ANN401 (untyped library)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            pq.write_table(table, part, compression="zstd", **options)
            size = part.stat().st_size
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise ArchiveError(
            f"{path} cannot be written ({error.strerror or error}); check the folder and its space"
        ) from None
    return size
