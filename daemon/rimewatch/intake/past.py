"""A journal's own past as a trace: what was believed and entered, in the order it arrived.

Reads only. What a journal does not hold as readings is not in it: payloads that were not
believed, and the deaths that probes announced. Values are as they were corrected then.
Holds all that is asked for in memory.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.entries import Acknowledge, ChangeSettings, Shelve, Unshelve
from rimewatch.intake.trace import TraceEntry, TraceReading
from rimewatch.journal.reader import JournalReads
from rimewatch.journal.readings import LAST_MS, FullSpan
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_H, ProbeId

_ENTRIES_AT_ONCE: Final = 10_000


@dataclass(frozen=True, slots=True)
class Past:
    """Some time of a journal, to be gone through as often as wanted."""

    probes: tuple[ProbeId, ...]
    columns: dict[str, NDArray[Any]]
    """Of equal length, in order of arrival: arrived, place (of the probe), observed, values."""
    entries: tuple[TraceEntry, ...]
    changed_ms: tuple[int, ...] = ()
    """When settings were changed within it: they are left out, each replay is under its own."""

    def __len__(self) -> int:
        """Return the number of readings and entries."""
        return len(self.columns["arrived"]) + len(self.entries)

    def lines(self, probes: Collection[ProbeId]) -> Iterator[TraceReading | TraceEntry]:
        """Yield readings of some probes, and all entries, in order of arrival.

        Args:
            probes: The probes of a configuration; others are left out, as the service does.
        """
        waiting = 0
        names = ("arrived", "place", "observed", "value", "raw", "battery")
        for arrived, place, observed, value, raw, battery in zip(
            *(self.columns[name].tolist() for name in names), strict=True
        ):
            while waiting < len(self.entries) and self.entries[waiting].at_ms <= arrived:
                yield self.entries[waiting]
                waiting += 1
            if self.probes[place] not in probes:
                continue
            yield TraceReading(
                arrived,
                Reading(
                    probe=self.probes[place],
                    observed_ms=observed,
                    arrived_ms=arrived,
                    raw=raw,
                    value=value,
                    battery=None if battery != battery else battery,  # noqa: PLR0124 (NaN: none)
                ),
            )
        yield from self.entries[waiting:]


def past(journal: JournalReads, from_ms: int, to_ms: int) -> Past:
    """Return what a journal holds of some time.

    Entries from before it are given at its beginning, for lots and units out of service go on;
    but not answers to alarms, which are of their own moment.

    Args:
        journal: The journal.
        from_ms: First instant, by the readings' own time.
        to_ms: Last instant.

    Raises:
        JournalError: If the journal cannot be read.
    """
    probes = tuple(journal.known_probes())
    parts: list[dict[str, NDArray[Any]]] = []
    for place, probe in enumerate(probes):
        span = journal.full_span(probe, from_ms, to_ms)
        battery = np.full(len(span), np.nan)
        placed = battery_places(journal, probe, span)
        battery[list(placed)] = list(placed.values())
        parts.append(
            {
                "arrived": span.arrived_ms,
                "place": np.full(len(span), place),
                "observed": span.times_ms,
                "value": span.values,
                "raw": span.raws,
                "battery": battery,
            }
        )
    names = ("arrived", "place", "observed", "value", "raw", "battery")
    every = {
        name: np.concatenate([part[name] for part in parts]) if parts else np.empty(0)
        for name in names
    }
    order = np.lexsort((every["observed"], every["place"], every["arrived"]))
    return Past(
        probes,
        {name: column[order] for name, column in every.items()},
        tuple(_entries(journal, from_ms, to_ms)),
        tuple(
            entry.from_ms
            for entry in journal.settings_changes()[1:]
            if from_ms <= entry.from_ms <= to_ms
        ),
    )


def last_reading_ms(journal: JournalReads) -> int | None:
    """Return the time of a journal's last reading; None: it has none."""
    lasts = (journal.last_before(probe, LAST_MS + 1) for probe in journal.known_probes())
    return max((last[0] for last in lasts if last is not None), default=None)


def _entries(journal: JournalReads, from_ms: int, to_ms: int) -> Iterator[TraceEntry]:
    number, now_ms = 0, from_ms
    while found := journal.entries_after(number, _ENTRIES_AT_ONCE):
        number = found[-1][0]
        for _, entry in found:
            entered_ms = entry.entered_ms or entry.at_ms
            if entered_ms > to_ms or isinstance(entry, ChangeSettings):
                continue
            if entered_ms < from_ms and isinstance(entry, Acknowledge | Shelve | Unshelve):
                continue
            now_ms = max(now_ms, entered_ms)
            yield TraceEntry(now_ms, entry, is_kept=True)


def battery_places(journal: JournalReads, probe: ProbeId, span: FullSpan) -> dict[int, float]:
    """Return battery levels by the place of the reading in the span that bears them."""
    if not len(span):
        return {}
    levels = journal.battery_levels(probe, int(span.times_ms[0]), int(span.times_ms[-1]))
    placed: dict[int, float] = {}
    for hour_ms, level in levels:
        place = int(np.searchsorted(span.times_ms, hour_ms))
        if place < len(span) and span.times_ms[place] < hour_ms + MS_PER_H:
            placed[place] = level
    return placed
